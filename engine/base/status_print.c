/* engine/base/status_print.c: messages with the line they are about. */
#include "engine/base/status.h"

#include <stdlib.h>
#include <string.h>

#include "engine/base/status_list.h"
#include "engine/base/text.h"

#define SHOWN_MOST 100     /* code points of a source line that are shown */
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

static source *find_source(lb_diag *diag, const char *name)
{
    for (source *s = diag->sources; s; s = s->next)
        if (s->name == name || strcmp(s->name, name) == 0)
            return s;
    return NULL;
}

/* The bytes of line `line`, without its end; false: there is no such line. */
static bool find_line(source *s, int32_t line, bool keep, size_t *begin, size_t *end)
{
    size_t at = 0;
    int32_t here = 1;
    const char *found;

    if (!s->text || line < 1)
        return false;
    if (s->cursor_line >= 1 && s->cursor_line <= line) {
        at = s->cursor;
        here = s->cursor_line;
    }
    for (; here < line; here++) {
        found = at < s->bytes ? memchr(s->text + at, '\n', s->bytes - at) : NULL;
        if (!found)
            return false;
        at = (size_t)(found - s->text) + 1;
    }
    if (keep) {
        s->cursor_line = line;
        s->cursor = at;
    }
    found = at < s->bytes ? memchr(s->text + at, '\n', s->bytes - at) : NULL;
    *begin = at;
    *end = found ? (size_t)(found - s->text) : s->bytes;
    if (*end > *begin && s->text[*end - 1] == '\r')
        --*end;
    return true;
}

/* What of a line is shown: code points first .. last - 1. */
typedef struct span {
    int32_t first, last;
} span;

static span choose_span(int32_t count, int32_t caret)
{
    span shown = {0, count};

    if (count <= SHOWN_MOST)
        return shown;
    if (caret > SHOWN_BEFORE)
        shown.first = caret - SHOWN_BEFORE;
    if (shown.first > count - SHOWN_MOST)
        shown.first = count - SHOWN_MOST;
    shown.last = shown.first + SHOWN_MOST;
    return shown;
}

static int32_t count_chars(const char *text, size_t bytes)
{
    size_t at = 0;
    int32_t count = 0;

    while (at < bytes && count < SCANNED_MOST) {
        lb_utf8_next(text, bytes, &at);
        count++;
    }
    return count;
}

/* The second line: blanks, or tabs where the text has them, up to the caret, then ^~~~. */
static void print_caret(const printer *p, const char *text, size_t bytes, span shown, int32_t caret,
                        int32_t length)
{
    size_t at = 0;

    fputs("      | ", p->out);
    if (shown.first > 0)
        fputs("...", p->out);
    for (int32_t i = 0; i < caret; i++) {
        uint32_t c = at < bytes ? lb_utf8_next(text, bytes, &at) : ' ';
        if (i >= shown.first)
            fputc(c == '\t' ? '\t' : ' ', p->out);
    }
    if (length > shown.last - caret)
        length = shown.last - caret;
    style(p, "\033[1;32m");
    fputc('^', p->out);
    for (int32_t i = 1; i < length; i++)
        fputc('~', p->out);
    style(p, "\033[0m");
    fputc('\n', p->out);
}

static void print_line(const printer *p, lb_diag *diag, const lb_loc *loc, bool keep)
{
    source *s = find_source(diag, loc->file);
    size_t begin, end, at = 0;
    const char *text;
    int32_t count, caret = loc->column - 1;
    span shown;

    if (!s || !find_line(s, loc->line, keep, &begin, &end))
        return;
    text = s->text + begin;
    count = count_chars(text, end - begin);
    if (caret > count)
        caret = count;
    shown = choose_span(count, caret < 0 ? 0 : caret);
    fprintf(p->out, "%5d | ", loc->line);
    if (shown.first > 0)
        fputs("...", p->out);
    for (int32_t i = 0; i < shown.last && at < end - begin; i++) {
        if (i < shown.first)
            lb_utf8_next(text, end - begin, &at);
        else
            put_char(p->out, text, end - begin, &at);
    }
    if (at < end - begin)
        fputs("...", p->out);
    fputc('\n', p->out);
    if (caret >= 0)
        print_caret(p, text, end - begin, shown, caret, loc->length);
}

static void print_message(const printer *p, lb_diag *diag, message *m, bool keep)
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
        print_line(p, diag, &m->loc, keep);
    m->is_printed = true;
}

/* By place, what has none last and in the order it came; the same place by severity and words, so
 * that threads cannot change the order. */
static int compare(const message *a, const message *b)
{
    int by_name;

    if (!a->loc.file || !b->loc.file)
        return !a->loc.file - !b->loc.file;
    if ((by_name = strcmp(a->loc.file, b->loc.file)) != 0)
        return by_name;
    if (a->loc.line != b->loc.line)
        return a->loc.line < b->loc.line ? -1 : 1;
    if (a->loc.column != b->loc.column)
        return a->loc.column < b->loc.column ? -1 : 1;
    if (a->severity != b->severity)
        return a->severity > b->severity ? -1 : 1;
    return strcmp(a->text, b->text);
}

static bool comes_after(const lb_diag *diag, int32_t i, int32_t j)
{
    int by_place = compare(&diag->messages[i], &diag->messages[j]);

    return by_place != 0 ? by_place > 0 : i > j;
}

/* Heap sort: in place, since memory may be what is missing, and never slow. */
static void sift_down(lb_diag *diag, int32_t root, int32_t count)
{
    message *m = diag->messages;
    int32_t moving = m[root].order, child;

    while ((child = 2 * root + 1) < count) {
        if (child + 1 < count && comes_after(diag, m[child + 1].order, m[child].order))
            child++;
        if (!comes_after(diag, m[child].order, moving))
            break;
        m[root].order = m[child].order;
        root = child;
    }
    m[root].order = moving;
}

static void sort_order(lb_diag *diag, int32_t count)
{
    for (int32_t i = count / 2; i-- > 0;)
        sift_down(diag, i, count);
    for (int32_t last = count - 1; last > 0; last--) {
        int32_t greatest = diag->messages[0].order;
        diag->messages[0].order = diag->messages[last].order;
        diag->messages[last].order = greatest;
        sift_down(diag, 0, last);
    }
}

void lb_diag_print(lb_diag *diag, FILE *out, bool color)
{
    printer p = {out, color};
    int32_t count = 0;

    if (!diag)
        return;
    pthread_mutex_lock(&diag->lock);
    for (int32_t i = 0; i < diag->message_count; i++) {
        const message *m = &diag->messages[i];
        if (!m->is_printed && (m->parent < 0 || diag->messages[m->parent].is_printed))
            diag->messages[count++].order = i;
    }
    sort_order(diag, count);
    for (int32_t i = 0; i < count; i++) {
        message *m = &diag->messages[diag->messages[i].order];
        print_message(&p, diag, m, true);
        for (int32_t n = m->next_note; n >= 0 && m->severity != LB_NOTE;
             n = diag->messages[n].next_note)
            if (!diag->messages[n].is_printed)
                print_message(&p, diag, &diag->messages[n], false);
    }
    if (diag->lost > 0)
        fprintf(out, "lampblack: warning: %d more messages could not be kept\n", diag->lost);
    diag->lost = 0;
    pthread_mutex_unlock(&diag->lock);
}
