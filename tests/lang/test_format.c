/* tests/lang/test_format.c: the canonical layout. Golden files in tests/data/format are the written
 * rule; for everything else (our graphs, the YAML Test Suite, random texts, damaged ones) what must
 * hold is: it reads as the same tree, no comment is lost, and a second time changes nothing. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <sys/stat.h>

#include "engine/base/file.h"
#include "lang/format.h"
#include "lang/layout.h"
#include "tests/lang/messages.h"
#include "tests/lang/random_yaml.h"

static int formatted, refused;

static lb_yaml_node *read_tree(const char *text, size_t bytes, lb_arena *arena)
{
    lb_yaml_node *tree = NULL;

    if (bytes >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0)
        text += 3, bytes -= 3;
    if (lb_yaml_read(NULL, NULL, text, bytes, arena, &tree) != LB_OK)
        return NULL;
    return tree;
}

static int compare_texts(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* The texts of all comments, sorted, in one string of the arena. */
static const char *comments_of(const char *text, size_t bytes, lb_arena *arena)
{
    lb_place_index places;
    lb_layout_marks marks;
    lb_text all = {0};
    char **texts;
    const char *kept;

    cr_assert(lb_place_index_make(text, bytes, &places));
    cr_assert(lb_layout_scan(&places, arena, &marks) == LB_OK);
    texts = lb_arena_alloc(arena, marks.comment_count + 1, sizeof *texts);
    for (size_t i = 0; i < marks.comment_count; i++)
        texts[i] = lb_arena_strndup(arena, marks.comments[i].text, marks.comments[i].length);
    qsort(texts, marks.comment_count, sizeof *texts, compare_texts);
    for (size_t i = 0; i < marks.comment_count; i++)
        lb_text_printf(&all, "%s\n", texts[i]);
    kept = lb_arena_strndup(arena, all.bytes ? all.bytes : "", all.length);
    lb_text_clear(&all);
    lb_place_index_clear(&places);
    return kept;
}

/* No line ends with spaces but those of block scalars, and there are no two blank lines in a row
 * but there. Such texts have no | and no > in them. */
static void expect_tidy(const char *name, const lb_text *text)
{
    if (strpbrk(text->bytes, "|>"))
        return;
    cr_expect(!strstr(text->bytes, " \n") && !strstr(text->bytes, "\n\n\n") &&
                  !strchr(text->bytes, '\r') && text->bytes[0] != '\n',
              "%s: %s", name, text->bytes);
    cr_expect(text->length < 2 || strcmp(text->bytes + text->length - 2, "\n\n") != 0, "%s", name);
}

/* Formats and looks at what must hold. Answers whether the text was good. */
static bool try(const char *name, const char *text, size_t bytes, bool has_comments)
{
    lb_arena *arena = lb_arena_new();
    lb_yaml_node *tree = read_tree(text, bytes, arena), *again;
    lb_text once = {0}, twice = {0};
    lb_status status = lb_lang_format(NULL, name, text, bytes, &once);

    cr_expect((status == LB_OK) == (tree != NULL), "%s: %s\n%.*s", name, lb_status_text(status),
              (int)bytes, text);
    cr_expect((status == LB_OK) == (once.bytes != NULL));
    if (status == LB_OK && tree) {
        formatted++;
        again = read_tree(once.bytes, once.length, arena);
        cr_expect(again && lb_lang_same_tree(tree, again), "%s: another tree:\n%.*s\n%s", name,
                  (int)bytes, text, once.bytes);
        cr_expect(once.bytes[once.length - 1] == '\n');
        expect_tidy(name, &once);
        if (has_comments)
            cr_expect_str_eq(comments_of(text, bytes, arena),
                             comments_of(once.bytes, once.length, arena), "%s: %s", name,
                             once.bytes);
        cr_expect(lb_lang_format(NULL, name, once.bytes, once.length, &twice) == LB_OK);
        cr_expect(twice.bytes && strcmp(once.bytes, twice.bytes) == 0,
                  "%s: the second time\n%s\nthe first\n%s", name, twice.bytes, once.bytes);
    } else {
        refused++;
    }
    lb_text_clear(&once);
    lb_text_clear(&twice);
    lb_arena_free(&arena);
    return status == LB_OK;
}

