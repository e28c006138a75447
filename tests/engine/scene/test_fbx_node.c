/* tests/engine/scene/test_fbx_node.c: the tree of nodes of an FBX file. The files are written by
 * tests/data/fbx/make.py, one description in three encodings; figures are those of its `nodes`. */
#include <criterion/criterion.h>

#include "engine/scene/fbx_node.h"
#include "tests/engine/scene/files.h"

static const char *const encodings[] = {"text", "7400", "7500"};

static void *load(const char *name, const char *encoding, size_t *count)
{
    char path[512];

    snprintf(path, sizeof path, "%s/fbx/%s-%s.fbx", LB_TEST_DATA, name, encoding);
    return files_load(path, count);
}

static void expect_reals(const fbx_document *d, const char *name, const double *wanted,
                         size_t count)
{
    double *reals;
    size_t got;

    cr_assert_eq(fbx_reals(d, fbx_named(d->first, name), &reals, &got), LB_OK, "%s", name);
    cr_assert_eq(got, count, "%s: %zu", name, got);
    for (size_t i = 0; i < count; i++)
        cr_expect(memcmp(&reals[i], &wanted[i], sizeof *reals) == 0, "%s %zu: %.17g", name, i,
                  reals[i]);
    lb_free(reals);
}

static void expect_wholes(const fbx_document *d, const char *name, const int64_t *wanted,
                          size_t count)
{
    int64_t *wholes;
    size_t got;

    cr_assert_eq(fbx_wholes(d, fbx_named(d->first, name), &wholes, &got), LB_OK, "%s", name);
    cr_assert_eq(got, count, "%s: %zu", name, got);
    for (size_t i = 0; i < count; i++)
        cr_expect(wholes[i] == wanted[i], "%s %zu: %lld", name, i, (long long)wholes[i]);
    lb_free(wholes);
}

static void expect_values(const fbx_document *d)
{
    const fbx_node *node = fbx_named(d->first, "Values"), *inner;
    int64_t whole = 0;
    double real = 0;
    const char *text;

    cr_assert(node && node->value_count == 6);
    if (d->is_binary)
        cr_expect(fbx_whole(node, 0, &whole) && whole == 1);
    else
        cr_expect(fbx_text(node, 0, &text) && strcmp(text, "T") == 0);
    cr_expect(fbx_whole(node, 1, &whole) && whole == -7);
    cr_expect(fbx_whole(node, 2, &whole) && whole == 123456789);
    cr_expect(fbx_whole(node, 3, &whole) && whole == INT64_C(-1234567890123456789));
    cr_expect(fbx_real(node, 4, &real) && real == 0.1);
    cr_expect(fbx_text(node, 5, &text) && strcmp(text, "a \"b\"") == 0);
    cr_expect(!fbx_text(node, 6, &text) && !fbx_real(node, 5, &real));
    inner = fbx_child(node, "Inner");
    cr_assert(inner && fbx_text(inner, 0, &text) && strcmp(text, "deep") == 0);
    cr_expect(fbx_whole(fbx_child(inner, "Inner"), 0, &whole) && whole == 3);
    cr_expect(fbx_child(node, "Empty") && !fbx_child(node, "Empty")->first);
    cr_expect_null(fbx_child(node, "empty"));
}

Test(fbx_node, encodings)
{
    static const double floats[] = {0.5, -2.25, (double)1e-3f, 16777216};
    static const double doubles[] = {3.14159265358979323846, -1e300, 0, 5e-324};
    static const int64_t longs[] = {0, INT64_C(4618615800000), -(INT64_C(1) << 62),
                                    (INT64_C(1) << 53) + 1};
    static const int64_t bools[] = {0, 1, 1, 0};
    int64_t ints[1000];

    for (int i = 0; i < 1000; i++)
        ints[i] = i - 500;
    for (int e = 0; e < 3; e++) {
        size_t count;
        void *bytes = load("nodes", encodings[e], &count);
        fbx_document d;

        cr_assert_eq(fbx_parse(bytes, count, &d), LB_OK, "%s: %s", encodings[e], d.problem);
        cr_expect_eq(d.is_binary, e > 0);
        cr_expect_eq(d.version, e == 2 ? 7500 : 7400);
        expect_values(&d);
        if (d.is_binary) /* a text file has the digits that a 32-bit float needs, and no more */
            expect_reals(&d, "Floats", floats, 4);
        expect_reals(&d, "Doubles", doubles, 4);
        expect_wholes(&d, "Ints", ints, 1000);
        expect_wholes(&d, "Longs", longs, 4);
        expect_wholes(&d, "Bools", bools, 4);
        expect_wholes(&d, "None", NULL, 0);
        fbx_document_clear(&d);
        lb_free(bytes);
    }
}

