/* tests/engine/cli/test_help.c: pages of help and the manual: every command has them, they fit a
 * terminal, their examples work, and the manual is good roff (checked by mandoc). */
#include "tests/support/shell.h"

#define COLUMNS 80 /* of a terminal; common practice */

TestSuite(help, .init = enter_folder, .fini = leave_folder, .timeout = 120);

/* The names of all commands, a line each. */
static const char *commands(void)
{
    static char names[4096];

    cr_assert_eq(run("lampblack names commands"), 0, "%s", output);
    cr_assert_lt(strlen(output), sizeof names);
    strcpy(names, output);
    cr_assert_geq(strlen(names), strlen("check\nrender\n"));
    return names;
}

/* Calls `fn` with each line of a text. */
static void for_each_line(const char *text, void (*fn)(const char *line))
{
    char line[512];

    while (*text) {
        size_t bytes = strcspn(text, "\n");

        cr_assert_lt(bytes, sizeof line);
        memcpy(line, text, bytes);
        line[bytes] = 0;
        fn(line);
        text += bytes + (text[bytes] != 0);
    }
}

static void expect_fits(const char *line)
{
    size_t wide = 0;

    for (const char *at = line; *at; at++)
        wide += (*at & 0xC0) != 0x80; /* UTF-8 */
    cr_expect_leq(wide, COLUMNS, "%zu columns: %s", wide, line);
    cr_expect(!*line || line[strlen(line) - 1] != ' ', "a blank at the end of '%s'", line);
}

static void expect_page(const char *name)
{
    static char page[1 << 16];
    char line[128];

    snprintf(line, sizeof line, "lampblack %s --help", name);
    cr_expect_eq(run(line), 0, "%s", output);
    strcpy(page, output);
    for_each_line(page, expect_fits);
    cr_expect_not_null(strstr(page, "\nExit status:\n  0  "), "%s", page);
    cr_expect_not_null(strstr(page, "\nExample"), "%s", page);
    snprintf(line, sizeof line, "usage: lampblack %s", name);
    cr_expect_not_null(strstr(page, line), "%s", page);
    snprintf(line, sizeof line, "lampblack help %s", name);
    cr_expect_eq(run(line), 0, "%s", output);
    cr_expect_str_eq(output, page);
    snprintf(line, sizeof line, "lampblack %s --no-such-option", name);
    cr_expect_eq(run(line), 2, "%s", output);
    cr_expect_not_null(strstr(output, "--no-such-option"), "%s", output);
}

Test(help, pages)
{
    for_each_line(commands(), expect_page);
    cr_expect_eq(run("lampblack --help"), 0);
    for_each_line(output, expect_fits);
}

static int example_count;

static void run_example(const char *line)
{
    if (strncmp(line, "  ", 2) != 0 || line[2] == '#' || line[2] == ' ')
        return;
    example_count++;
    cr_expect_eq(run(line + 2), 0, "'%s' ends with another status: %s", line + 2, output);
}

static void run_examples(const char *name)
{
    static char page[1 << 16];
    char line[128], *begin, *end;

    snprintf(line, sizeof line, "lampblack %s --help", name);
    cr_assert_eq(run(line), 0);
    strcpy(page, output);
    cr_assert_not_null(begin = strstr(page, "\nExample"));
    cr_assert_not_null(end = strstr(begin, "\n\n"));
    *end = 0;
    example_count = 0;
    for_each_line(strchr(begin + 1, '\n') + 1, run_example);
    cr_expect_geq(example_count, 1, "%s has no example", name);
}

/* Every example does what it says, where there is what it names. */
Test(help, examples)
{
    cr_assert_eq(run("cp " LB_SOURCE_DIR "/tests/engine/cli/example/* . && "
                     "cp " LB_TEST_DATA "/gltf/feature-tests/mesh.glb kiln.glb && "
                     "lampblack render kiln.yaml --progress none --cache kept"),
                 0, "%s", output);
    for_each_line(commands(), run_examples);
}

/* mandoc reads the same macros as groff and is strict; it says nothing about a good page. */
Test(help, manual)
{
    char *names, *save = NULL;
    char request[128];

    cr_assert_eq(run("lampblack manual >lampblack.1 && mandoc -T lint lampblack.1"), 0, "%s",
                 output);
    cr_expect_str_empty(output);
    cr_assert_not_null(names = strdup(commands()));
    cr_assert_eq(run("mandoc -T ascii -O width=80 lampblack.1 | sed 's/.\\x08//g'"), 0);
    for (char *name = strtok_r(names, "\n", &save); name; name = strtok_r(NULL, "\n", &save)) {
        snprintf(request, sizeof request, "\n   %s\n", name);
        cr_expect_not_null(strstr(output, request), "the manual does not tell of %s", name);
    }
    free(names);
    cr_expect_not_null(strstr(output, "--progress auto|bar|lines|json|none"), "%s", output);
    cr_expect_not_null(strstr(output, "EXIT STATUS"));
}
