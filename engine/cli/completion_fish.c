/* engine/cli/completion_fish.c: completion for fish. */
#include "engine/cli/cli.h"
#include "engine/cli/completion.h"

/* Options of `complete` that say what completes a value. */
static void put_offer(lb_text *out, lb_offer offer, bool comma, const char *const *words)
{
    switch (offer) {
    case LB_OFFER_NOTHING:
        lb_text_put(out, " -x");
        break;
    case LB_OFFER_WORDS:
        for (size_t i = 0; words[i]; i++)
            lb_text_printf(out, "%s%s", i ? " " : " -x -a '", words[i]);
        lb_text_put(out, "'");
        break;
    case LB_OFFER_FILE:
        lb_text_put(out, " -r -F");
        break;
    case LB_OFFER_FOLDER:
        lb_text_put(out, " -x -a '(__fish_complete_directories)'");
        break;
    case LB_OFFER_GRAPH:
        lb_text_put(out, " -x -k -a '(__fish_complete_suffix .yaml .yml)'");
        break;
    case LB_OFFER_OBJECT:
        lb_text_put(out, " -x -k -a '(__fish_complete_suffix .so)'");
        break;
    case LB_OFFER_PARAMS:
        lb_text_put(out, " -x -a '(__lampblack_params)'");
        break;
    default:
        lb_text_printf(out, " -x -a '(__lampblack_%s %s)'", comma ? "list" : "names",
                       lb_completion_kind(offer));
    }
}

static void put_doc(lb_text *out, const char *doc)
{
    lb_text_put(out, " -d ");
    lb_completion_quote(out, doc, true);
    lb_text_put(out, "\n");
}

static void put_command(lb_text *out, const lb_command *command)
{
    int32_t at = 1;

    lb_text_printf(out, "\ncomplete -c lampblack -n __lampblack_first -a %s", command->name);
    put_doc(out, command->summary);
    for (const lb_option *o = command->options; o && o->name; o++) {
        lb_text_printf(out, "complete -c lampblack -n '__lampblack_command %s' -l %s",
                       command->name, o->name + 2);
        if (o->type != LB_OPTION_FLAG)
            put_offer(out, o->offer, o->comma, o->words);
        put_doc(out, o->doc);
    }
    for (const lb_operand *o = command->operands; o && o->name; o++, at++) {
        lb_text_printf(out, "complete -c lampblack -n '__lampblack_operand %s ", command->name);
        if (o->max == 1)
            lb_text_printf(out, "%d'", (int)at);
        else
            lb_text_put(out, "\"*\"'");
        put_offer(out, o->offer, false, o->words);
        lb_text_put(out, "\n");
    }
}

static void put_values(lb_text *out)
{
    lb_text_put(out, "\nfunction __lampblack_takes_value\n    switch $argv[1]\n        case");
    for (size_t i = 0; lb_commands[i]; i++)
        for (const lb_option *o = lb_commands[i]->options; o && o->name; o++)
            if (o->type != LB_OPTION_FLAG)
                lb_text_printf(out, " \\\n            '%s %s'", lb_commands[i]->name, o->name);
    lb_text_put(out, "\n            return 0\n    end\n    return 1\nend\n");
}

void lb_completion_fish(lb_text *out)
{
    lb_completion_head(out, "fish");
    lb_text_put(out, lb_shell_fish);
    put_values(out);
    lb_text_put(out,
                "\ncomplete -c lampblack -f\n"
                "complete -c lampblack -l help -d 'Prints the page of help'\n"
                "complete -c lampblack -n __lampblack_first -l version -d 'Prints the version'\n"
                "complete -c lampblack -n __lampblack_first -a help -d 'how a command is used'\n"
                "complete -c lampblack -n '__lampblack_operand help 1' -x "
                "-a '(lampblack names commands 2>/dev/null)'\n");
    for (size_t i = 0; lb_commands[i]; i++)
        put_command(out, lb_commands[i]);
}
