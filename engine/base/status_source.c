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

bool lb_source_line(source *s, int32_t line, bool keep, size_t *begin, size_t *end)
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