/* Every beginning of a file is refused or read, and nothing of it is read beyond its end. */
Test(fbx_node, truncated)
{
    for (int e = 0; e < 3; e++) {
        size_t count;
        char *bytes = load("nodes", encodings[e], &count);

        for (size_t cut = 0; cut < count - 200; cut += e ? 1 + cut / 40 : 1 + cut / 20) {
            char *part = lb_alloc(cut + 1, 1);
            fbx_document d;
            lb_status status;

            memcpy(part, bytes, cut);
            part = lb_realloc(part, cut ? cut : 1, 1);
            if (!fbx_is_binary(part, cut) && !fbx_is_text(part, cut)) {
                lb_free(part);
                continue;
            }
            status = fbx_parse(part, cut, &d);
            cr_expect(status == LB_OK || (status == LB_FORMAT && d.problem[0]), "%s at %zu: %d",
                      encodings[e], cut, status);
            cr_expect(e == 0 || status != LB_OK, "%s at %zu", encodings[e], cut);
            fbx_document_clear(&d);
            lb_free(part);
        }
        lb_free(bytes);
    }
}

static lb_status parse_text(const char *text, char problem[160])
{
    fbx_document d;
    lb_status status = fbx_parse(text, strlen(text), &d);

    snprintf(problem, 160, "%s", d.problem);
    fbx_document_clear(&d);
    return status;
}

Test(fbx_node, refused)
{
    static const struct {
        const char *text, *problem;
        lb_status status;
    } rows[] = {
        {"FBXHeaderExtension: { FBXVersion: 6100 }", "older", LB_UNSUPPORTED},
        {"FBXHeaderExtension: { }", "version", LB_FORMAT},
        {"FBXHeaderExtension: { FBXVersion: 7400 } }", "brace too many", LB_FORMAT},
        {"FBXHeaderExtension: { FBXVersion: 7400", "ends within", LB_FORMAT},
        {"FBXHeaderExtension: { FBXVersion: \"7400 }", "does not end", LB_FORMAT},
        {"FBXHeaderExtension: { a: *9 { a: 1,2 } }", "fewer", LB_FORMAT},
        {"FBXHeaderExtension: { a: *-1 { a: 1,2 } }", "number of elements", LB_FORMAT},
        {"FBXHeaderExtension: { a: *99999999999999999999 { a: 1 } }", "number of", LB_FORMAT},
        {"FBXHeaderExtension: { a b }", "colon", LB_FORMAT},
        {"FBXHeaderExtension: { ! }", "name", LB_FORMAT},
    };
    char problem[160];

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_status status = parse_text(rows[i].text, problem);

        cr_expect(status == rows[i].status && strstr(problem, rows[i].problem), "%s: %d, %s",
                  rows[i].text, status, problem);
    }
}

Test(fbx_node, too_deep)
{
    char *text = lb_alloc(1 << 20, 1), problem[160];
    size_t length = (size_t)sprintf(text, "FBXHeaderExtension: {");

    for (int i = 0; i < 100000; i++)
        length += (size_t)sprintf(text + length, "a:{");
    cr_expect_eq(parse_text(text, problem), LB_LIMIT);
    lb_free(text);
}

/* Arrays whose head promises more than their bytes hold. */
Test(fbx_node, damaged_arrays)
{
    uint8_t head[] = {'d', 0xff, 0xff, 0xff, 0x0f, 1, 0, 0, 0, 8, 0, 0, 0, 1, 2, 3, 4, 5, 6, 7, 8};
    fbx_value value = {.type = FBX_ARRAY,
                       .element = 'd',
                       .is_packed = true,
                       .raw = head + 13,
                       .count = 0x0fffffff,
                       .stored = 8};
    fbx_node node = {.name = "a", .value_count = 1, .values = &value};
    fbx_document d = {.is_binary = true};
    double *reals;
    size_t count;

    cr_expect_eq(fbx_reals(&d, &node, &reals, &count), LB_FORMAT); /* no bytes for that much */
    value.count = 4;
    cr_expect_eq(fbx_reals(&d, &node, &reals, &count), LB_FORMAT); /* no zlib stream */
    cr_expect_null(reals);
}

Test(fbx_node, no_memory)
{
    for (int e = 0; e < 3; e++) {
        size_t count;
        void *bytes = load("nodes", encodings[e], &count);
        bool failed = true;

        for (int64_t n = 1; failed; n++) {
            fbx_document d;
            lb_status status;
            double *reals = NULL;
            size_t got;

            lb_memory_fail_at(n);
            status = fbx_parse(bytes, count, &d);
            if (status == LB_OK)
                status = fbx_reals(&d, fbx_named(d.first, "Ints"), &reals, &got);
            failed = lb_memory_fail_left() == 0;
            lb_memory_fail_at(0);
            cr_expect_eq(status, failed ? LB_MEMORY : LB_OK, "%s, allocation %lld: %d",
                         encodings[e], (long long)n, status);
            lb_free(reals);
            fbx_document_clear(&d);
        }
        lb_free(bytes);
    }
}
