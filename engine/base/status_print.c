/* engine/base/status_print.c: messages with the line they are about. */
#include "engine/base/status.h"

#include <string.h>
#include <utf8proc.h>

#include "engine/base/status_list.h"
#include "engine/base/text.h"

#define SHOWN_MOST 100     /* cells of a source line that are shown */
#define SHOWN_BEFORE 60    /* of these at most so many before the caret, when the line is longer */
#define SCANNED_MOST 65536 /* code points of a line that are looked at to find the column */

static const char *const words[] = {"note", "warning", "error"};
static const char *const colors[] = {"\033[1;36m", "\033[1;35m", "\033[1;31m"};

typedef struct printer {
    FILE *out;
    bool color;
} printer;

static void style(const printer *p, const char *code)
{
    if (p->color)
        fputs(code, p->out);
}

/* Whether a terminal would act on it instead of showing it: a file must not steer the terminal. */
static bool is_control(uint32_t c)
{
    return c < 0x20 || (c >= 0x7f && c < 0xa0) || c == 0x2028 || c == 0x2029 ||
           (c >= 0x202a && c <= 0x202e) || (c >= 0x2066 && c <= 0x2069);
}

/* One code point as it stands, or '?'. */
static void put_char(FILE *out, const char *text, size_t bytes, size_t *at)
{
    size_t begin = *at;
    uint32_t c = lb_utf8_next(text, bytes, at);

    if ((is_control(c) && c != '\t') || (c == 0xfffd && *at - begin != 3))
        fputc('?', out);
    else
        fwrite(text + begin, 1, *at - begin, out);
}

static void put_text(FILE *out, const char *text)
{
    size_t bytes = strlen(text), at = 0;

    while (at < bytes)
        put_char(out, text, bytes, &at);
}

/* --- cells of a terminal --- */

#define TAB_CELLS 8

/* How many cells a character takes: two if it is wide in East Asian scripts, none if it goes with
 * the one before it; a tab, up to the next stop. */
static int32_t width_of(uint32_t c, int32_t cell)
{
    if (c == '\t')
        return TAB_CELLS - cell % TAB_CELLS;
    if (is_control(c))
        return 1; /* shown as '?' */
    return utf8proc_charwidth((utf8proc_int32_t)c);
}

/* A line measured: `first` and `last` are the cells that are shown, `caret` and `end` those that
 * are underlined. */
typedef struct span {
    int32_t total, first, last, caret, end;
} span;

static span measure(const char *text, size_t bytes, int32_t column, int32_t length)
{
    span s = {.caret = -1, .end = -1};
    int64_t behind = (int64_t)column + (length > 0 ? length : 1);
    size_t at = 0;

    for (int32_t i = 0; at < bytes && i < SCANNED_MOST; i++) {
        int32_t width = width_of(lb_utf8_next(text, bytes, &at), s.total);

        if (i == column) /* what has no cell of its own lies on the one before */
            s.caret = width == 0 && s.total > 0 ? s.total - 1 : s.total;
        s.total += width;
        if (i + 1 == behind)
            s.end = s.total;
    }
    if (s.caret < 0)
        s.caret = s.total;
    if (s.end < 0)
        s.end = s.total;
    if (s.end <= s.caret)
        s.end = s.caret + 1;
    s.last = s.total;
    if (s.total > SHOWN_MOST) {
        s.first = s.caret > SHOWN_BEFORE ? s.caret - SHOWN_BEFORE : 0;
        if (s.first > s.total - SHOWN_MOST)
            s.first = s.total - SHOWN_MOST;
        s.last = s.first + SHOWN_MOST;
    }
    return s;
}

static void put_blanks(FILE *out, int32_t count)
{
    for (int32_t i = 0; i < count; i++)
        fputc(' ', out);
}

/* What of the line lies in the shown cells; what lies there in part is blank. */
static void print_shown(const printer *p, const char *text, size_t bytes, const span *s)
{
    size_t at = 0;
    int32_t cell = 0;

    while (at < bytes && cell < s->last) {
        size_t next = at;
        uint32_t c = lb_utf8_next(text, bytes, &next);
        int32_t width = width_of(c, cell), from = cell > s->first ? cell : s->first;
        int32_t to = cell + width < s->last ? cell + width : s->last;

        if (to > from && (c == '\t' || to - from < width))
            put_blanks(p->out, to - from);
        else if (to > from || (width == 0 && (cell > s->first || s->first == 0)))
            put_char(p->out, text, bytes, &at);
        at = next;
        cell += width;
    }
    for (; at < bytes; cell++) { /* what goes with the last one shown */
        size_t next = at;

        if (width_of(lb_utf8_next(text, bytes, &next), cell) != 0)
            break;
        put_char(p->out, text, bytes, &at);
    }
}

