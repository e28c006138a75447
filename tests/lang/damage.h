/* tests/lang/damage.h: random damage to texts, the same for the same seed: bytes, words, lines. */
#ifndef LB_TESTS_LANG_DAMAGE_H
#define LB_TESTS_LANG_DAMAGE_H

#include "engine/base/random.h"
#include "engine/base/text.h"

typedef struct damage {
    uint32_t seed, drawn;
} damage;

static inline uint32_t damage_draw(damage *d, size_t below)
{
    return below ? lb_random_u32(d->seed, d->drawn++, 5, 0) % (uint32_t)below : 0;
}

/* What graphs are made of, and what breaks them. */
static const char *const damage_words[] = {
    "{",
    "}",
    "[",
    "]",
    ": ",
    ", ",
    "- ",
    "\n",
    "  ",
    "&a ",
    "*a",
    "<<: *a",
    "!!str ",
    "'",
    "\"",
    "#",
    "|\n",
    "? ",
    "null",
    "true",
    "1e308",
    "-1",
    ".nan",
    ".inf",
    "0x",
    "99999999999999999999",
    "{expr: frame}",
    "{param: ",
    "frame",
    "(",
    ")",
    "+ ",
    "% 0",
    "? 1 : 2",
    ".xyz",
    "vec4(",
    "noise(",
    "text(",
    "{keys: {1: 2}}",
    "ease: steps(2)",
    "op: ",
    "part/",
    "part/soft",
    "kit/",
    "deep/",
    "image: ",
    "file: ",
    "kit.yaml",
    "deep.yaml",
    "g.yaml",
    "inputs: ",
    "params: ",
    "nodes: ",
    "result: ",
    "include: ",
    "parts: ",
    "versions: ",
    "frame: ",
    "outputs: ",
    "optional image",
    "\xff",
    "\xC3",
    "\xe7\xaa\xaf",
    "\t",
    "\r",
    "%TAG ",
    "---\n",
    "...\n",
    "\\u0000",
    "\xEF\xBB\xBF",
    "sigma",
    "[[[[[[[[[[[[[[[[[[[[",
    "a",
    "1, ",
};

static inline void damage_put_word(damage *d, lb_text *out)
{
    uint32_t which = damage_draw(d, sizeof damage_words / sizeof *damage_words + 2);

    if (which == 0) {
        lb_text_add(out, "\0", 1);
    } else if (which == 1) { /* deeper than anything may be */
        for (int i = 0; i < 150; i++)
            lb_text_put(out, "[");
    } else {
        lb_text_put(out, damage_words[which - 2]);
    }
}

/* The line that `at` is in. */
static inline void damage_line(const char *text, size_t length, size_t at, size_t *begin,
                               size_t *end)
{
    *begin = *end = at;
    while (*begin > 0 && text[*begin - 1] != '\n')
        --*begin;
    while (*end < length && text[*end] != '\n')
        ++*end;
    *end += *end < length;
}

static inline bool damage_is_word(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || c == '-' || c == '.';
}

static inline void damage_word_at(const char *text, size_t length, size_t at, size_t *begin,
                                  size_t *end)
{
    *begin = *end = at;
    while (*begin > 0 && damage_is_word(text[*begin - 1]))
        --*begin;
    while (*end < length && damage_is_word(text[*end]))
        ++*end;
}

/* Two pieces change places; they may lie within each other, then the first is doubled. */
static inline void damage_swap(lb_text *out, const char *text, size_t length, const size_t a[2],
                               const size_t b[2])
{
    const size_t *first = a[0] < b[0] ? a : b, *second = a[0] < b[0] ? b : a;

    lb_text_add(out, text, first[0]);
    lb_text_add(out, text + second[0], second[1] - second[0]);
    if (first[1] <= second[0]) {
        lb_text_add(out, text + first[1], second[0] - first[1]);
        lb_text_add(out, text + first[0], first[1] - first[0]);
        lb_text_add(out, text + second[1], length - second[1]);
    } else {
        lb_text_add(out, text + first[0], length - first[0]);
    }
}

/* One change. The answer is the caller's (lb_text_clear). */
static inline lb_text damage_once(damage *d, const char *text, size_t length)
{
    size_t at = damage_draw(d, length + 1), other = damage_draw(d, length + 1);
    size_t count = damage_draw(d, 12), a[2], b[2];
    uint32_t kind = damage_draw(d, 9);
    lb_text out = {0};

    count = at + count > length ? length - at : count;
    if (kind < 3) { /* 0: a line goes, 1: it is there twice, 2: two change places */
        damage_line(text, length, at, &a[0], &a[1]);
        damage_line(text, length, other, &b[0], &b[1]);
        if (kind == 2) {
            damage_swap(&out, text, length, a, b);
            return out;
        }
        lb_text_add(&out, text, kind == 0 ? a[0] : a[1]);
        lb_text_add(&out, text + (kind == 0 ? a[1] : a[0]), length - (kind == 0 ? a[1] : a[0]));
        return out;
    }
    if (kind == 3) { /* two words change places */
        damage_word_at(text, length, at, &a[0], &a[1]);
        damage_word_at(text, length, other, &b[0], &b[1]);
        damage_swap(&out, text, length, a, b);
        return out;
    }
    lb_text_add(&out, text, at);
    if (kind == 4) { /* bits */
        for (size_t i = 0; i < count; i++)
            lb_text_add(&out, (char[]){(char)(text[at + i] ^ (1 << damage_draw(d, 8)))}, 1);
    } else if (kind == 5) { /* bytes are there twice */
        lb_text_add(&out, text + at, count);
        count = 0;
    } else if (kind == 6) { /* a word is another one */
        damage_word_at(text, length, at, &a[0], &a[1]);
        lb_text_clear(&out);
        lb_text_add(&out, text, a[0]);
        damage_put_word(d, &out);
        at = a[1];
        count = 0;
    } else if (kind == 7) { /* a word is put in */
        damage_put_word(d, &out);
        count = 0;
    } /* 8: bytes go */
    lb_text_add(&out, text + at + count, length - at - count);
    return out;
}

/* One change, or two. */
static inline lb_text damage_text(uint32_t seed, const char *text, size_t length)
{
    damage d = {seed, 0};
    lb_text made = damage_once(&d, text, length);

    for (uint32_t i = damage_draw(&d, 2); i > 0; i--) {
        lb_text next = damage_once(&d, made.bytes ? made.bytes : "", made.length);

        lb_text_clear(&made);
        made = next;
    }
    return made;
}

#endif
