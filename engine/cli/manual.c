/* engine/cli/manual.c: lampblack manual: the page for man(1), from the tables, in the macros of
 * man(7). */
#include <string.h>

#include "engine/cli/cli.h"
#include "engine/cli/help.h"

/* Text that troff takes as it is: no request at the beginning of a line, a backslash is one, and a
 * hyphen can be copied as the character that options are written with. */
static void put_text(lb_text *out, const char *text)
{
    for (bool at_start = true; *text; at_start = *text == '\n', text++) {
        if (at_start && (*text == '.' || *text == '\''))
            lb_text_put(out, "\\&");
        if (*text == '\\')
            lb_text_put(out, "\\e");
        else if (*text == '-')
            lb_text_put(out, "\\-");
        else if (*text == '\'')
            lb_text_put(out, "\\(aq");
        else
            lb_text_add(out, text, 1);
    }
}

/* Text whose empty lines part paragraphs, in short lines. */
static void put_paragraphs(lb_text *out, const char *text)
{
    size_t column = 0;

    while (*text) {
        size_t bytes = strcspn(text, " \n");
        char *word = lb_strndup(text, bytes);

        lb_text_put(out, column == 0 ? "" : column + bytes > 72 ? "\n" : " ");
        column = column + bytes > 72 ? bytes : column + bytes + 1;
        put_text(out, word ? word : "");
        out->failed = out->failed || !word;
        lb_free(word);
        text += bytes;
        if (*text == '\n' && text[1] == '\n') {
            lb_text_put(out, "\n.PP\n");
            column = 0;
            text++;
        }
        text += *text != 0;
    }
    lb_text_put(out, "\n");
}

static void put_bold(lb_text *out, const char *text)
{
    lb_text_put(out, "\\fB");
    put_text(out, text);
    lb_text_put(out, "\\fR");
}

static void put_italic(lb_text *out, const char *text)
{
    lb_text_put(out, "\\fI");
    put_text(out, text);
    lb_text_put(out, "\\fR");
}

static void put_option_name(lb_text *out, const lb_option *option)
{
    char argument[96];
    const char *value = lb_option_argument(option, argument, sizeof argument);

    put_bold(out, option->name);
    if (value) {
        lb_text_put(out, "\\ "); /* stays on the line */
        put_italic(out, value);
    }
}

static void put_synopsis(lb_text *out, const lb_command *command)
{
    lb_text_put(out, ".HP\n");
    put_bold(out, "lampblack");
    lb_text_put(out, "\\ ");
    put_bold(out, command->name);
    for (const lb_operand *o = command->operands; o && o->name; o++) {
        lb_text_put(out, o->min ? " " : " [");
        put_italic(out, o->name);
        lb_text_printf(out, "%s%s", o->max == 1 ? "" : "...", o->min ? "" : "]");
    }
    for (const lb_option *o = command->options; o && o->name; o++) {
        lb_text_put(out, " [");
        put_option_name(out, o);
        lb_text_put(out, lb_option_repeats(o) ? "]..." : "]");
    }
    lb_text_put(out, "\n");
}

static void put_examples(lb_text *out, const lb_example *examples)
{
    for (const lb_example *e = examples; e->line; e++) {
        lb_text_put(out, ".PP\n");
        if (e->doc) {
            put_text(out, e->doc);
            lb_text_put(out, "\n.PP\n");
        }
        lb_text_put(out, ".RS 4\n.nf\n");
        put_text(out, e->line);
        lb_text_put(out, "\n.fi\n.RE\n");
    }
}

static void put_command(lb_text *out, const lb_command *command)
{
    lb_text_put(out, ".SS ");
    put_text(out, command->name);
    lb_text_put(out, "\n");
    put_text(out, command->summary);
    lb_text_put(out, ".\n");
    if (command->doc) {
        lb_text_put(out, ".PP\n");
        put_paragraphs(out, command->doc);
    }
    for (const lb_operand *o = command->operands; o && o->name; o++) {
        lb_text_put(out, ".TP\n");
        put_italic(out, o->name);
        lb_text_put(out, "\n");
        put_paragraphs(out, o->doc);
    }
    for (const lb_option *o = command->options; o && o->name; o++) {
        lb_text_put(out, ".TP\n");
        put_option_name(out, o);
        lb_text_put(out, "\n");
        put_paragraphs(out, o->doc);
    }
    put_examples(out, command->examples);
    if (command->no) {
        lb_text_put(out, ".PP\nStatus 1: ");
        put_text(out, command->no);
        lb_text_put(out, ".\n");
    }
}

static void put_page(lb_text *out)
{
    lb_text_put(out, ".\\\" Written by `lampblack manual`.\n.TH LAMPBLACK 1 " LB_DATE
                     " \"lampblack " LB_VERSION "\"\n.nh\n.ad l\n.SH NAME\nlampblack \\- "
                     "a headless compositing engine with a text scene language\n.SH SYNOPSIS\n");
    for (size_t i = 0; lb_commands[i]; i++)
        put_synopsis(out, lb_commands[i]);
    lb_text_put(out, ".HP\n");
    put_bold(out, "lampblack --help");
    lb_text_put(out, " | ");
    put_bold(out, "--version");
    lb_text_put(out, "\n.SH DESCRIPTION\n");
    put_paragraphs(out,
                   "A graph file, which people write by hand in YAML, says how frames are made; "
                   "the commands check it, render it and tell about it.\n\n"
                   "Options and other words come in any order. An option's value is written "
                   "\"--name value\" or \"--name=value\"; \"--\" ends the options. Every "
                   "command has --help.");
    lb_text_put(out, ".SH COMMANDS\n");
    for (size_t i = 0; lb_commands[i]; i++)
        put_command(out, lb_commands[i]);
    lb_text_put(out, ".SH EXIT STATUS\n");
    for (int status = LB_EXIT_GOOD; status <= LB_EXIT_TROUBLE; status++) {
        lb_text_printf(out, ".TP\n%d\n", status);
        put_text(out, lb_help_exit(NULL, status));
        lb_text_put(out, ".\n");
    }
    lb_text_put(out, ".PP\nMessages go to standard error, what was asked for to standard output.\n"
                     ".SH ENVIRONMENT\n.TP\nNO_COLOR\nWhen set to anything, messages on a terminal "
                     "have no colours.\n");
}

static lb_status run_manual(lb_session *session, const void *words)
{
    lb_text text = {0};

    (void)words;
    put_page(&text);
    return lb_session_print(session, &text);
}

static const lb_example examples[] = {
    {"lampblack manual >lampblack.1", NULL},
    {"lampblack manual | man -l -", "To read it where it is not installed:"},
    {0},
};

const lb_command lb_command_manual = {
    .name = "manual",
    .summary = "this manual, as a page for man",
    .examples = examples,
    .run = run_manual,
};