static bool try_file(const char *path)
{
    void *text;
    size_t bytes;
    bool is_good;

    cr_assert(lb_file_read(NULL, LB_NOWHERE, path, 1 << 24, &text, &bytes) == LB_OK, "%s", path);
    is_good = try(path, text, bytes, true);
    lb_free(text);
    return is_good;
}

/* All files called *.yaml below a folder; answers how many were good. */
static int try_folder(const char *folder)
{
    DIR *dir = opendir(folder);
    struct dirent *entry;
    struct stat info;
    char path[1024];
    int good = 0;

    cr_assert(dir, "%s", folder);
    while ((entry = readdir(dir))) {
        size_t length = strlen(entry->d_name);

        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (entry->d_name[0] == '.' || stat(path, &info) != 0)
            continue;
        if (S_ISDIR(info.st_mode))
            good += try_folder(path);
        else if (length > 5 && strcmp(entry->d_name + length - 5, ".yaml") == 0)
            good += try_file(path);
    }
    closedir(dir);
    return good;
}

Test(format, golden)
{
    static const char *const names[] = {"comments", "scalars", "flow", "anchors", "bytes", "lists"};
    char path[1024];

    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        lb_text made = {0};
        void *in, *out;
        size_t in_bytes, out_bytes;

        snprintf(path, sizeof path, LB_TEST_DATA "/format/%s.in.yaml", names[i]);
        cr_assert(lb_file_read(NULL, LB_NOWHERE, path, 1 << 20, &in, &in_bytes) == LB_OK);
        snprintf(path, sizeof path, LB_TEST_DATA "/format/%s.out.yaml", names[i]);
        cr_assert(lb_file_read(NULL, LB_NOWHERE, path, 1 << 20, &out, &out_bytes) == LB_OK);
        cr_assert(lb_lang_format(NULL, names[i], in, in_bytes, &made) == LB_OK, "%s", names[i]);
        cr_expect_str_eq(made.bytes, out, "%s:\n%s", names[i], made.bytes);
        cr_expect_eq(made.length, out_bytes);
        lb_text_clear(&made);
        lb_free(in);
        lb_free(out);
    }
}

/* docs/review.md shows a graph before and after. */
Test(format, documented)
{
    static const char fence[] = "```yaml\n";
    lb_text made = {0};
    void *page;
    size_t bytes;
    char *before, *after = NULL;

    cr_assert(lb_file_read(NULL, LB_NOWHERE, LB_SOURCE_DIR "/docs/review.md", 1 << 20, &page,
                           &bytes) == LB_OK);
    cr_assert((before = strstr(page, fence)) && (after = strstr(before + 1, fence)));
    before += sizeof fence - 1;
    after += sizeof fence - 1;
    *strstr(before, "```") = *strstr(after, "```") = 0;
    cr_assert(lb_lang_format(NULL, "f", before, strlen(before), &made) == LB_OK);
    cr_expect_str_eq(made.bytes, after);
    lb_text_clear(&made);
    lb_free(page);
}

