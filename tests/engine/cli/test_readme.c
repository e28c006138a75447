/* tests/engine/cli/test_readme.c: the graphs that the pages show work. Every block of a page that
 * begins with ```yaml and "lampblack: 1" is a whole graph: it is checked, and the README's is
 * rendered small. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[64];

static char *load(const char *path)
{
    FILE *file = fopen(path, "rb");
    char *text = calloc(1, 1 << 20);

    cr_assert_not_null(file, "%s", path);
    cr_assert_gt(fread(text, 1, (1 << 20) - 1, file), 0);
    fclose(file);
    return text;
}

static int run(const char *format, const char *name)
{
    char command[1024];

    snprintf(command, sizeof command, format, LB_PROGRAM, name);
    return system(command);
}

/* Writes every whole graph of a page to N.yaml and runs `format` on each; how many there were. */
static int for_each_graph(const char *page, const char *format)
{
    char *text = load(page);
    int count = 0;

    for (char *at = text; (at = strstr(at, "```yaml\n"));) {
        char *begin = at + 8, *end = strstr(begin, "\n```"), name[32];
        FILE *file;

        cr_assert_not_null(end, "a block without an end in %s", page);
        at = end + 4;
        if (strncmp(begin, "lampblack: 1\n", 13) != 0)
            continue;
        snprintf(name, sizeof name, "%d.yaml", ++count);
        cr_assert_not_null(file = fopen(name, "w"));
        fwrite(begin, 1, (size_t)(end - begin) + 1, file);
        fclose(file);
        cr_expect_eq(run(format, name), 0, "%s: graph %d", page, count);
    }
    free(text);
    return count;
}

static void enter_folder(void)
{
    strcpy(folder, "/tmp/lampblack-pages-XXXXXX");
    cr_assert_not_null(mkdtemp(folder));
    cr_assert_eq(chdir(folder), 0);
}

static void leave_folder(void)
{
    char command[128];

    cr_assert_eq(chdir("/"), 0);
    snprintf(command, sizeof command, "rm -rf %s", folder);
    cr_expect_eq(system(command), 0);
}

TestSuite(pages, .init = enter_folder, .fini = leave_folder);

Test(pages, readme)
{
    cr_expect_eq(for_each_graph(LB_SOURCE_DIR "/README.md",
                                "%s render %s --progress none --scale 1/8 --frames 1,30"),
                 1);
    cr_expect_eq(access("out/first.0030.png", R_OK), 0);
}
