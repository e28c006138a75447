/* tests/determinism/hash.c: renders graphs and prints a hash of every picture in them.
 *
 *   determinism-hash [OPTIONS] GRAPH[@SCALE[:FRAME]]...
 *                                           GRAPH FRAME WHAT OPERATOR.VERSION HASH, a line each
 *   determinism-hash --picture FILE...      a hash of the pixels of files
 *   determinism-hash --libm                 a hash of what the C library's functions answer
 *
 * The options say how it is rendered, and change no line: tests/determinism/run compares. */
#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/base/text.h"
#include "lang/lang.h"
#include "nodes/nodes.h"
#include "tests/determinism/canvas.h"
#include "tests/determinism/coverage.h"
#include "tests/determinism/ledger.h"

#define MOST_GRAPHS 64

typedef struct settings {
    int32_t threads;
    size_t cache_bytes;
    const char *disk, *expect;
    bool tiles, alone, tight, coverage;
    int32_t shard, shards;
} settings;

typedef struct hashing {
    settings set;
    lb_diag *diag;
    lb_pool *pool;
    ledger lines;
    int32_t graph_count;
    lb_graph *graphs[MOST_GRAPHS];
    double scales[MOST_GRAPHS];
    int32_t first[MOST_GRAPHS], last[MOST_GRAPHS]; /* frames */
    char names[MOST_GRAPHS][64];
    bool differs; /* two ways of this run gave two answers */
} hashing;

/* One graph's pictures: all of them, and those that no other node reads. */
typedef struct pictures {
    int32_t count, leaf_count;
    int32_t *nodes, *leaves;
    lb_image **images;
    lb_key *keys; /* a node of the graph */
} pictures;

static bool is_read(const lb_graph *graph, int32_t node)
{
    for (int32_t n = 0; n < graph->node_count; n++)
        for (int32_t i = 0; i < graph->nodes[n].slot_count; i++)
            if (graph->nodes[n].slots[i].node == node)
                return true;
    return false;
}

static bool find_pictures(const lb_graph *graph, pictures *p)
{
    size_t room = (size_t)graph->node_count + 1;

    *p = (pictures){0};
    p->nodes = lb_alloc(room, sizeof *p->nodes);
    p->leaves = lb_alloc(room, sizeof *p->leaves);
    p->images = lb_alloc(room, sizeof(lb_image *));
    p->keys = lb_alloc(room, sizeof *p->keys);
    if (!p->nodes || !p->leaves || !p->images || !p->keys)
        return false;
    for (int32_t n = 0; n < graph->node_count; n++) {
        if (graph->nodes[n].op->result != LB_KIND_IMAGE)
            continue;
        p->nodes[p->count++] = n;
        if (!is_read(graph, n))
            p->leaves[p->leaf_count++] = n;
    }
    return true;
}

static void free_pictures(pictures *p)
{
    canvas_free(p->images, p->count);
    lb_free(p->nodes);
    lb_free(p->leaves);
    lb_free(p->images);
    lb_free(p->keys);
}

static bool add_line(hashing *h, int32_t graph, int32_t frame, const char *prefix, const char *what,
                     const char *op, int32_t version, lb_key key)
{
    ledger_line line = {.frame = frame, .version = version};

    snprintf(line.graph, sizeof line.graph, "%s", h->names[graph]);
    snprintf(line.what, sizeof line.what, "%s%s", prefix, what);
    snprintf(line.op, sizeof line.op, "%s", op);
    lb_key_text(key, line.hash);
    return ledger_add(&h->lines, &line);
}

/* What an output's file holds, read back: what was stored, whatever the packing's bytes. */
static bool hash_output(hashing *h, int32_t graph, const lb_output *output, int32_t frame,
                        const lb_image *image)
{
    lb_write_options options = output->write;
    lb_image *part = NULL, *back = NULL;
    void *bytes = NULL;
    size_t count = 0;
    bool good;

    options.working = h->graphs[graph]->format.working;
    options.rate = h->graphs[graph]->format.rate;
    good = (!output->image.layer || lb_image_layer(image, output->image.layer, &part) == LB_OK) &&
           lb_media_encode(h->pool, h->diag, output->file_loc, output->file, part ? part : image,
                           &options, &bytes, &count) == LB_OK &&
           lb_media_decode(h->pool, h->diag, output->file_loc, output->file, bytes, count, false,
                           &back) == LB_OK &&
           add_line(h, graph, frame, "@", output->name, lb_path_extension(output->file), 0,
                    canvas_key(back));
    lb_image_unref(&part);
    lb_image_unref(&back);
    lb_free(bytes);
    return good;
}

