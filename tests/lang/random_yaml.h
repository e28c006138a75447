/* tests/lang/random_yaml.h: YAML texts as careless people write them: every style, odd indentation,
 * comments and blank lines anywhere. The same for the same seed. Not all are good YAML. */
#ifndef LB_TESTS_LANG_RANDOM_YAML_H
#define LB_TESTS_LANG_RANDOM_YAML_H

#include "engine/base/random.h"
#include "engine/base/text.h"

typedef struct random_yaml {
    uint32_t seed, drawn;
    lb_text text;
    int32_t comments; /* so many, "#0.", "#1.", ... */
    int32_t keys, anchors;
    bool has_comments; /* whether any are wanted */
} random_yaml;

static uint32_t random_draw(random_yaml *r, uint32_t below)
{
    return below ? lb_random_u32(r->seed, r->drawn++, 11, 0) % below : 0;
}

static bool random_chance(random_yaml *r, uint32_t one_in)
{
    return random_draw(r, one_in) == 0;
}

static void random_spaces(random_yaml *r, size_t count)
{
    for (; count > 0; count--)
        lb_text_put(&r->text, " ");
}

static void random_comment(random_yaml *r)
{
    static const char *const words[] = {"",      " why: {not}", "  # twice", " \"half",
                                        " - [x", " ümläut",     "!"};

    lb_text_printf(&r->text, "#%d.%s", (int)r->comments++, words[random_draw(r, 7)]);
    if (random_chance(r, 6))
        random_spaces(r, 2);
}

static void random_line_end(random_yaml *r)
{
    if (r->has_comments && random_chance(r, 5)) {
        random_spaces(r, 1 + random_draw(r, 3));
        random_comment(r);
    } else if (random_chance(r, 9)) {
        random_spaces(r, random_draw(r, 3));
    }
    lb_text_put(&r->text, "\n");
}

/* Blank lines and comments before something in a block. */
static void random_lead(random_yaml *r, size_t indent)
{
    while (random_chance(r, 4)) {
        if (random_chance(r, 2)) {
            random_spaces(r, random_draw(r, 4));
        } else if (r->has_comments) {
            random_spaces(r, random_chance(r, 4) ? random_draw(r, 9) : indent);
            random_comment(r);
        }
        lb_text_put(&r->text, "\n");
    }
}

static void random_scalar(random_yaml *r, bool in_flow, size_t indent)
{
    static const char *const plain[] = {"1",           "1.0",  "-2e3",       ".inf",
                                        "true",        "null", "~",          "word",
                                        "two words",   "a-b",  "http://x/y", "12:30",
                                        "yes",         "0x1F", "a:b",        "\xC3\xA9t\xC3\xA9",
                                        "it's",        "x\"y", "-1",         "a#b",
                                        "sha256:0f0f", "?x",   "-x",         "1_000",
                                        "./a.exr",     "....", "<<",         "=",
                                        "%x"};
    static const char *const quoted[] = {"\"\"",
                                         "''",
                                         "\"1\"",
                                         "'true'",
                                         "\"yes\"",
                                         "\"a b\"",
                                         "'it''s'",
                                         "\"a\\nb\"",
                                         "\"\\ttab\"",
                                         "\"#hex\"",
                                         "'a: b'",
                                         "\"a, [b]\"",
                                         "'\\d+'",
                                         "\"\\\"q\\\" 'r'\"",
                                         "\"\\x85\\L\\P\\uFEFF\"",
                                         "\" lead\"",
                                         "'trail '",
                                         "\"- x\"",
                                         "\"a #b\"",
                                         "\"\\u7AAF\"",
                                         "\"out/k.####.exr\"",
                                         "\"<<\"",
                                         "'null'",
                                         "\"a\\\\\"",
                                         "\"/abs\"",
                                         "'x.y/z'",
                                         "\"...\"",
                                         "\"---\"",
                                         "\"a  b\""};
    static const char *const block_only[] = {"a, b", "vec2(1, 2)", "x[0]", "{x", "a]b", "c}"};
    uint32_t kind = random_draw(r, in_flow ? 8 : 10);

    if (kind < 4) {
        const char *word = plain[random_draw(r, sizeof plain / sizeof *plain)];

        if (*word != '?' && *word != '%' && *word != '<')
            lb_text_put(&r->text, word);
        else
            lb_text_put(&r->text, in_flow ? "w" : word);
    } else if (kind < 7) {
        lb_text_put(&r->text, quoted[random_draw(r, sizeof quoted / sizeof *quoted)]);
    } else if (kind == 7) { /* across lines */
        static const char *const quotes[] = {"", "\"", "'"};
        const char *quote = quotes[random_draw(r, 3)];
        uint32_t words = 2 + random_draw(r, 40);

        lb_text_put(&r->text, quote);
        for (uint32_t i = 0; i < words; i++) {
            lb_text_printf(&r->text, "%sword%d", i ? " " : "", (int)random_draw(r, 1000));
            if (i + 1 < words && random_chance(r, 6)) {
                lb_text_put(&r->text, random_chance(r, 5) ? "\n\n" : "\n");
                random_spaces(r, indent + 1 + random_draw(r, 4));
            }
        }
        lb_text_put(&r->text, quote);
    } else {
        lb_text_put(&r->text, block_only[random_draw(r, 6)]);
    }
}

