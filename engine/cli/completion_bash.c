/* engine/cli/completion_bash.c: completion for bash 4 and later; needs no other script. */
#include "engine/cli/cli.h"
#include "engine/cli/completion.h"

/* The rows are `case` branches that set the array `offer`: a kind, and words where it is "words".
 */
static void put_offer(lb_text *out, lb_offer offer, bool comma, const char *const *words)
{
    static const char *const kinds[] = {
        [LB_OFFER_NOTHING] = "nothing", [LB_OFFER_WORDS] = "words", [LB_OFFER_FILE] = "file",
        [LB_OFFER_FOLDER] = "folder",   [LB_OFFER_GRAPH] = "graph", [LB_OFFER_OBJECT] = "object"};
    const char *named = lb_completion_kind(offer);

    lb_text_printf(out, "offer=(%s%s", comma ? "list:" : "", named ? named : kinds[offer]);
    for (size_t i = 0; offer == LB_OFFER_WORDS && words[i]; i++)
        lb_text_printf(out, " %s", words[i]);
    lb_text_put(out, ") ;;\n");
}

static void put_commands(lb_text *out)
{
    lb_text_put(out, "_lampblack_commands() {\n    case $1 in\n"
                     "    -*) offer=(words --help --version) ;;\n    *) offer=(words");
    for (size_t i = 0; lb_commands[i]; i++)
        lb_text_printf(out, " %s", lb_commands[i]->name);
    lb_text_put(out, " help) ;;\n    esac\n}\n");
}

/* The options of a command. */
static void put_options(lb_text *out)
{
    lb_text_put(out, "\n_lampblack_options() {\n    case $1 in\n");
    for (size_t i = 0; lb_commands[i]; i++) {
        lb_text_printf(out, "    %s) offer=(words", lb_commands[i]->name);
        for (const lb_option *o = lb_commands[i]->options; o && o->name; o++)
            lb_text_printf(out, " %s", o->name);
        lb_text_put(out, " --help) ;;\n");
    }
    lb_text_put(out, "    *) offer=(nothing) ;;\n    esac\n}\n");
}

/* What an option's value may be; fails for those that take none. */
static void put_values(lb_text *out)
{
    lb_text_put(out, "\n_lampblack_option() {\n    case $1 in\n");
    for (size_t i = 0; lb_commands[i]; i++)
        for (const lb_option *o = lb_commands[i]->options; o && o->name; o++)
            if (o->type != LB_OPTION_FLAG) {
                lb_text_printf(out, "    \"%s %s\") ", lb_commands[i]->name, o->name);
                put_offer(out, o->offer, o->comma, o->words);
            }
    lb_text_put(out, "    *) return 1 ;;\n    esac\n}\n");
}

static void put_operands(lb_text *out)
{
    lb_text_put(out,
                "\n_lampblack_operand() {\n    case $1 in\n    \"help 1\") _lampblack_commands "
                "'' ;;\n");
    for (size_t i = 0; lb_commands[i]; i++) {
        int32_t at = 1;

        for (const lb_operand *o = lb_commands[i]->operands; o && o->name; o++, at++) {
            if (o->max == 1)
                lb_text_printf(out, "    \"%s %d\") ", lb_commands[i]->name, (int)at);
            else
                lb_text_printf(out, "    \"%s \"*) ", lb_commands[i]->name);
            put_offer(out, o->offer, false, o->words);
        }
    }
    lb_text_put(out, "    *) offer=(nothing) ;;\n    esac\n}\n");
}

void lb_completion_bash(lb_text *out)
{
    lb_completion_head(out, "bash");
    lb_text_put(out, "# shellcheck shell=bash disable=SC2207\n\n");
    put_commands(out);
    put_options(out);
    put_values(out);
    put_operands(out);
    lb_text_put(out, lb_shell_bash);
}