/* Makes some nodes; hashes go into p->keys, and must be those that are there already. */
static bool make(hashing *h, int32_t graph, lb_run *run, int32_t frame, pictures *p,
                 const int32_t *wanted, int32_t count, bool again)
{
    canvas_free(p->images, p->count);
    if (!canvas_make(run, h->diag, frame, wanted, count, h->set.tiles, p->images))
        return false;
    for (int32_t i = 0; i < count; i++) {
        lb_key key = canvas_key(p->images[i]), *known = &p->keys[wanted[i]];

        if (again && (known->high || known->low) && !lb_key_equal(*known, key)) {
            fprintf(stderr, "%s: '%s' at frame %d has other pixels when other nodes are wanted\n",
                    h->names[graph], h->graphs[graph]->nodes[wanted[i]].name, (int)frame);
            h->differs = true;
        }
        *known = key;
    }
    return true;
}

/* Makes the pictures that nothing reads once more in the least memory that will do, or nearly: from
 * half of what it took, a fifth more each time. They come in parts then, one after the other.
 */
static bool make_tight(hashing *h, int32_t graph, int32_t frame, pictures *p, size_t peak)
{
    bool good = false;

    for (size_t budget = peak / 2; budget < 2 * peak && !good; budget += budget / 5 + 1) {
        lb_diag *refusals = lb_diag_new();
        lb_run_options options = {.pool = h->pool, .diag = refusals, .scale = h->scales[graph]};
        lb_run *run = NULL;

        canvas_free(p->images, p->count);
        lb_memory_trim();
        lb_memory_set_budget(budget);
        good = lb_run_new(h->graphs[graph], &options, &run) == LB_OK &&
               make(h, graph, run, frame, p, p->leaves, p->leaf_count, true);
        lb_memory_set_budget(0);
        lb_run_free(&run);
        lb_diag_free(&refusals);
    }
    if (!good)
        fprintf(stderr, "%s: frame %d needs twice the memory when there is little\n",
                h->names[graph], (int)frame);
    return good;
}

/* First the pictures that nothing reads, so that what feeds only them may be made without being
 * kept, then all of them. With a cache, the first once more out of it. */
static bool hash_frame(hashing *h, int32_t graph, lb_run *run, int32_t frame, pictures *p)
{
    const lb_graph *g = h->graphs[graph];

    memset(p->keys, 0, (size_t)g->node_count * sizeof *p->keys);
    canvas_free(p->images, p->count);
    lb_memory_reset_peak();
    if (!make(h, graph, run, frame, p, p->leaves, p->leaf_count, false) ||
        (h->set.tight && !make_tight(h, graph, frame, p, lb_memory_peak())) ||
        ((h->set.cache_bytes || h->set.disk) &&
         !make(h, graph, run, frame, p, p->leaves, p->leaf_count, true)) ||
        !make(h, graph, run, frame, p, p->nodes, p->count, true))
        return false;
    for (int32_t i = 0; i < p->count; i++) {
        const lb_node *node = &g->nodes[p->nodes[i]];

        if (!add_line(h, graph, frame, "", node->name, node->op->name, node->op->version,
                      p->keys[p->nodes[i]]))
            return false;
        for (int32_t o = 0; o < g->output_count; o++)
            if (g->outputs[o].image.node == p->nodes[i] && frame >= g->outputs[o].first &&
                frame <= g->outputs[o].last &&
                !hash_output(h, graph, &g->outputs[o], frame, p->images[i]))
                return false;
    }
    return true;
}