static void print_line(const printer *p, lb_diag *diag, const lb_loc *loc)
{
    source *from = lb_diag_find_source(diag, loc->file);
    size_t begin, end;
    span s;

    if (!from || !lb_source_line(from, loc->line, &begin, &end))
        return;
    s = measure(from->text + begin, end - begin, loc->column > 0 ? loc->column - 1 : 0,
                loc->length);
    fprintf(p->out, "%5d | %s", loc->line, s.first > 0 ? "..." : "");
    print_shown(p, from->text + begin, end - begin, &s);
    fputs(s.last < s.total || s.total >= SCANNED_MOST ? "...\n" : "\n", p->out);
    if (loc->column < 1)
        return;
    fprintf(p->out, "      | %s", s.first > 0 ? "..." : "");
    put_blanks(p->out, s.caret - s.first);
    style(p, "\033[1;32m");
    fputc('^', p->out);
    for (int32_t i = s.caret + 1; i < s.end && i < s.last; i++)
        fputc('~', p->out);
    style(p, "\033[0m");
    fputc('\n', p->out);
}

static void print_message(const printer *p, lb_diag *diag, message *m)
{
    style(p, "\033[1m");
    put_text(p->out, m->loc.file ? m->loc.file : "lampblack");
    if (m->loc.file && m->loc.line > 0) {
        fprintf(p->out, ":%d", m->loc.line);
        if (m->loc.column > 0)
            fprintf(p->out, ":%d", m->loc.column);
    }
    fputs(": ", p->out);
    style(p, colors[m->severity]);
    fprintf(p->out, "%s: ", words[m->severity]);
    style(p, "\033[0m");
    style(p, "\033[1m");
    put_text(p->out, m->text);
    style(p, "\033[0m");
    fputc('\n', p->out);
    if (m->loc.file && m->loc.line > 0)
        print_line(p, diag, &m->loc);
}

static void print_with_notes(const printer *p, lb_diag *diag, message *m, bool is_shown)
{
    if (is_shown)
        print_message(p, diag, m);
    m->is_printed = true;
    for (int32_t n = m->next_note; n >= 0 && m->severity != LB_NOTE;
         n = diag->messages[n].next_note) {
        if (is_shown && !diag->messages[n].is_printed)
            print_message(p, diag, &diag->messages[n]);
        diag->messages[n].is_printed = true;
    }
}

/* "lampblack: 7 more errors, 1 more warning" */
static void print_rest(const printer *p, int32_t errors, int32_t warnings)
{
    fputs("lampblack: ", p->out);
    if (errors > 0)
        fprintf(p->out, "%d more error%s", errors, errors == 1 ? "" : "s");
    if (warnings > 0)
        fprintf(p->out, "%s%d more warning%s", errors > 0 ? ", " : "", warnings,
                warnings == 1 ? "" : "s");
    fputc('\n', p->out);
}

void lb_diag_print(lb_diag *diag, FILE *out, bool color)
{
    printer p = {out, color};
    int32_t count, told[3] = {0}, rest[3] = {0};

    if (!diag)
        return;
    pthread_mutex_lock(&diag->lock);
    count = lb_diag_sort(diag);
    for (int32_t i = 0; i < count; i++) {
        message *m = &diag->messages[diag->messages[i].order];
        bool is_shown =
            m->severity == LB_NOTE || diag->limit == 0 || told[m->severity] < diag->limit;

        told[m->severity] += is_shown;
        rest[m->severity] += !is_shown;
        print_with_notes(&p, diag, m, is_shown);
    }
    if (rest[LB_ERROR] > 0 || rest[LB_WARNING] > 0)
        print_rest(&p, rest[LB_ERROR], rest[LB_WARNING]);
    if (diag->lost > 0)
        fprintf(out, "lampblack: warning: %d more messages could not be kept\n", diag->lost);
    diag->lost = 0;
    pthread_mutex_unlock(&diag->lock);
}