static void random_props(random_yaml *r)
{
    if (random_chance(r, 12))
        lb_text_printf(&r->text, "&a%d ", (int)r->anchors++);
    if (random_chance(r, 30))
        lb_text_put(&r->text, "!!str ");
}

static void random_key(random_yaml *r)
{
    static const char *const forms[] = {"k%d", "\"k%d\"", "'k %d'", "k-%d", "%d", "\xC3\xA9%d"};

    lb_text_printf(&r->text, forms[random_draw(r, random_chance(r, 3) ? 6 : 1)], (int)r->keys++);
}

static void random_flow_gap(random_yaml *r, size_t indent)
{
    if (random_chance(r, 8)) {
        random_line_end(r);
        if (random_chance(r, 5))
            random_lead(r, indent);
        random_spaces(r, indent + 1 + random_draw(r, 5));
    } else if (random_chance(r, 3)) {
        random_spaces(r, random_draw(r, 3));
    }
}

static void random_flow(random_yaml *r, int32_t depth, size_t indent)
{
    bool is_list = random_chance(r, 2);
    uint32_t count = random_chance(r, 12) ? 40 + random_draw(r, 40) : random_draw(r, 5);
    bool is_short = count > 8;

    lb_text_put(&r->text, is_list ? "[" : "{");
    random_flow_gap(r, indent);
    for (uint32_t i = 0; i < count; i++) {
        if (!is_list && is_short)
            lb_text_printf(&r->text, "%d: ", (int)i * 10);
        else if (!is_list || (random_chance(r, 15) && !is_short)) {
            random_key(r);
            lb_text_put(&r->text, random_chance(r, 12) ? "" : ": ");
            if (r->text.bytes[r->text.length - 1] != ' ')
                goto gap;
        }
        if (!is_short)
            random_props(r);
        if (r->anchors > 0 && random_chance(r, 15)) {
            lb_text_printf(&r->text, "*a%d ", (int)random_draw(r, (uint32_t)r->anchors));
        } else if (depth > 0 && random_chance(r, 4) && !is_short) {
            random_flow(r, depth - 1, indent);
        } else if (is_short) {
            lb_text_printf(&r->text, "%d.%d", (int)random_draw(r, 1000), (int)random_draw(r, 10));
        } else {
            random_scalar(r, true, indent);
        }
    gap:
        random_flow_gap(r, indent);
        if (i + 1 < count || random_chance(r, 10)) {
            lb_text_put(&r->text, ",");
            if (!random_chance(r, 4))
                lb_text_put(&r->text, " ");
            random_flow_gap(r, indent);
        }
    }
    lb_text_put(&r->text, is_list ? "]" : "}");
}

