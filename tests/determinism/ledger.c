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

/* What is told of one operator. */
typedef struct verdict {
    const ledger_line *first; /* of those with other pixels; NULL: none */
    size_t pictures;
    int32_t version, old_version;
    char op[72];
} verdict;

#define MOST_VERDICTS 256

static verdict *verdict_of(verdict *verdicts, const ledger_line *line, const ledger_line *old)
{
    verdict *v = verdicts;

    while (v < verdicts + MOST_VERDICTS - 1 && v->op[0] && strcmp(v->op, line->op) != 0)
        v++;
    memcpy(v->op, line->op, sizeof v->op);
    v->version = line->version;
    v->old_version = old->version;
    return v;
}

static const lb_output *output_of(const lb_graph *graph, const char *name)
{
    for (int32_t i = 0; i < graph->output_count; i++)
        if (strcmp(graph->outputs[i].name, name) == 0)
            return &graph->outputs[i];
    return NULL;
}

/* One line that is not as expected: told at once, or counted for its operator, or nothing when it
 * only follows from another. */
static void explain_line(const comparison *c, const ledger_line *line, const ledger_line *old,
                         verdict *verdicts)
{
    bool is_output = line->what[0] == '@';
    const lb_output *output = is_output ? output_of(c->graph, line->what + 1) : NULL;
    int32_t node = output ? output->image.node : lb_graph_find(c->graph, line->what);
    verdict *v;

    if (!old) {
        fprintf(c->out, "%s: '%s' at frame %d is new\n", c->name, line->what, (int)line->frame);
    } else if (is_output) {
        if (output && !has_changed(c, line->frame, c->graph->nodes[node].name))
            fprintf(c->out,
                    "%s: output '%s' (%s) at frame %d holds other pixels of the same picture\n",
                    c->name, line->what + 1, line->op, (int)line->frame);
    } else {
        v = verdict_of(verdicts, line, old);
        if (strcmp(line->hash, old->hash) != 0 && !reads_changed(c, node, line->frame, 0)) {
            v->pictures++;
            v->first = v->first ? v->first : line;
        }
    }
}

static void print_verdict(const verdict *v, FILE *out)
{
    if (v->pictures > 0)
        fprintf(
            out,
            "%s makes other pixels of the same pictures, %zu times, first '%s' of %s at frame %d",
            v->op, v->pictures, v->first->what, v->first->graph, (int)v->first->frame);
    if (v->pictures > 0 && v->version == v->old_version)
        fprintf(out, "; its version is still %d: if that was meant, raise it\n", (int)v->version);
    else if (v->version != v->old_version)
        fprintf(out, "%s version is %d now, was %d\n", v->pictures > 0 ? "; its" : v->op,
                (int)v->version, (int)v->old_version);
}

size_t ledger_explain(const ledger *got, const ledger *want, const lb_graph *const *graphs,
                      const char *const *names, int32_t graph_count, FILE *out)
{
    verdict verdicts[MOST_VERDICTS] = {0};
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
                explain_line(&c, line, old, verdicts);
        }
    }
    for (const verdict *v = verdicts; v < verdicts + MOST_VERDICTS && v->op[0]; v++)
        print_verdict(v, out);
    return changed;
}