static bool hash_graph(hashing *h, int32_t graph)
{
    const lb_graph *g = h->graphs[graph];
    const int32_t first = h->first[graph], count = h->last[graph] - first + 1;
    lb_run_options options = {.pool = h->pool,
                              .diag = h->diag,
                              .scale = h->scales[graph],
                              .cache_bytes = h->set.cache_bytes,
                              .cache_folder = h->set.disk};
    lb_run *run = NULL;
    pictures p;
    bool good = find_pictures(g, &p);

    for (int32_t i = 0; i < count && good; i++) {
        int32_t frame = h->set.alone ? first + count - 1 - i : first + i;

        if ((frame - first) % h->set.shards != h->set.shard)
            continue;
        if (h->set.alone)
            lb_run_free(&run);
        good =
            (run || lb_run_new(g, &options, &run) == LB_OK) && hash_frame(h, graph, run, frame, &p);
    }
    free_pictures(&p);
    lb_run_free(&run);
    return good;
}

/* "graphs/a.yaml", "graphs/a.yaml@0.5" or "graphs/a.yaml@0.5:17"; cut apart where it lies. */
static bool load_graph(hashing *h, char *path)
{
    int32_t i = h->graph_count;
    char *scale = strrchr(path, '@'), *frame = scale ? strchr(scale, ':') : NULL, *dot;
    const char *name = strrchr(path, '/');

    if (i == MOST_GRAPHS)
        return false;
    if (scale)
        *scale++ = '\0';
    if (frame)
        *frame++ = '\0';
    h->scales[i] = 1;
    if ((scale && !lb_text_number(scale, strlen(scale), &h->scales[i])) ||
        lb_lang_load(h->diag, path, lb_nodes_registry, NULL, 0, &h->graphs[i]) != LB_OK)
        return false;
    h->graph_count++;
    h->first[i] = frame ? (int32_t)strtol(frame, NULL, 10) : h->graphs[i]->format.first;
    h->last[i] = frame ? h->first[i] : h->graphs[i]->format.last;
    snprintf(h->names[i], sizeof h->names[i], "%s", name ? name + 1 : path);
    if ((dot = strrchr(h->names[i], '.')) != NULL)
        *dot = '\0';
    if (scale)
        snprintf(h->names[i] + strlen(h->names[i]), sizeof h->names[i] - strlen(h->names[i]), "@%s",
                 scale);
    return true;
}

/* 0: every operator and every way of it is in some graph. */
static int check_coverage(hashing *h)
{
    coverage *seen = coverage_new(lb_nodes_registry);
    int missing = seen ? 0 : 1;

    for (int32_t i = 0; i < h->graph_count && seen; i++)
        if (!coverage_add(seen, h->graphs[i], h->diag))
            missing = 1;
    if (seen)
        missing += coverage_report(seen, stderr);
    coverage_free(&seen);
    return missing ? 1 : 0;
}

/* 0: the lines are those of the file; else says what is different. */
static int check_expected(hashing *h)
{
    ledger want = {0};
    const lb_graph *graphs[MOST_GRAPHS];
    const char *names[MOST_GRAPHS];
    size_t changed = 1, gone = 0;

    for (int32_t i = 0; i < h->graph_count; i++) {
        graphs[i] = h->graphs[i];
        names[i] = h->names[i];
    }
    if (!ledger_read(&want, h->set.expect)) {
        fprintf(stderr, "cannot read %s\n", h->set.expect);
    } else {
        changed = ledger_explain(&h->lines, &want, graphs, names, h->graph_count, stderr);
        for (size_t i = 0; i < want.count; i++) {
            const ledger_line *l = &want.lines[i];

            gone += ledger_find(&h->lines, l->graph, l->frame, l->what) == NULL;
        }
        if (changed + gone > 0)
            fprintf(stderr,
                    "%zu of %zu lines are not as in %s, %zu of its lines are gone.\n"
                    "If that was meant: tests/run determinism --update, and commit it.\n",
                    changed, h->lines.count, h->set.expect, gone);
    }
    ledger_clear(&want);
    return changed + gone > 0 ? 1 : 0;
}

