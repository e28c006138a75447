/* engine/cli/completion_zsh.c: completion for zsh, by its _arguments. */
#include "engine/cli/cli.h"
#include "engine/cli/completion.h"

/* What completes a value, within single quotes. */
static void put_action(lb_text *out, lb_offer offer, bool comma, const char *const *words)
{
    const char *kind = lb_completion_kind(offer);

    switch (offer) {
    case LB_OFFER_NOTHING:
        lb_text_put(out, " ");
        break;
    case LB_OFFER_WORDS:
        for (size_t i = 0; words[i]; i++)
            lb_text_printf(out, "%s%s", i ? " " : "(", words[i]);
        lb_text_put(out, ")");
        break;
    case LB_OFFER_FILE:
        lb_text_put(out, "_files");
        break;
    case LB_OFFER_FOLDER:
        lb_text_put(out, "_files -/");
        break;
    case LB_OFFER_GRAPH:
        lb_text_put(out, "_files -g \"*.(yaml|yml)\"");
        break;
    case LB_OFFER_OBJECT:
        lb_text_put(out, "_files -g \"*.so\"");
        break;
    case LB_OFFER_PARAMS:
        lb_text_put(out, " _lampblack_params"); /* the space: it is called with just that */
        break;
    default:
        lb_text_printf(out, " _lampblack_%s %s", comma ? "list" : "names", kind);
    }
}

/* '--name=[doc]:ARGUMENT:action' */
static void put_option(lb_text *out, const lb_option *o)
{
    char argument[96];
    const char *value = lb_option_argument(o, argument, sizeof argument);

    lb_text_printf(out, " \\\n            '%s%s%s['", lb_option_repeats(o) ? "*" : "", o->name,
                   value ? "=" : "");
    lb_completion_quote(out, o->doc, false);
    lb_text_put(out, "']");
    if (value) {
        lb_text_printf(out, ":%s:", value);
        put_action(out, o->offer, o->comma, o->words);
    }
    lb_text_put(out, "'");
}

static void put_arguments(lb_text *out, const lb_command *command)
{
    int32_t at = 1;

    lb_text_printf(out, "    %s)\n        _arguments -S", command->name);
    for (const lb_option *o = command->options; o && o->name; o++)
        put_option(out, o);
    lb_text_put(out, " \\\n            '--help[Prints the page of help]'");
    for (const lb_operand *o = command->operands; o && o->name; o++, at++) {
        lb_text_put(out, " \\\n            '");
        if (o->max == 1)
            lb_text_printf(out, "%d", (int)at);
        else
            lb_text_put(out, "*");
        lb_text_printf(out, "%s%s:", o->max == 1 && o->min == 0 ? "::" : ":", o->name);
        put_action(out, o->offer, false, o->words);
        lb_text_put(out, "'");
    }
    lb_text_put(out, "\n        ;;\n");
}

void lb_completion_zsh(lb_text *out)
{
    lb_text_put(out, "#compdef lampblack\n");
    lb_completion_head(out, "zsh");
    lb_text_put(out, "\n_lampblack_commands() {\n    local -a commands=(\n");
    for (size_t i = 0; lb_commands[i]; i++) {
        lb_text_printf(out, "        %s:", lb_commands[i]->name);
        lb_completion_quote(out, lb_commands[i]->summary, false);
        lb_text_put(out, "\n");
    }
    lb_text_put(out, "        help:'how a command is used'\n    )\n"
                     "    [[ $PREFIX == -* ]] && compadd -- --help --version\n"
                     "    _describe command commands\n}\n"
                     "\n_lampblack_arguments() {\n    case $1 in\n"
                     "    help) _lampblack_commands ;;\n");
    for (size_t i = 0; lb_commands[i]; i++)
        put_arguments(out, lb_commands[i]);
    lb_text_put(out, "    esac\n}\n");
    lb_text_put(out, lb_shell_zsh);
}
