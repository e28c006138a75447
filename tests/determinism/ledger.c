/* tests/determinism/ledger.c: lines of hashes. */
#include "tests/determinism/ledger.h"

#include <stdlib.h>
#include <string.h>

bool ledger_add(ledger *book, const ledger_line *line)
{
    if (!lb_grow((void **)&book->lines, &book->capacity, book->count, sizeof *line))
        return false;
    book->lines[book->count++] = *line;
    return true;
}

static int compare(const void *a, const void *b)
{
    const ledger_line *x = a, *y = b;
    int order = strcmp(x->graph, y->graph);

    if (order == 0)
        order = (x->frame > y->frame) - (x->frame < y->frame);
    return order ? order : strcmp(x->what, y->what);
}

void ledger_sort(ledger *book)
{
    if (book->count > 0)
        qsort(book->lines, book->count, sizeof *book->lines, compare);
}

void ledger_print(const ledger *book, FILE *out)
{
    for (size_t i = 0; i < book->count; i++) {
        const ledger_line *l = &book->lines[i];

        fprintf(out, "%s %d %s %s.%d %s\n", l->graph, (int)l->frame, l->what, l->op,
                (int)l->version, l->hash);
    }
}

bool ledger_read(ledger *book, const char *path)
{
    FILE *in = fopen(path, "r");
    ledger_line line;
    char text[512], *dot;
    bool good = in != NULL;

    while (good && fgets(text, sizeof text, in)) {
        int frame;

        memset(&line, 0, sizeof line);
        if (text[0] == '#' || text[0] == '\n')
            continue;
        good = sscanf(text, "%63s %d %71s %71s %32s", line.graph, &frame, line.what, line.op,
                      line.hash) == 5 &&
               (dot = strrchr(line.op, '.')) != NULL;
        if (!good)
            break;
        *dot = '\0';
        line.frame = frame;
        line.version = (int32_t)strtol(dot + 1, NULL, 10);
        good = ledger_add(book, &line);
    }
    if (in)
        fclose(in);
    ledger_sort(book);
    return good;
}

const ledger_line *ledger_find(const ledger *book, const char *graph, int32_t frame,
                               const char *what)
{
    ledger_line key = {.frame = frame};

    snprintf(key.graph, sizeof key.graph, "%s", graph);
    snprintf(key.what, sizeof key.what, "%s", what);
    if (book->count == 0)
        return NULL;
    return bsearch(&key, book->lines, book->count, sizeof key, compare);
}

void ledger_clear(ledger *book)
{
    lb_free(book->lines);
    memset(book, 0, sizeof *book);
}

/* ---- What changed, and where that begins ---- */

typedef struct comparison {
    const ledger *got, *want;
    const lb_graph *graph;
    const char *name;
    FILE *out;
} comparison;

static bool has_changed(const comparison *c, int32_t frame, const char *what)
{
    const ledger_line *got = ledger_find(c->got, c->name, frame, what);
    const ledger_line *want = ledger_find(c->want, c->name, frame, what);

    return got && (!want || strcmp(got->hash, want->hash) != 0);
}

/* True when a picture that the node reads has changed, at this frame; what it reads through scenes
 * and materials counts. */
static bool reads_changed(const comparison *c, int32_t node, int32_t frame, int32_t depth)
{
    const lb_node *n = &c->graph->nodes[node];

    for (int32_t i = 0; i < n->slot_count && depth < 64; i++) {
        int32_t from = n->slots[i].node;

        if (from < 0)
            continue;
        if (c->graph->nodes[from].op->result == LB_KIND_IMAGE
                ? has_changed(c, frame, c->graph->nodes[from].name)
                : reads_changed(c, from, frame, depth + 1))
            return true;
    }
    return false;
}

static void explain_line(const comparison *c, const ledger_line *got, const ledger_line *want)
{
    int32_t node = lb_graph_find(c->graph, got->what);

    if (!want) {
        fprintf(c->out, "%s: '%s' at frame %d is new\n", c->name, got->what, (int)got->frame);
        return;
    }
    if (node < 0) {
        const lb_output *output = NULL;

        for (int32_t i = 0; i < c->graph->output_count; i++)
            if (strcmp(c->graph->outputs[i].name, got->what + 1) == 0)
                output = &c->graph->outputs[i];
        if (output && !has_changed(c, got->frame, c->graph->nodes[output->image.node].name))
            fprintf(c->out,
                    "%s: output '%s' (%s) at frame %d has other pixels, its image has not\n",
                    c->name, got->what + 1, got->op, (int)got->frame);
        return;
    }
    if (reads_changed(c, node, got->frame, 0))
        return; /* told where it begins */
    fprintf(c->out,
            "%s: '%s' at frame %d: %s makes other pixels of the same pictures; its version ",
            c->name, got->what, (int)got->frame, got->op);
    if (got->version == want->version)
        fprintf(c->out, "is still %d. If that was meant, raise it.\n", (int)got->version);
    else
        fprintf(c->out, "is %d now, was %d.\n", (int)got->version, (int)want->version);
}

size_t ledger_explain(const ledger *got, const ledger *want, const lb_graph *const *graphs,
                      const char *const *names, int32_t graph_count, FILE *out)
{
    size_t changed = 0;

    for (size_t i = 0; i < got->count; i++) {
        const ledger_line *line = &got->lines[i];
        const ledger_line *old = ledger_find(want, line->graph, line->frame, line->what);

        if (old && strcmp(old->hash, line->hash) == 0 && old->version == line->version)
            continue;
        changed++;
        for (int32_t g = 0; g < graph_count; g++) {
            comparison c = {got, want, graphs[g], names[g], out};

            if (strcmp(names[g], line->graph) == 0)
                explain_line(&c, line, old);
        }
    }
    return changed;
}