/* Small rules, one a row. */
Test(format, rules)
{
    static const struct {
        const char *in, *out;
    } rows[] = {
        {"a:   1", "a: 1\n"},
        {"a: 1\n\n\n\nb: 2\n\n", "a: 1\n\nb: 2\n"},
        {"\n\n# c\n\n\n# d\na: 1", "# c\n\n# d\na: 1\n"},
        {"a:\n\n  b: 1\n\nc: 2", "a:\n  b: 1\n\nc: 2\n"},
        {"{a: 1}", "{a: 1}\n"},
        {"{a: 1, # c\n b: 2}", "a: 1  # c\nb: 2\n"},
        {"[1, 2] # c", "[1, 2]  # c\n"},
        {"--- # c\na: 1\n... # d\n", "# c\na: 1\n# d\n"},
        {"--- # c\n", "# c\n---\n"},
        {"&a # c\nb: 1", "&a  # c\nb: 1\n"},
        {"- # c\n- b", "- # c\n- b\n"},
        {"- - # c\n    a", "- - a  # c\n"},
        {"? a # c\n: b", "a: b  # c\n"},
        {"a: [\n]", "a: []\n"},
        {"a: [ # c\n # d\n]", "# d\na: []  # c\n"},
        {"a: \"b\\\n  c\"", "a: bc\n"},
        {"a: >\n  b\n\n\n", "a: >\n  b\n"},
        {"- >\n b\n\xE2\x80\xA8- c\n", "- >\n  b\n\n- c\n"}, /* found by fuzzing */
        {"a: |+\n  b\n\n\nc: 1", "a: |+\n  b\n\n\nc: 1\n"},
        {"a: |+\n  b\n\n# c\nc: 1", "a: |+\n  b\n\n# c\nc: 1\n"},
        {"a: |\n\n", "a: \"\"\n"},
        {"a: !!str\nb: !!str # c\n", "a: !!str\nb: !!str  # c\n"},
        {"{a: !!str , b: &x , c: *x }", "{a: !!str , b: &x , c: *x}\n"},
        {"a: 'no'\nb: no", "a: \"no\"\nb: no\n"},
        {"\"<<\": {a: 1}", "\"<<\": {a: 1}\n"},
        {"word", "word\n"},
        {"a: x\xE2\x80\xA8", "a: x\n"}, /* a line break to libyaml */
        {"a: 'x\xE2\x80\xA8y'", "a: \"x\\u2028y\"\n"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_text made = {0};

        cr_expect(lb_lang_format(NULL, "f", rows[i].in, strlen(rows[i].in), &made) == LB_OK, "%s",
                  rows[i].in);
        cr_expect(made.bytes && strcmp(made.bytes, rows[i].out) == 0, "'%s' became '%s', not '%s'",
                  rows[i].in, made.bytes, rows[i].out);
        try("rule", rows[i].in, strlen(rows[i].in), true);
        lb_text_clear(&made);
    }
}

/* What is not YAML is reported where it is, and nothing comes out. */
Test(format, refuses)
{
    static const struct {
        const char *in, *message;
    } rows[] = {
        {"a: [1", "f:1:6: error: not YAML: did not find expected ',' or ']' at the end"},
        {"a: 1\na: 2", "f:2:1: error: 'a' is given twice"},
        {"", "f: error: the file is empty"},
        {"a: *b", "f:1:4: error: no anchor '&b' before this alias"},
        {"a: 1\n---\nb: 2", "f:2:1: error: a second document begins here"},
        {"\xFF", "f:1:1: error: this is not UTF-8 text"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_diag *diag = lb_diag_new();
        lb_text made = {0};
        char *messages;

        cr_expect(lb_lang_format(diag, "f", rows[i].in, strlen(rows[i].in), &made) != LB_OK);
        messages = messages_of(diag);
        cr_expect(strstr(messages, rows[i].message) == messages, "%s", messages);
        cr_expect_null(made.bytes);
        free(messages);
        lb_diag_free(&diag);
    }
}

Test(format, files)
{
    cr_expect(try_folder(LB_SOURCE_DIR "/examples") >= 3);
    cr_expect(try_folder(LB_SOURCE_DIR "/tests/determinism") >= 18);
    /* The suite has 93 cases; test_yaml_suite.c knows how many are good here. */
    cr_expect(try_folder(LB_TEST_DATA "/yaml") >= 40);
}

/* Each comment of a random text has a number, so that looking for it needs no parser. */
static void expect_comments(const random_yaml *r, const char *made, uint32_t seed)
{
    for (int32_t i = 0; i < r->comments; i++) {
        char name[16];
        const char *found;

        snprintf(name, sizeof name, "#%d.", (int)i);
        found = strstr(made, name);
        cr_expect(found && !strstr(found + 1, name), "seed %u: %s is lost or doubled:\n%s\n%s",
                  seed, name, r->text.bytes, made);
    }
}

static void try_random(uint32_t first, uint32_t count)
{
    for (uint32_t seed = first; seed < first + count; seed++) {
        random_yaml r;
        lb_text made = {0};
        char name[32];

        random_document(&r, seed);
        cr_assert(!r.text.failed);
        snprintf(name, sizeof name, "seed %u", seed);
        if (try(name, r.text.bytes, r.text.length, false) &&
            lb_lang_format(NULL, name, r.text.bytes, r.text.length, &made) == LB_OK)
            expect_comments(&r, made.bytes, seed);
        lb_text_clear(&made);
        lb_text_clear(&r.text);
    }
}

Test(format, random_texts)
{
    try_random(0, 1000);
    cr_expect(formatted > 400, "%d of 1000", formatted);
}

/* Texts with one byte changed, taken out or doubled. */
Test(format, damaged_texts)
{
    static const char bytes[] = " \n#-:?[]{},&*!|>'\"%@\t\\a1";

    for (uint32_t seed = 0; seed < 1000; seed++) {
        random_yaml r;
        size_t at;

        random_document(&r, seed % 300);
        r.seed = seed;
        at = random_draw(&r, (uint32_t)r.text.length);
        if (random_chance(&r, 3))
            memmove(r.text.bytes + at, r.text.bytes + at + 1, r.text.length-- - at);
        else
            r.text.bytes[at] = bytes[random_draw(&r, sizeof bytes - 1)];
        try("damaged", r.text.bytes, r.text.length, true);
        lb_text_clear(&r.text);
    }
    cr_expect(formatted > 200 && refused > 200, "%d good, %d not", formatted, refused);
}

static char *big_graph(int32_t nodes, size_t *bytes)
{
    lb_text text = {0};

    lb_text_put(&text, "lampblack: 1\nnodes:\n");
    for (int32_t i = 0; i < nodes; i++)
        lb_text_printf(&text, "  # Node %d.\n  n%d: {op: blur,  image: n%d, sigma: %d} # so\n\n",
                       (int)i, (int)i, (int)i - 1, (int)i % 9);
    *bytes = text.length;
    return text.bytes;
}

/* Twice the nodes cost twice the allocations and twice the memory, not four times. */
Test(format, grows_linearly)
{
    static const int64_t far = (int64_t)1 << 40;
    int64_t calls[2];
    size_t peaks[2];

    for (int i = 0; i < 2; i++) {
        size_t bytes, before;
        char *text = big_graph(i ? 10000 : 5000, &bytes);
        lb_text made = {0};

        before = lb_memory_used();
        lb_memory_reset_peak();
        lb_memory_fail_at(far);
        cr_assert(lb_lang_format(NULL, "big", text, bytes, &made) == LB_OK);
        calls[i] = far - lb_memory_fail_left();
        lb_memory_fail_at(0);
        peaks[i] = lb_memory_peak() - before;
        lb_text_clear(&made);
        lb_free(text);
    }
    cr_expect(calls[1] < calls[0] * 5 / 2, "%ld, %ld", (long)calls[0], (long)calls[1]);
    cr_expect(peaks[1] < peaks[0] * 5 / 2, "%zu, %zu", peaks[0], peaks[1]);
}

/* Keys that are nothing: YAML 1.2.2, example 7.3 and 8.19. */
Test(format, empty_keys)
{
    static const char *const rows[][2] = {
        {"?", "?\n:\n"},
        {"? \n: a\nb: c", "?\n: a\nb: c\n"},
        {"{?}", "{? : }\n"},
        {"x: &a\n  ? # why\n  : 1\n", "x: &a\n  ?\n  : 1  # why\n"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_text once = {0}, twice = {0};

        cr_assert(lb_lang_format(NULL, "f", rows[i][0], strlen(rows[i][0]), &once) == LB_OK);
        cr_expect_str_eq(once.bytes, rows[i][1]);
        cr_assert(lb_lang_format(NULL, "f", once.bytes, once.length, &twice) == LB_OK);
        cr_expect_str_eq(twice.bytes, once.bytes);
        lb_text_clear(&once);
        lb_text_clear(&twice);
    }
}

Test(format, survives_no_memory)
{
    static const char text[] = "# c\na: &x {b: [1, \"two\"], c: | d} # e\n";
    static const char good[] = "# c\na: &x {b: [1, \"t:wo\"], c: 'd'} # e\nf: >\n  g\nh: *x\n";
    lb_text made = {0};
    bool done = false;

    cr_expect(lb_lang_format(NULL, "f", text, sizeof text - 1, &made) == LB_INVALID);
    for (int64_t n = 1; !done; n++) {
        lb_diag *diag = lb_diag_new();
        lb_status status;

        cr_assert(n < 5000);
        lb_memory_fail_at(n);
        status = lb_lang_format(diag, "f", good, sizeof good - 1, &made);
        done = lb_memory_fail_left() > 0;
        lb_memory_fail_at(0);
        /* The reader gets by without some of what it remembers for messages. */
        cr_expect(status == LB_OK || (!done && status == LB_MEMORY), "%ld: %d", (long)n, status);
        if (status == LB_OK)
            cr_expect_str_eq(made.bytes, "# c\na: &x {b: [1, \"t:wo\"], c: d}  # e\nf: >\n  g\n"
                                         "h: *x\n");
        lb_text_clear(&made);
        lb_diag_free(&diag);
    }
}