static void random_literal(random_yaml *r, size_t indent)
{
    static const char *const headers[] = {"|", "|-", "|+", ">", ">-", ">+", "|2", ">2-"};
    static const char *const lines[] = {"text", "# no comment", "  deeper", "", "- a: [b", "end  "};
    uint32_t count = random_draw(r, 6);

    lb_text_put(&r->text, headers[random_draw(r, 8)]);
    random_line_end(r);
    for (uint32_t i = 0; i < count; i++) {
        const char *line = lines[random_draw(r, i == 0 && !random_chance(r, 4) ? 2 : 6)];

        random_spaces(r, *line || random_chance(r, 3) ? indent + 2 : 0);
        lb_text_put(&r->text, line);
        lb_text_put(&r->text, "\n");
    }
}

static void random_block(random_yaml *r, int32_t depth, size_t indent, bool is_list);

/* What stands behind a key or a dash; `indent` is the column of the entry. */
static void random_value(random_yaml *r, int32_t depth, size_t indent, bool in_list)
{
    uint32_t kind = random_draw(r, 12);

    if (depth > 0 && kind < 4) {
        bool is_list = random_chance(r, 3);
        size_t deeper = indent + 1 + random_draw(r, 4);

        if (is_list && !in_list && random_chance(r, 3))
            deeper = indent;
        if (random_chance(r, 10))
            lb_text_printf(&r->text, " &a%d", (int)r->anchors++);
        random_line_end(r);
        random_block(r, depth - 1, deeper, is_list);
        return;
    }
    lb_text_put(&r->text, random_chance(r, 5) ? "   " : " ");
    if (kind == 4) {
        random_props(r);
        random_literal(r, indent);
        return;
    }
    if (kind == 5 && r->anchors > 0) {
        lb_text_printf(&r->text, "*a%d", (int)random_draw(r, (uint32_t)r->anchors));
    } else if (kind == 6 && random_chance(r, 2)) {
        ; /* nothing */
    } else if (kind < 9) {
        random_props(r);
        random_flow(r, 2, indent);
    } else {
        if (random_chance(r, 12)) {
            random_line_end(r);
            random_lead(r, indent + 1);
            random_spaces(r, indent + 1 + random_draw(r, 3));
        }
        random_props(r);
        random_scalar(r, false, indent);
    }
    random_line_end(r);
}

static void random_block(random_yaml *r, int32_t depth, size_t indent, bool is_list)
{
    uint32_t count = 1 + random_draw(r, 5);

    for (uint32_t i = 0; i < count; i++) {
        random_lead(r, indent);
        random_spaces(r, indent);
        if (is_list && depth > 0 && random_chance(r, 4)) {
            lb_text_put(&r->text, "- ");
            random_key(r);
            lb_text_put(&r->text, ":");
            random_value(r, depth - 1, indent + 2, false);
            if (random_chance(r, 2)) {
                random_lead(r, indent + 2);
                random_spaces(r, indent + 2);
                random_key(r);
                lb_text_put(&r->text, ":");
                random_value(r, depth - 1, indent + 2, false);
            }
        } else if (is_list) {
            lb_text_put(&r->text, "-");
            random_value(r, depth, indent, true);
        } else {
            if (random_chance(r, 25))
                lb_text_put(&r->text, "? ");
            random_key(r);
            if (random_chance(r, 20))
                lb_text_put(&r->text, " ");
            lb_text_put(&r->text, ":");
            random_value(r, depth, indent, false);
        }
    }
    random_lead(r, random_chance(r, 2) ? indent : indent / 2);
}

/* A text of the caller's (lb_text_clear of r->text). */
static void random_document(random_yaml *r, uint32_t seed)
{
    *r = (random_yaml){.seed = seed};
    r->has_comments = !random_chance(r, 5);
    if (random_chance(r, 12))
        lb_text_put(&r->text, "%YAML 1.2\n---\n");
    else if (random_chance(r, 12))
        lb_text_put(&r->text, "---\n");
    if (random_chance(r, 15)) {
        random_lead(r, 0);
        random_flow(r, 3, 0);
        random_line_end(r);
    } else {
        random_block(r, 4, random_chance(r, 10) ? 2 : 0, random_chance(r, 6));
    }
    if (random_chance(r, 15)) {
        lb_text_put(&r->text, "...\n");
        random_lead(r, 3);
    }
}

#endif
