/* engine/base/status_json.c: messages for programs. */
#include "engine/base/status_json.h"

#include <string.h>

#include "engine/base/status_list.h"

static void put_place(lb_text *out, const char *key, source *s, const lb_loc *loc, int64_t column)
{
    size_t begin, end;

    lb_text_printf(out, "\"%s\": {\"byte\": ", key);
    if (s && lb_source_line(s, loc->line, &begin, &end))
        lb_text_printf(out, "%zu", lb_source_byte(s, loc->line, begin, end, column) + s->skipped);
    else
        lb_text_put(out, "null");
    lb_text_printf(out, ", \"line\": %d, \"column\": %lld}", (int)loc->line, (long long)column);
}

static void put_body(lb_diag *diag, lb_text *out, const message *m)
{
    int64_t column = m->loc.column > 0 ? m->loc.column : 1;
    source *s = m->loc.file ? lb_diag_find_source(diag, m->loc.file) : NULL;

    lb_text_put(out, "\"message\": ");
    lb_text_json(out, m->text);
    lb_text_put(out, ", \"file\": ");
    lb_text_json(out, m->loc.file);
    lb_text_put(out, ", ");
    if (!m->loc.file || m->loc.line < 1) {
        lb_text_put(out, "\"begin\": null, \"end\": null");
        return;
    }
    put_place(out, "begin", s, &m->loc, column);
    lb_text_put(out, ", ");
    put_place(out, "end", s, &m->loc, column + (m->loc.length > 0 ? m->loc.length : 0));
}

static void put_message(lb_diag *diag, lb_text *out, message *m)
{
    static const char *const words[] = {"note", "warning", "error"};
    const char *before = "";

    lb_text_printf(out, "{\"severity\": \"%s\", ", words[m->severity]);
    put_body(diag, out, m);
    lb_text_put(out, ", \"notes\": [");
    for (int32_t n = m->next_note; n >= 0 && m->severity != LB_NOTE;
         n = diag->messages[n].next_note) {
        lb_text_printf(out, "%s{", before);
        put_body(diag, out, &diag->messages[n]);
        lb_text_put(out, "}");
        diag->messages[n].is_printed = true;
        before = ", ";
    }
    lb_text_put(out, "]}");
    m->is_printed = true;
}

void lb_diag_json(lb_diag *diag, lb_text *out)
{
    int32_t count = 0;

    lb_text_put(out, "[");
    if (diag) {
        pthread_mutex_lock(&diag->lock);
        count = lb_diag_sort(diag);
        for (int32_t i = 0; i < count; i++) {
            lb_text_put(out, i > 0 ? ",\n  " : "\n  ");
            put_message(diag, out, &diag->messages[diag->messages[i].order]);
        }
        pthread_mutex_unlock(&diag->lock);
    }
    lb_text_put(out, count > 0 ? "\n]\n" : "]\n");
}
