/* engine/base/status_source.c: the lines of registered texts, and the order of messages. */
#include <string.h>

#include "engine/base/status_list.h"
#include "engine/base/text.h"

source *lb_diag_find_source(const lb_diag *diag, const char *name)
{
    for (source *s = diag->sources; s; s = s->next)
        if (s->name == name || strcmp(s->name, name) == 0)
            return s;
    return NULL;
}

#define STRIDE 512 /* bytes between marks, or a few more */

/* Without memory there are no marks, and everything is counted from the beginning. */
static void make_marks(source *s)
{
    size_t at = 0;
    source_mark mark = {0, 1, 1};

    if (s->marks || !(s->marks = lb_alloc(s->bytes / STRIDE + 1, sizeof *s->marks)))
        return;
    s->marks[0] = mark;
    s->mark_count = 1;
    while (at < s->bytes) {
        if (at - s->marks[s->mark_count - 1].byte >= STRIDE) {
            mark.byte = at;
            s->marks[s->mark_count++] = mark;
        }
        mark.column++;
        if (s->text[at] == '\n') {
            mark.line++;
            mark.column = 1;
        }
        lb_utf8_next(s->text, s->bytes, &at);
    }
}

/* The last mark at or before a place. */
static source_mark find_mark(const source *s, int32_t line, int64_t column)
{
    size_t low = 0, high = s->mark_count;

    if (high == 0)
        return (source_mark){0, 1, 1};
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        const source_mark *mark = &s->marks[middle];

        if (mark->line < line || (mark->line == line && mark->column <= column))
            low = middle;
        else
            high = middle;
    }
    return s->marks[low];
}

/* Where a line begins; false: there is no such line. */
static bool find_start(const source *s, int32_t line, size_t *out)
{
    source_mark mark = find_mark(s, line, 1);

    for (; mark.line < line; mark.line++) {
        const char *found =
            mark.byte < s->bytes ? memchr(s->text + mark.byte, '\n', s->bytes - mark.byte) : NULL;

        if (!found)
            return false;
        mark.byte = (size_t)(found - s->text) + 1;
    }
    *out = mark.byte;
    return true;
}

bool lb_source_line(source *s, int32_t line, size_t *begin, size_t *end)
{
    if (!s->text || line < 1)
        return false;
    make_marks(s);
    if (!find_start(s, line, begin))
        return false;
    if (line < INT32_MAX && find_start(s, line + 1, end))
        --*end; /* the \n */
    else
        *end = s->bytes;
    if (*end > *begin && s->text[*end - 1] == '\r')
        --*end;
    return true;
}

size_t lb_source_byte(source *s, int32_t line, size_t begin, size_t end, int64_t column)
{
    source_mark mark = find_mark(s, line, column);
    size_t at = begin;
    int64_t here = 1;

    if (mark.line == line) {
        at = mark.byte;
        here = mark.column;
    }
    for (; here < column && at < end; here++)
        lb_utf8_next(s->text, end, &at);
    return at < end ? at : end;
}

/* --- order --- */

/* By place: texts in the order they were read, then other files by name, then what has no file. The
 * same place by severity and words, so that threads cannot change the order. */
static int compare(const message *a, const message *b)
{
    int by_name;

    if (!a->loc.file || !b->loc.file)
        return !a->loc.file - !b->loc.file;
    if (a->file_order != b->file_order)
        return a->file_order < b->file_order ? -1 : 1;
    if (a->loc.file != b->loc.file && (by_name = strcmp(a->loc.file, b->loc.file)) != 0)
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

int32_t lb_diag_sort(lb_diag *diag)
{
    int32_t count = 0;
    const source *s = NULL;

    for (int32_t i = 0; i < diag->message_count; i++) {
        message *m = &diag->messages[i];

        if (m->is_printed || (m->parent >= 0 && !diag->messages[m->parent].is_printed))
            continue;
        if (m->loc.file && (!s || s->name != m->loc.file))
            s = lb_diag_find_source(diag, m->loc.file);
        m->file_order = m->loc.file && s && s->text ? s->order : INT32_MAX;
        diag->messages[count++].order = i;
    }
    sort_order(diag, count);
    return count;
}
