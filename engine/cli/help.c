/* engine/cli/help.c: pages of help, from the tables. */
#include "engine/cli/help.h"

#include <string.h>

#include "engine/cli/cli.h"

#define DOC_COLUMN 24 /* where what is told about an option begins */

static size_t columns_of(const char *text, size_t bytes)
{
    size_t count = 0;

    for (size_t at = 0; at < bytes; count++)
        (void)lb_utf8_next(text, bytes, &at);
    return count;
}

static void put_spaces(lb_text *out, size_t count)
{
    lb_text_printf(out, "%*s", (int)count, "");
}

/* Puts one piece that is not broken, on a new line indented by `indent` where it has no room. */
static void put_piece(lb_text *out, const char *piece, size_t bytes, size_t indent, size_t *column)
{
    size_t wide = columns_of(piece, bytes);

    if (*column > indent && *column + 1 + wide > LB_HELP_COLUMNS) {
        lb_text_put(out, "\n");
        put_spaces(out, indent);
        *column = indent;
    } else if (*column != indent) {
        lb_text_put(out, " ");
        ++*column;
    }
    lb_text_add(out, piece, bytes);
    *column += wide;
}

/* Words from column `indent` on, where the line is already; ends the line. */
static void put_words(lb_text *out, const char *text, size_t indent)
{
    size_t column = indent;

    while (*text) {
        size_t bytes = strcspn(text, " \n");

        if (bytes)
            put_piece(out, text, bytes, indent, &column);
        text += bytes;
        if (*text == '\n' && text[1] == '\n') { /* a paragraph ends */
            lb_text_put(out, "\n\n");
            put_spaces(out, indent);
            column = indent;
            text++;
        }
        text += *text != 0;
    }
    lb_text_put(out, "\n");
}

/* "  --set NAME=VALUE   Gives a param ...": what is told stands in a column of its own. */
static void put_row(lb_text *out, const char *left, const char *doc)
{
    size_t wide = columns_of(left, strlen(left)) + 2;

    lb_text_printf(out, "  %s", left);
    if (wide + 2 > DOC_COLUMN) {
        lb_text_put(out, "\n");
        wide = 0;
    }
    put_spaces(out, DOC_COLUMN - wide);
    put_words(out, doc ? doc : "", DOC_COLUMN);
}

static void put_operand_usage(const lb_operand *operand, char *buffer, size_t room)
{
    bool several = operand->max != 1;

    snprintf(buffer, room, "%s%s%s%s", operand->min ? "" : "[", operand->name, several ? "..." : "",
             operand->min ? "" : "]");
}

void lb_help_usage(lb_text *out, const lb_command *command, bool is_brief)
{
    size_t indent = strlen("usage: lampblack ") + strlen(command->name) + 1, column = indent - 1;
    const lb_option *options = is_brief ? NULL : command->options;
    char piece[160], argument[96];

    lb_text_printf(out, "usage: lampblack %s", command->name);
    for (const lb_operand *o = command->operands; o && o->name; o++) {
        put_operand_usage(o, piece, sizeof piece);
        put_piece(out, piece, strlen(piece), indent, &column);
    }
    for (const lb_option *o = options; o && o->name; o++) {
        const char *value = lb_option_argument(o, argument, sizeof argument);

        snprintf(piece, sizeof piece, "[%s%s%s]%s", o->name, value ? " " : "", value ? value : "",
                 lb_option_repeats(o) ? "..." : "");
        put_piece(out, piece, strlen(piece), indent, &column);
    }
    if (is_brief && command->options)
        put_piece(out, "[OPTION]...", 11, indent, &column);
    lb_text_put(out, "\n");
}

const char *lb_help_exit(const lb_command *command, int status)
{
    switch (status) {
    case LB_EXIT_GOOD:
        return "done, and good";
    case LB_EXIT_NO:
        return command ? command->no : "the answer is no: errors in a graph, files differ";
    default:
        return "trouble: wrong usage, what cannot be read or written, no memory, stopped";
    }
}

static void put_exits(lb_text *out, const lb_command *command)
{
    lb_text_put(out, "\nExit status:\n");
    for (int status = LB_EXIT_GOOD; status <= LB_EXIT_TROUBLE; status++) {
        const char *what = lb_help_exit(command, status);

        if (!what)
            continue;
        lb_text_printf(out, "  %d  ", status);
        put_words(out, what, 5);
    }
}

void lb_help_command(lb_text *out, const lb_command *command)
{
    char left[160], argument[96];

    lb_text_printf(out, "lampblack %s: ", command->name);
    put_words(out, command->summary, strlen("lampblack : ") + strlen(command->name));
    lb_text_put(out, "\n");
    lb_help_usage(out, command, false);
    if (command->doc) {
        lb_text_put(out, "\n");
        put_words(out, command->doc, 0);
    }
    lb_text_put(out, "\n");
    for (const lb_operand *o = command->operands; o && o->name; o++)
        put_row(out, o->name, o->doc);
    for (const lb_option *o = command->options; o && o->name; o++) {
        const char *value = lb_option_argument(o, argument, sizeof argument);

        snprintf(left, sizeof left, "%s%s%s", o->name, value ? " " : "", value ? value : "");
        put_row(out, left, o->doc);
    }
    put_row(out, "--help", "Prints this page.");
    lb_text_printf(out, "\nExample%s:\n",
                   command->examples[0].line && command->examples[1].line ? "s" : "");
    for (const lb_example *e = command->examples; e->line; e++) {
        if (e->doc) {
            lb_text_put(out, "  # ");
            put_words(out, e->doc, 4);
        }
        lb_text_printf(out, "  %s\n", e->line);
    }
    put_exits(out, command);
}

void lb_help_program(lb_text *out)
{
    lb_text_put(out, "lampblack: a headless compositing engine with a text scene language\n\n"
                     "usage: lampblack COMMAND ...\n"
                     "       lampblack --help | --version\n\n");
    for (size_t i = 0; lb_commands[i]; i++) {
        lb_text_printf(out, "  %-11s ", lb_commands[i]->name);
        put_words(out, lb_commands[i]->summary, 14);
    }
    lb_text_put(out, "\n'lampblack COMMAND --help' tells how each is used, with an example.\n");
    put_exits(out, NULL);
}
