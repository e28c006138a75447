/* lang/spots.c: YAML 1.2.2, chapters 5.7, 7.3 and 8.1, once more: libyaml tells what a scalar says,
 * but not where. The source is walked along the text; they agree or there is no answer. */
#include "lang/spots.h"

#include <string.h>

typedef struct walk {
    const char *source, *text;
    size_t bytes, length;
    lb_place at; /* in the source */
    size_t done; /* bytes of the text */
    lb_spot *spots;
    size_t count, capacity;
    int32_t line, column; /* where the next character stands if it goes on side by side */
    size_t inside;        /* white space up to this byte of the source is within a line */
    bool is_off;          /* they do not fit, or there is no memory */
} walk;

/* --- the source --- */

static char ahead(const walk *w, size_t by)
{
    return w->bytes - w->at.byte > by ? w->source[w->at.byte + by] : 0;
}

static char here(const walk *w)
{
    return ahead(w, 0);
}

static size_t point_size(const char *text, size_t bytes, size_t at)
{
    size_t end = at + 1;

    while (end < bytes && ((unsigned char)text[end] & 0xC0) == 0x80)
        end++;
    return end - at;
}

static void skip(walk *w)
{
    if (w->at.byte >= w->bytes)
        return;
    if (here(w) == '\n') {
        w->at.line++;
        w->at.column = 0;
    }
    w->at.column++;
    w->at.byte += point_size(w->source, w->bytes, w->at.byte);
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

static bool is_break(char c)
{
    return c == '\n' || c == '\r';
}

/* CR LF is one. */
static void skip_break(walk *w)
{
    if (here(w) == '\r' && ahead(w, 1) == '\n')
        skip(w);
    skip(w);
}

static void skip_blanks(walk *w)
{
    while (is_blank(here(w)))
        skip(w);
}

/* --- spots --- */

/* The next character of the text stands here, and takes `points` of the source. */
static void take(walk *w, int32_t points)
{
    bool goes_on = points == 1 && w->count > 0 && w->spots[w->count - 1].width == 1 &&
                   w->line == w->at.line && w->column == w->at.column;

    if (w->is_off || w->done >= w->length) {
        w->is_off = true;
        return;
    }
    if (!goes_on) {
        if (!lb_grow((void **)&w->spots, &w->capacity, w->count, sizeof *w->spots)) {
            w->is_off = true;
            return;
        }
        w->spots[w->count++] = (lb_spot){(uint32_t)w->done, w->at.line, w->at.column, points};
    }
    w->done += point_size(w->text, w->length, w->done);
    for (int32_t i = 0; i < points; i++)
        skip(w);
    w->line = w->at.line;
    w->column = w->at.column;
}

/* A character that is the same in both. */
static void take_same(walk *w)
{
    size_t size = point_size(w->text, w->length, w->done);

    if (w->at.byte + size > w->bytes ||
        memcmp(w->source + w->at.byte, w->text + w->done, size) != 0)
        w->is_off = true;
    else
        take(w, 1);
}

/* Line breaks: one is a space, of several each but the first is a line feed; `kept` when the first
 * counts too. They stand where the first line ends. The source is already behind them. */
static void take_breaks(walk *w, lb_place first, int32_t breaks, bool kept)
{
    lb_place behind = w->at;
    int32_t feeds = kept ? breaks : breaks - 1;

    for (int32_t i = 0; i < (feeds > 0 ? feeds : 1) && w->done < w->length; i++) {
        if (feeds == 0 && (kept || w->text[w->done] != ' '))
            break;
        if (feeds > 0 && w->text[w->done] != '\n') {
            w->is_off = true;
            return;
        }
        w->at = first;
        take(w, 1);
    }
    w->at = behind;
    w->column = 0; /* whatever comes begins a spot of its own */
}

/* --- plain and quoted --- */

/* White space and line breaks; breaks behind an escaped one are all kept. */
static void fold_lines(walk *w, bool is_escaped)
{
    lb_place first = w->at;
    int32_t breaks = 0;
    size_t at = w->at.byte;

    while (at >= w->inside && at < w->bytes && is_blank(w->source[at]))
        at++;
    if (!is_escaped && (at < w->inside || at == w->bytes || !is_break(w->source[at]))) {
        w->inside = at > w->inside ? at : w->inside;
        take_same(w); /* inside a line white space is text */
        return;
    }
    for (; is_blank(here(w)) || is_break(here(w)); breaks++) {
        skip_blanks(w);
        if (!is_break(here(w)))
            break;
        skip_break(w);
    }
    take_breaks(w, first, breaks, is_escaped);
}

static void walk_flow(walk *w, char quote)
{
    if (quote)
        skip(w);
    while (w->done < w->length && !w->is_off && w->at.byte < w->bytes) {
        char c = here(w);

        if (quote == '"' && c == '\\' && is_break(ahead(w, 1))) {
            skip(w);
            skip_break(w);
            fold_lines(w, true);
        } else if (quote == '"' && c == '\\') {
            char kind = ahead(w, 1);

            take(w, kind == 'x' ? 4 : kind == 'u' ? 6 : kind == 'U' ? 10 : 2);
        } else if (quote == '\'' && c == '\'' && ahead(w, 1) == '\'') {
            take(w, 2);
        } else if (is_blank(c) || is_break(c)) {
            fold_lines(w, false);
        } else {
            take_same(w);
        }
    }
}

/* --- blocks --- */

/* The columns that the block stands in from the left: what its first line has and the text does
 * not. */
static int32_t find_indent(const walk *w)
{
    walk look = *w;
    size_t at = 0;
    int32_t blanks = 0, kept = 0;

    while (look.at.byte < look.bytes && (here(&look) == ' ' || is_break(here(&look)))) {
        blanks = is_break(here(&look)) ? 0 : blanks + 1;
        skip(&look);
    }
    while (at < w->length && w->text[at] == '\n')
        at++;
    while (at < w->length && w->text[at] == ' ')
        at++, kept++;
    return blanks - kept;
}

static void skip_indent(walk *w, int32_t indent)
{
    for (int32_t i = 0; i < indent && here(w) == ' '; i++)
        skip(w);
}

static bool only_feeds_left(const walk *w)
{
    for (size_t i = w->done; i < w->length; i++)
        if (w->text[i] != '\n')
            return false;
    return true;
}

/* Of folded blocks a break between lines that begin with no white space is a space. */
static void walk_block(walk *w, bool is_folded)
{
    int32_t indent, breaks = 0;
    lb_place first;
    bool was_more = true, is_more;

    while (w->at.byte < w->bytes && !is_break(here(w)))
        skip(w); /* | or >, what belongs to it, a comment */
    skip_break(w);
    indent = find_indent(w);
    first = w->at;
    for (;;) {
        skip_indent(w, indent);
        if (w->at.byte < w->bytes && is_break(here(w))) {
            if (breaks == 0)
                first = w->at;
            skip_break(w);
            breaks++;
            continue;
        }
        is_more = is_blank(here(w));
        if (breaks > 0)
            take_breaks(w, first, breaks, !is_folded || was_more || is_more);
        was_more = is_more;
        while (w->done < w->length && !w->is_off && w->text[w->done] != '\n' &&
               w->at.byte < w->bytes && !is_break(here(w)))
            take_same(w);
        if (w->is_off || w->at.byte >= w->bytes || only_feeds_left(w))
            return;
        first = w->at;
        skip_break(w);
        breaks = 1;
    }
}

/* --- all of it --- */

/* Anchor and tag, and what may be between them and the scalar. */
static void skip_properties(walk *w)
{
    bool is_property = here(w) == '&' || here(w) == '!', in_comment = false;

    while (is_property && w->at.byte < w->bytes) {
        while (w->at.byte < w->bytes && !is_blank(here(w)) && !is_break(here(w)))
            skip(w);
        for (; w->at.byte < w->bytes; skip(w)) {
            in_comment = (in_comment && !is_break(here(w))) || here(w) == '#';
            if (!in_comment && !is_blank(here(w)) && !is_break(here(w)))
                break;
        }
        is_property = here(w) == '&' || here(w) == '!';
    }
}

const lb_spot *lb_spots_find(const char *source, size_t bytes, lb_place from, const char *text,
                             size_t length, lb_arena *arena, int32_t *count)
{
    walk w = {.source = source, .text = text, .bytes = bytes, .length = length, .at = from};
    lb_spot *kept = NULL;
    char first;

    *count = 0;
    skip_properties(&w);
    first = here(&w);
    if (first == '|' || first == '>') {
        walk_block(&w, first == '>');
        if (only_feeds_left(&w)) /* they stand behind the last line, wherever they come from */
            w.done = length;
    } else {
        walk_flow(&w, first == '"' || first == '\'' ? first : 0);
    }
    if (!w.is_off && w.done == length && w.count > 0 &&
        (kept = lb_arena_alloc(arena, w.count, sizeof *kept))) {
        memcpy(kept, w.spots, w.count * sizeof *kept);
        *count = (int32_t)w.count;
    }
    lb_free(w.spots);
    return kept;
}

void lb_spots_place(const lb_spot *spots, int32_t count, const char *text, size_t at, bool is_end,
                    int32_t *line, int32_t *column)
{
    const lb_spot *spot = spots;
    int32_t low = 0, high = count;

    if (is_end && at > 0) /* the last byte of the character before */
        at--;
    while (high - low > 1) {
        int32_t middle = low + (high - low) / 2;

        if (spots[middle].begin <= at)
            low = middle;
        else
            high = middle;
    }
    spot = &spots[low];
    *line = spot->line;
    *column = spot->column;
    if (spot->width > 1)
        *column += is_end ? spot->width : 0;
    else
        *column += (int32_t)lb_place_points(text + spot->begin, at - spot->begin + is_end);
}
