/* tests/lang/test_language_page.c: every example of docs/language.md, by `lampblack check`.
 *
 * A block of YAML is a graph that is good. One that is not whole gets a frame. Behind "yaml" may
 * stand the name of a file that later blocks include, or "wrong": then the next block shows every
 * word that is said about it. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/base/text.h"

static char folder[] = "/tmp/lampblack-page-XXXXXX";

/* The line that opens a block, what is in it, and where the search goes on. */
typedef struct block {
    char info[64];
    const char *text;
    size_t bytes;
    const char *next;
} block;

static bool find_block(const char *at, block *out)
{
    const char *begin = strncmp(at, "```", 3) == 0 ? at : strstr(at, "\n```"), *line, *end;

    if (!begin)
        return false;
    begin += *begin == '\n';
    line = strchr(begin, '\n');
    cr_assert(line && line - begin < 60, "%.80s", begin);
    snprintf(out->info, sizeof out->info, "%.*s", (int)(line - begin - 3), begin + 3);
    end = strstr(line, "\n```");
    cr_assert_not_null(end, "a block that does not end: %.80s", begin);
    out->text = line + 1;
    out->bytes = (size_t)(end - line);
    out->next = end + 4;
    return true;
}

static char *check(const char *path, int *status)
{
    lb_text words = {0}, said = {0};
    char piece[4096];
    size_t count;
    FILE *pipe;

    lb_text_printf(&words, "cd %s && %s check %s 2>&1 >/dev/null", folder, LB_PROGRAM, path);
    cr_assert_not_null(pipe = popen(words.bytes, "r"));
    while ((count = fread(piece, 1, sizeof piece, pipe)) > 0)
        lb_text_add(&said, piece, count);
    lb_text_add(&said, "", 1); /* the end, also of nothing */
    *status = pclose(pipe);
    cr_assert(WIFEXITED(*status) && !said.failed);
    *status = WEXITSTATUS(*status);
    lb_text_clear(&words);
    return said.bytes;
}

static void write_file(const char *name, const char *head, const block *b)
{
    char path[128];
    lb_text text = {0};

    snprintf(path, sizeof path, "%s/%s", folder, name);
    lb_text_put(&text, head);
    lb_text_add(&text, b->text, b->bytes);
    cr_assert(!text.failed &&
              lb_file_write(NULL, LB_NOWHERE, path, text.bytes, text.length) == LB_OK);
    lb_text_clear(&text);
}

static void check_block(const block *b)
{
    const char *name = strcmp(b->info, "yaml") == 0 || strcmp(b->info, "yaml wrong") == 0
                           ? "kiln.yaml"
                           : b->info + 5;
    bool is_whole = strncmp(b->text, "lampblack: 1\n", 13) == 0;
    bool is_wrong = strcmp(b->info, "yaml wrong") == 0, is_main = b->info[4] == 0;
    int status;
    char *said;

    cr_assert(is_whole || is_main, "%s", b->info);
    write_file(
        name,
        is_whole ? "" : "lampblack: 1\nframe: {size: [1280, 720], rate: 25, range: [1, 100]}\n", b);
    if (!is_wrong && !is_main)
        return; /* checked with the graph that includes it */
    said = check(name, &status);
    if (is_wrong) {
        block words;

        cr_assert(find_block(b->next, &words) && words.info[0] == 0);
        cr_expect(status == 1 && strlen(said) == words.bytes &&
                      strncmp(said, words.text, words.bytes) == 0,
                  "%.*s\nsays:\n%s\nand not:\n%.*s", (int)b->bytes, b->text, said, (int)words.bytes,
                  words.text);
    } else {
        cr_expect(status == 0, "%.*s\nsays:\n%s", (int)b->bytes, b->text, said);
        cr_expect(!is_whole || !*said, "%.*s\nsays:\n%s", (int)b->bytes, b->text, said);
    }
    lb_free(said);
}

Test(language_page, every_example, .timeout = 120)
{
    void *page;
    size_t bytes;
    block b = {.next = NULL};
    char command[64];
    int good = 0, wrong = 0;

    cr_assert_not_null(mkdtemp(folder));
    cr_assert(lb_file_read(NULL, LB_NOWHERE, LB_SOURCE_DIR "/docs/language.md", 1 << 20, &page,
                           &bytes) == LB_OK);
    for (const char *at = page; find_block(at, &b); at = b.next)
        if (strcmp(b.info, "yaml") == 0 || strncmp(b.info, "yaml ", 5) == 0) {
            check_block(&b);
            wrong += strcmp(b.info, "yaml wrong") == 0;
            good++;
        }
    cr_expect(good >= 15 && wrong >= 1, "%d blocks, %d of them wrong", good, wrong);
    lb_free(page);
    snprintf(command, sizeof command, "rm -rf %s", folder);
    cr_expect_eq(system(command), 0);
}
