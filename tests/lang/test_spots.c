/* tests/lang/test_spots.c: lang/spots.h. An X that is once in the file and once in the text must be
 * found where strchr finds it in the file: whatever YAML's quoting and folding did to the rest. */
#include <criterion/criterion.h>
#include <stdlib.h>

#include "engine/base/random.h"
#include "lang/yaml.h"
#include "tests/lang/messages.h"

typedef enum outcome { NO_X, UNKNOWN, RIGHT, WRONG } outcome;

/* Line and column, in code points, of the X. */
static lb_loc find_x(const char *source)
{
    lb_loc loc = {"f", 1, 1, 1};

    for (; *source != 'X'; source++) {
        if (*source == '\n') {
            loc.line++;
            loc.column = 0;
        }
        loc.column += ((unsigned char)*source & 0xC0) != 0x80;
    }
    return loc;
}

static const lb_yaml_node *only_value(const lb_yaml_node *root)
{
    while (root && root->kind == LB_YAML_MAPPING && root->count > 0)
        root = root->entries[0].value;
    return root && root->kind == LB_YAML_SCALAR ? root : NULL;
}

static outcome look(const char *source, lb_loc *got)
{
    lb_arena *arena = lb_arena_new();
    lb_yaml_node *root = NULL;
    const lb_yaml_node *value;
    const char *x;
    outcome result = NO_X;

    if (lb_yaml_read(NULL, "f", source, strlen(source), arena, &root) == LB_OK &&
        (value = only_value(root)) && (x = strchr(value->text, 'X')) && !strchr(x + 1, 'X') &&
        strchr(source, 'X') == strrchr(source, 'X')) {
        lb_loc want = find_x(source);
        size_t at = (size_t)(x - value->text);

        *got = lb_yaml_place(value, at, at + 1);
        result = got->line == want.line && got->column == want.column && got->length == 1 ? RIGHT
                                                                                          : WRONG;
        if (!value->is_exact && value->spot_count == 0)
            result = UNKNOWN;
    }
    lb_arena_free(&arena);
    return result;
}

/* YAML 1.2.2, chapters 7.3 (plain and quoted) and 8.1 (blocks). */
Test(spots, styles)
{
    static const char *const rows[] = {
        "k: a X b",
        "k: {e: é 'X'}",
        "k: two\n   lines X",
        "k: two\n\n\n   lines X\n  more",
        "k: 'it''s X'",
        "k: 'a\n  b ''\n\n  X'",
        "k: \"\\t\\x41\\u00e9\\U0001F525 é X\"",
        "k: \"a \\\n   b \\\n   \\  X\"",
        "k: \"a\\\n\n  b X\"",
        "k: \"a   \n \t b X\"",
        "k: \"\n  X\"",
        "k: |\n  X",
        "k: |\n  a\n  b X\n",
        "k: |\n\n\n  a\n\n    é b X\n\nm: n\n",
        "k: |2-\n    a\n  X\n",
        "k: |+ # a remark\n  a\n  X\n\n\n",
        "k: >\n  a\n  b\n  X\n",
        "k: >\n\n  a\n\n  b\n\n\n  X c\n",
        "k: >\n  a\n    more\n    X\n  b\n",
        "k: >-\n  a\n   b\n\n  X\n",
        "k: >\n    folded\n    text\n  # end\nl: m",
        "k: &a X",
        "k: !!str &a 'it''s X'",
        "k: &b # why\n  >\n  a\n  X\n",
        "- a",
        "{k: \"\\u0041\n  X\"}",
        "k: \"a\r\n  b\r\n  X\"",
        "k: |\r\n  a\r\n  X\r\n",
        "k: >\n  X a",
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_loc got = {0};
        outcome is = look(rows[i], &got);

        cr_expect(strchr(rows[i], 'X') ? is == RIGHT : is == NO_X, "%s\n%d: %d:%d, %d long",
                  rows[i], is, got.line, got.column, got.length);
    }
}

/* What is underlined: as much as stands on the first line, escapes at their full width. */
Test(spots, ranges)
{
    static const char source[] = "k: \"a \\u0062 \\\n  c d\"";
    lb_arena *arena = lb_arena_new();
    lb_yaml_node *root = NULL;
    const lb_yaml_node *value;
    static const struct {
        size_t begin, end;
        int line, column, length;
    } rows[] = {
        {0, 1, 1, 5, 1}, {2, 3, 1, 7, 6}, {0, 4, 1, 5, 9}, {0, 7, 1, 5, 9},
        {4, 7, 2, 3, 3}, {6, 7, 2, 5, 1}, {7, 7, 2, 6, 0}, {2, 2, 1, 7, 0},
    };

    cr_assert(lb_yaml_read(NULL, "f", source, strlen(source), arena, &root) == LB_OK);
    value = only_value(root);
    cr_assert_str_eq(value->text, "a b c d");
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_loc loc = lb_yaml_place(value, rows[i].begin, rows[i].end);

        cr_expect(loc.line == rows[i].line && loc.column == rows[i].column &&
                      loc.length == rows[i].length,
                  "%zu to %zu: %d:%d, %d long", rows[i].begin, rows[i].end, loc.line, loc.column,
                  loc.length);
    }
    lb_arena_free(&arena);
}

/* Random documents of YAML's own signs: never a wrong answer, and nearly always one. */
Test(spots, random_documents)
{
    static const char *const heads[] = {"k: ",   "k: '",   "k: \"",      "k: |\n ",     "k: >\n  ",
                                        "k:\n ", "{k: \"", "k: &a >\n ", "k: |-\n\n   "};
    static const char *const pieces[] = {" ",  "  ", "\n",  "\n ", "\n  ", "\n   ", "a",    "b",
                                         "é",  "''", "\\n", "\\",  "\\\n", "\"",    "'",    "#",
                                         "\t", "-",  ":",   "!",   "X",    "\r\n",  "\\x41"};
    int counts[4] = {0};

    for (uint32_t n = 0; n < 60000; n++) {
        const char *head = heads[lb_random_u32(n, 0, 0, 0) % (sizeof heads / sizeof heads[0])];
        uint32_t length = 2 + lb_random_u32(n, 1, 0, 0) % 14;
        uint32_t where = lb_random_u32(n, 2, 0, 0) % length;
        char source[200];
        lb_loc got = {0};
        outcome is;

        strcpy(source, head);
        for (uint32_t i = 0; i < length; i++) {
            uint32_t piece = lb_random_u32(n, 3, i, 0) % (sizeof pieces / sizeof pieces[0]);

            strcat(source, i == where ? "X" : strcmp(pieces[piece], "X") ? pieces[piece] : "y");
        }
        if (strchr(head, '\'') || strchr(head, '"'))
            strcat(source, strchr(head, '\'') ? "'" : "\"");
        strcat(source, head[0] == '{' ? "}" : "\n");
        is = look(source, &got);
        counts[is]++;
        cr_expect(is != WRONG, "%s\n%d:%d, %d long", source, got.line, got.column, got.length);
    }
    cr_expect(counts[RIGHT] > 5000 && counts[UNKNOWN] < counts[RIGHT] / 100,
              "%d without, %d unknown, %d right, %d wrong", counts[NO_X], counts[UNKNOWN],
              counts[RIGHT], counts[WRONG]);
}
