/* engine/cli/completion.c: lampblack completion SHELL. */
#include "engine/cli/completion.h"

#include <string.h>

#include "engine/cli/cli.h"

void lb_completion_head(lb_text *out, const char *shell)
{
    lb_text_printf(out, "# Completion of lampblack, written by `lampblack completion %s`.\n",
                   shell);
}

const char *lb_completion_kind(lb_offer offer)
{
    switch (offer) {
    case LB_OFFER_OPERATORS:
        return "operators";
    case LB_OFFER_NODES:
        return "nodes";
    case LB_OFFER_OUTPUTS:
        return "outputs";
    case LB_OFFER_PARAMS:
        return "params";
    case LB_OFFER_VERSIONS:
        return "versions";
    default:
        return NULL;
    }
}

static bool ends_clause(const char *at)
{
    return *at == ';' || *at == ':' || (*at == '.' && (!at[1] || at[1] == ' '));
}

void lb_completion_quote(lb_text *out, const char *doc, bool is_fish)
{
    lb_text_put(out, "'");
    for (; *doc && !ends_clause(doc); doc++) {
        if (*doc == '\'')
            lb_text_put(out, is_fish ? "\\'" : "'\\''");
        else if (is_fish && *doc == '\\')
            lb_text_put(out, "\\\\");
        else
            lb_text_add(out, doc, 1);
    }
    lb_text_put(out, "'");
}

typedef struct completion_options {
    const char *shell;
} completion_options;

static const struct {
    const char *name;
    void (*write)(lb_text *out);
} shells[] = {
    {"bash", lb_completion_bash}, {"zsh", lb_completion_zsh}, {"fish", lb_completion_fish}};

static lb_status run_completion(lb_session *session, const void *words)
{
    const completion_options *options = words;
    lb_text text = {0};

    for (size_t i = 0; i < sizeof shells / sizeof shells[0]; i++)
        if (!strcmp(shells[i].name, options->shell))
            shells[i].write(&text);
    return lb_session_print(session, &text);
}

static const char *const shell_names[] = {"bash", "zsh", "fish", NULL};

static const lb_operand operands[] = {
    LB_OPERAND(completion_options, shell, "SHELL", .min = 1, .max = 1, .words = shell_names,
               .offer = LB_OFFER_WORDS, .doc = "bash, zsh or fish."),
    {0},
};

static const lb_example examples[] = {
    {"source <(lampblack completion bash)", "In ~/.bashrc, where it is not installed:"},
    {"lampblack completion fish >lampblack.fish", NULL},
    {0},
};

const lb_command lb_command_completion = {
    .name = "completion",
    .summary = "a script by which a shell completes commands, options and names",
    .doc = "Installing the program puts the scripts where shells look for them; this prints them "
           "for other places.",
    .operands = operands,
    .examples = examples,
    .options_size = sizeof(completion_options),
    .run = run_completion,
};