static int hash_graphs(hashing *h, char **paths, int count)
{
    bool good = (h->diag = lb_diag_new()) != NULL && lb_pool_new(h->set.threads, &h->pool) == LB_OK;
    int result = 1;

    for (int i = 0; i < count && good; i++)
        good = load_graph(h, paths[i]);
    for (int32_t i = 0; i < h->graph_count && good && !h->set.coverage; i++)
        good = hash_graph(h, i);
    if (good && h->set.coverage) {
        result = check_coverage(h);
    } else if (good) {
        ledger_sort(&h->lines);
        ledger_print(&h->lines, stdout);
        result = h->set.expect ? check_expected(h) : 0;
        result = h->differs ? 1 : result;
    } else if (h->diag) {
        lb_diag_print(h->diag, stderr, false);
    }
    for (int32_t i = 0; i < h->graph_count; i++)
        lb_graph_free(&h->graphs[i]);
    ledger_clear(&h->lines);
    lb_pool_free(&h->pool);
    lb_diag_free(&h->diag);
    return result;
}

static int hash_files(char **paths, int count)
{
    lb_diag *diag = lb_diag_new();
    int result = 0;

    for (int i = 0; i < count; i++) {
        lb_image *image = NULL;
        void *bytes = NULL;
        size_t size = 0;
        char text[LB_KEY_TEXT];
        const char *name = strrchr(paths[i], '/');

        if (lb_file_read(diag, LB_NOWHERE, paths[i], LB_MEDIA_MAX_BYTES, &bytes, &size) == LB_OK &&
            lb_media_decode(NULL, diag, LB_NOWHERE, paths[i], bytes, size, false, &image) == LB_OK)
            printf("%s %s\n", name ? name + 1 : paths[i], lb_key_text(canvas_key(image), text));
        else
            result = 1;
        lb_image_unref(&image);
        lb_free(bytes);
    }
    lb_diag_print(diag, stderr, false);
    lb_diag_free(&diag);
    return result;
}

/* Tells whether a mask on the C library's choice of functions does anything on this machine. */
static int hash_libm(void)
{
    lb_hasher *hasher = lb_hasher_new();
    char text[LB_KEY_TEXT];

    for (int i = 1; i <= 200000 && hasher; i++) {
        double x = i * 0.00123;

        lb_hash_f64(hasher, sin(x) + exp(-x));
        lb_hash_f64(hasher, pow(x, 1.7) + tan(x) + log(x) + atan(x));
    }
    if (hasher)
        puts(lb_key_text(lb_hasher_key(hasher), text));
    lb_hasher_free(&hasher);
    return 0;
}

/* True: argv[*at] was an option, *at its last word. */
static bool take_option(settings *set, int argc, char **argv, int *at)
{
    const char *name = argv[*at], *value = *at + 1 < argc ? argv[*at + 1] : "";
    char *end;

    if (strcmp(name, "--tiles") == 0)
        return (set->tiles = true);
    if (strcmp(name, "--alone") == 0)
        return (set->alone = true);
    if (strcmp(name, "--coverage") == 0)
        return (set->coverage = true);
    if (strcmp(name, "--tight") == 0)
        return (set->tight = true);
    ++*at;
    if (strcmp(name, "--threads") == 0)
        return (set->threads = (int32_t)strtol(value, NULL, 10)) > 0;
    if (strcmp(name, "--cache") == 0)
        return (set->cache_bytes = (size_t)strtoul(value, NULL, 10)) > 0;
    if (strcmp(name, "--disk") == 0)
        return *(set->disk = value) != '\0';
    if (strcmp(name, "--expect") == 0)
        return *(set->expect = value) != '\0';
    if (strcmp(name, "--shard") == 0) {
        set->shard = (int32_t)strtol(value, &end, 10) - 1;
        set->shards = *end == '/' ? (int32_t)strtol(end + 1, NULL, 10) : 0;
        return set->shard >= 0 && set->shard < set->shards;
    }
    return false;
}

int main(int argc, char **argv)
{
    hashing h = {.set = {.threads = 1, .shards = 1}};
    int at = 1;

    setlocale(LC_ALL, ""); /* what a program around the library may do */
    if (argc > 1 && strcmp(argv[1], "--libm") == 0)
        return hash_libm();
    if (argc > 1 && strcmp(argv[1], "--picture") == 0)
        return hash_files(argv + 2, argc - 2);
    for (; at < argc && argv[at][0] == '-'; at++)
        if (!take_option(&h.set, argc, argv, &at)) {
            fprintf(stderr, "%s: no such option, or not its value\n", argv[0]);
            return 2;
        }
    return hash_graphs(&h, argv + at, argc - at);
}
