/* engine/cli/main.c: lampblack COMMAND ... */
#include <malloc.h>
#include <string.h>

#include "engine/cli/cli.h"
#include "engine/cli/help.h"

/* Prints and lets go of it. */
static void print(lb_text *text, FILE *out)
{
    fputs(text->bytes && !text->failed ? text->bytes : "lampblack: no memory\n", out);
    lb_text_clear(text);
}

static int unknown(const char *name)
{
    const char *names[256], *nearest;
    size_t count = 0;

    for (; lb_commands[count] && count < 256; count++)
        names[count] = lb_commands[count]->name;
    nearest = lb_text_nearest(name, names, count);
    fprintf(stderr, "lampblack: there is no command '%s'%s%s%s\n", name,
            nearest ? "; did you mean '" : "", nearest ? nearest : "", nearest ? "'?" : "");
    fputs("'lampblack --help' lists the commands\n", stderr);
    return LB_EXIT_TROUBLE;
}

static bool is_help(const char *word)
{
    return !strcmp(word, "--help") || !strcmp(word, "-h");
}

static bool wants_help(int argc, char **argv)
{
    for (int i = 2; i < argc && strcmp(argv[i], "--") != 0; i++)
        if (is_help(argv[i]))
            return true;
    return false;
}

static int run(int argc, char **argv)
{
    const lb_command *command;
    lb_text text = {0};

    if (argc < 2) {
        lb_help_program(&text);
        print(&text, stderr);
        return LB_EXIT_TROUBLE;
    }
    if (!strcmp(argv[1], "--version")) {
        puts("lampblack " LB_VERSION);
        return LB_EXIT_GOOD;
    }
    if (is_help(argv[1]) || (!strcmp(argv[1], "help") && argc == 2)) {
        lb_help_program(&text);
        print(&text, stdout);
        return LB_EXIT_GOOD;
    }
    if (!strcmp(argv[1], "help")) { /* "help render" is "render --help" */
        if (!(command = lb_command_find(argv[2])))
            return unknown(argv[2]);
    } else if (!(command = lb_command_find(argv[1]))) {
        return unknown(argv[1]);
    } else if (!wants_help(argc, argv)) {
        return lb_session_run(command, argc - 1, argv + 1);
    }
    lb_help_command(&text, command);
    print(&text, stdout);
    return LB_EXIT_GOOD;
}

int main(int argc, char **argv)
{
    int status;

    /* Scratch of some megabytes comes and goes with every frame: the heap keeps its pages. */
    mallopt(M_MMAP_THRESHOLD, 64 << 20);
    mallopt(M_TRIM_THRESHOLD, 256 << 20);
    status = run(argc, argv);
    if (fflush(stdout) != 0 || ferror(stdout)) {
        fputs("lampblack: standard output could not be written\n", stderr);
        return LB_EXIT_TROUBLE;
    }
    return status;
}
