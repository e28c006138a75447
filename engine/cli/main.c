/* engine/cli/main.c: lampblack COMMAND ... */
#include <malloc.h>
#include <string.h>

#include "engine/base/text.h"
#include "engine/cli/cli.h"

static const lb_command *const commands[] = {&lb_command_render, &lb_command_check,
                                             &lb_command_audit,  &lb_command_ops,
                                             &lb_command_info,   &lb_command_cache};
#define COMMANDS (sizeof commands / sizeof commands[0])

static void help(FILE *out)
{
    fputs("lampblack: a headless compositing engine with a text scene language\n\n", out);
    for (size_t i = 0; i < COMMANDS; i++)
        fprintf(out, "  lampblack %-8s %s\n", commands[i]->name, commands[i]->summary);
    fputs("\n'lampblack COMMAND --help' tells how each is used.\n"
          "Exit status: 0 done and good, 1 the answer is no, 2 trouble.\n",
          out);
}

static int unknown(const char *name)
{
    const char *names[COMMANDS];
    const char *nearest;

    for (size_t i = 0; i < COMMANDS; i++)
        names[i] = commands[i]->name;
    nearest = lb_text_nearest(name, names, COMMANDS);
    fprintf(stderr, "lampblack: there is no command '%s'", name);
    if (nearest)
        fprintf(stderr, "; did you mean '%s'?", nearest);
    fputs("\n'lampblack --help' lists the commands\n", stderr);
    return LB_EXIT_TROUBLE;
}

int main(int argc, char **argv)
{
    /* Scratch of some megabytes comes and goes with every frame: the heap keeps its pages. */
    mallopt(M_MMAP_THRESHOLD, 64 << 20);
    mallopt(M_TRIM_THRESHOLD, 256 << 20);
    if (argc < 2) {
        help(stderr);
        return LB_EXIT_TROUBLE;
    }
    if (!strcmp(argv[1], "--help") || !strcmp(argv[1], "-h") || !strcmp(argv[1], "help")) {
        help(stdout);
        return LB_EXIT_GOOD;
    }
    if (!strcmp(argv[1], "--version")) {
        puts("lampblack " LB_VERSION);
        return LB_EXIT_GOOD;
    }
    for (size_t i = 0; i < COMMANDS; i++)
        if (!strcmp(argv[1], commands[i]->name)) {
            int status;

            for (int a = 2; a < argc; a++)
                if (!strcmp(argv[a], "--help")) {
                    printf("usage: lampblack %s\n%s\n", commands[i]->usage, commands[i]->summary);
                    return LB_EXIT_GOOD;
                }
            status = commands[i]->run(argc - 1, argv + 1);
            if (fflush(stdout) != 0 || ferror(stdout)) {
                fputs("lampblack: standard output could not be written\n", stderr);
                return LB_EXIT_TROUBLE;
            }
            return status;
        }
    return unknown(argv[1]);
}
