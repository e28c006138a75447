/* engine/cli/layers.c: boxes and lines of a directed graph without cycles, drawn in layers. */
#include "engine/cli/layers.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/memory.h"

#define MOST_ITEMS 200000 /* boxes and passes */
#define ORDER_SWEEPS 24
#define PLACE_SWEEPS 400
#define LEAST_MOVE 0.05 /* pixels: less is not seen */
#define BOX_GAP 26.0    /* between boxes of a layer */
#define PASS_GAP 12.0
#define LAYER_GAP 34.0
#define MARGIN 24.0

/* A box, or where lines of a box pass a layer. */
typedef struct item {
    int32_t box; /* -1: a pass */
    int32_t layer, place;
    double half, x; /* half its width; its middle */
    double key;
    int32_t up_count, down_count;
    int32_t *up, *down; /* items of the layers before and after that it is connected to */
} item;

typedef struct row {
    int32_t count;
    int32_t *items;
    double top, height, gap; /* gap: below it */
} row;

typedef struct drawing {
    lb_layers *layers;
    lb_arena *arena;
    item *items; /* boxes first */
    int32_t item_count;
    int32_t row_count;
    row *rows;
    int32_t *first_pass; /* by box: its items in the layers after its own, one after the other */
    int32_t *pass_count;
} drawing;

/* ---- Layers ---- */

/* Boxes in an order in which every line leads onwards. False: lines go round. */
static bool put_in_order(drawing *d, int32_t *order, int32_t *waiting, const int32_t *first,
                         const int32_t *next)
{
    const lb_layers *l = d->layers;
    int32_t begin = 0, end = 0;

    for (int32_t i = 0; i < l->line_count; i++)
        waiting[l->lines[i].to]++;
    for (int32_t i = 0; i < l->box_count; i++)
        if (waiting[i] == 0)
            order[end++] = i;
    for (; begin < end; begin++)
        for (int32_t k = first[order[begin]]; k > 0; k = next[k - 1])
            if (--waiting[l->lines[k - 1].to] == 0)
                order[end++] = l->lines[k - 1].to;
    return end == l->box_count;
}

/* First as high as the boxes above allow; then, where a box leads somewhere, as low as that allows,
 * so that what is used late stands late. */
static lb_status find_layers(drawing *d)
{
    const lb_layers *l = d->layers;
    size_t boxes = (size_t)l->box_count + 1;
    int32_t *waiting = lb_arena_alloc(d->arena, boxes, sizeof *waiting);
    int32_t *order = lb_arena_alloc(d->arena, boxes, sizeof *order);
    int32_t *first = lb_arena_alloc(d->arena, boxes, sizeof *first); /* line out of it, from 1 */
    int32_t *next = lb_arena_alloc(d->arena, (size_t)l->line_count + 1, sizeof *next);
    int32_t most = 0;

    if (!waiting || !order || !first || !next)
        return LB_MEMORY;
    for (int32_t i = 0; i < l->line_count; i++) {
        next[i] = first[l->lines[i].from];
        first[l->lines[i].from] = i + 1;
    }
    if (!put_in_order(d, order, waiting, first, next))
        return LB_INVALID;
    for (int32_t i = 0; i < l->box_count; i++) {
        int32_t layer = d->items[order[i]].layer;

        most = layer > most ? layer : most;
        for (int32_t k = first[order[i]]; k > 0; k = next[k - 1]) {
            item *to = &d->items[l->lines[k - 1].to];

            to->layer = to->layer > layer ? to->layer : layer + 1;
        }
    }
    for (int32_t i = l->box_count; i-- > 0;) {
        item *it = &d->items[order[i]];
        int32_t lowest = INT32_MAX;

        for (int32_t k = first[order[i]]; k > 0; k = next[k - 1])
            if (d->items[l->lines[k - 1].to].layer - 1 < lowest)
                lowest = d->items[l->lines[k - 1].to].layer - 1;
        if (first[order[i]] > 0)
            it->layer = lowest;
        else if (l->boxes[order[i]].is_last)
            it->layer = most;
    }
    d->row_count = l->box_count > 0 ? most + 1 : 0;
    return LB_OK;
}

/* A pass for every layer between a box and the farthest that it leads to. */
static lb_status add_passes(drawing *d)
{
    const lb_layers *l = d->layers;
    int64_t total = l->box_count;
    item *items;

    for (int32_t i = 0; i < l->line_count; i++) {
        int32_t from = l->lines[i].from;
        int32_t between = d->items[l->lines[i].to].layer - d->items[from].layer - 1;

        if (between > d->pass_count[from])
            d->pass_count[from] = between;
    }
    for (int32_t i = 0; i < l->box_count; i++) {
        d->first_pass[i] = (int32_t)total;
        total += d->pass_count[i];
        if (total > MOST_ITEMS)
            return LB_LIMIT;
    }
    if (!(items = lb_arena_alloc(d->arena, (size_t)total + 1, sizeof *items)))
        return LB_MEMORY;
    memcpy(items, d->items, (size_t)l->box_count * sizeof *items);
    d->items = items;
    d->item_count = (int32_t)total;
    for (int32_t i = 0; i < l->box_count; i++)
        for (int32_t k = 0; k < d->pass_count[i]; k++)
            items[d->first_pass[i] + k] = (item){.box = -1, .layer = items[i].layer + 1 + k};
    return LB_OK;
}

/* The item from which a line comes into the layer of the box that it leads to. */
static int32_t last_item(const drawing *d, const lb_layer_line *line)
{
    int32_t between = d->items[line->to].layer - d->items[line->from].layer - 1;

    return between > 0 ? d->first_pass[line->from] + between - 1 : line->from;
}

static void connect(drawing *d, int32_t up, int32_t down, bool is_counting)
{
    item *a = &d->items[up], *b = &d->items[down];

    if (!is_counting) {
        a->down[a->down_count] = down;
        b->up[b->up_count] = up;
    }
    a->down_count++;
    b->up_count++;
}

static void connect_all(drawing *d, bool is_counting)
{
    const lb_layers *l = d->layers;

    for (int32_t i = 0; i < l->box_count; i++)
        for (int32_t k = 0; k < d->pass_count[i]; k++)
            connect(d, k == 0 ? i : d->first_pass[i] + k - 1, d->first_pass[i] + k, is_counting);
    for (int32_t i = 0; i < l->line_count; i++)
        connect(d, last_item(d, &l->lines[i]), l->lines[i].to, is_counting);
}

static lb_status make_rows(drawing *d)
{
    connect_all(d, true);
    for (int32_t i = 0; i < d->item_count; i++) {
        item *it = &d->items[i];

        it->up = lb_arena_alloc(d->arena, (size_t)it->up_count + 1, sizeof *it->up);
        it->down = lb_arena_alloc(d->arena, (size_t)it->down_count + 1, sizeof *it->down);
        if (!it->up || !it->down)
            return LB_MEMORY;
        it->up_count = it->down_count = 0;
    }
    connect_all(d, false);
    if (!(d->rows = lb_arena_alloc(d->arena, (size_t)d->row_count + 1, sizeof *d->rows)))
        return LB_MEMORY;
    for (int32_t i = 0; i < d->item_count; i++)
        d->rows[d->items[i].layer].count++;
    for (int32_t r = 0; r < d->row_count; r++) {
        if (!(d->rows[r].items =
                  lb_arena_alloc(d->arena, (size_t)d->rows[r].count + 1, sizeof *d->rows[r].items)))
            return LB_MEMORY;
        d->rows[r].count = 0;
    }
    for (int32_t i = 0; i < d->item_count; i++) {
        row *r = &d->rows[d->items[i].layer];

        d->items[i].place = r->count;
        r->items[r->count++] = i;
    }
    return LB_OK;
}

/* ---- Order ---- */

typedef struct sorted {
    double key;
    int32_t group, place; /* between equal keys; what is sorted */
} sorted;

static int by_key(const void *left, const void *right)
{
    const sorted *a = left, *b = right;

    if (a->group != b->group)
        return a->group < b->group ? -1 : 1;
    if (a->key != b->key)
        return a->key < b->key ? -1 : 1;
    return a->place < b->place ? -1 : a->place > b->place;
}

/* Sorts a row by the mean place of what its items are connected to on one side. */
static void sort_row(drawing *d, row *r, bool by_up, sorted *keys, int32_t *old)
{
    for (int32_t i = 0; i < r->count; i++) {
        const item *it = &d->items[r->items[i]];
        int32_t count = by_up ? it->up_count : it->down_count;
        const int32_t *others = by_up ? it->up : it->down;
        double sum = 0;

        for (int32_t k = 0; k < count; k++)
            sum += (d->items[others[k]].place + 0.5) / d->rows[d->items[others[k]].layer].count;
        keys[i] = (sorted){count > 0 ? sum / count : (i + 0.5) / r->count, 0, i};
        old[i] = r->items[i];
    }
    qsort(keys, (size_t)r->count, sizeof *keys, by_key);
    for (int32_t i = 0; i < r->count; i++) {
        r->items[i] = old[keys[i].place];
        d->items[r->items[i]].place = i;
    }
}

/* Crossings between a row and the next one: inversions, counted with a tree of sums. */
static int64_t crossings_below(const drawing *d, const row *r, int32_t *tree)
{
    int32_t width = r + 1 < d->rows + d->row_count ? r[1].count : 0, seen = 0;
    int64_t crossings = 0;

    memset(tree, 0, ((size_t)width + 1) * sizeof *tree);
    for (int32_t i = 0; i < r->count; i++) {
        const item *it = &d->items[r->items[i]];

        for (int32_t k = 0; k < it->down_count; k++) {
            int32_t before = 0;

            for (int32_t at = d->items[it->down[k]].place + 1; at > 0; at -= at & -at)
                before += tree[at];
            crossings += seen - before;
        }
        for (int32_t k = 0; k < it->down_count; k++, seen++)
            for (int32_t at = d->items[it->down[k]].place + 1; at <= width; at += at & -at)
                tree[at]++;
    }
    return crossings;
}

static int64_t count_crossings(const drawing *d, int32_t *tree)
{
    int64_t crossings = 0;

    for (int32_t r = 0; r + 1 < d->row_count; r++)
        crossings += crossings_below(d, &d->rows[r], tree);
    return crossings;
}

static lb_status order_rows(drawing *d)
{
    int32_t *tree = lb_arena_alloc(d->arena, (size_t)d->item_count + 2, sizeof *tree);
    int32_t *best = lb_arena_alloc(d->arena, (size_t)d->item_count + 1, sizeof *best);
    int32_t *old = lb_arena_alloc(d->arena, (size_t)d->item_count + 1, sizeof *old);
    sorted *keys = lb_arena_alloc(d->arena, (size_t)d->item_count + 1, sizeof *keys);
    int64_t least = INT64_MAX;

    if (!tree || !best || !old || !keys)
        return LB_MEMORY;
    for (int32_t sweep = 0; sweep <= ORDER_SWEEPS && least > 0; sweep++) {
        int64_t crossings;

        if (sweep % 2)
            for (int32_t r = 1; r < d->row_count; r++)
                sort_row(d, &d->rows[r], true, keys, old);
        else
            for (int32_t r = d->row_count - 1; r-- > 0;)
                sort_row(d, &d->rows[r], false, keys, old);
        if ((crossings = count_crossings(d, tree)) >= least)
            continue;
        least = crossings;
        for (int32_t i = 0; i < d->item_count; i++)
            best[i] = d->items[i].place;
    }
    for (int32_t i = 0; i < d->item_count; i++) {
        d->items[i].place = best[i];
        d->rows[d->items[i].layer].items[best[i]] = i;
    }
    return LB_OK;
}

/* ---- Places ---- */

static double gap(const item *a, const item *b)
{
    return a->half + b->half + (a->box >= 0 && b->box >= 0 ? BOX_GAP : PASS_GAP);
}

/* Long lines are to be straight before boxes are above each other. */
static double pull(const item *a, const item *b)
{
    return a->box < 0 && b->box < 0 ? 60 : 1;
}

typedef struct pool {
    double sum, weight; /* of the places that are wanted */
    int32_t count;
} pool;

/* Puts the items of a row as near as their distances allow to where those that they are connected
 * to pull them, in the sense of least squares: pooling adjacent violators (Ayer and others, Annals
 * of Mathematical Statistics 26, 1955). Answers how far one was moved at most. */
static double place_row(drawing *d, row *r, pool *pools)
{
    int32_t count = 0;
    double offset = 0, most = 0;

    for (int32_t i = 0; i < r->count; i++) {
        const item *it = &d->items[r->items[i]];
        double sum = 0, weight = 0;

        for (int32_t k = 0; k < it->up_count + it->down_count; k++) {
            const item *other =
                &d->items[k < it->up_count ? it->up[k] : it->down[k - it->up_count]];
            double w = pull(it, other);

            sum += w * other->x;
            weight += w;
        }
        if (weight == 0) {
            sum = 0.01 * it->x;
            weight = 0.01;
        }
        if (i > 0)
            offset += gap(&d->items[r->items[i - 1]], it);
        pools[count++] = (pool){sum - weight * offset, weight, 1};
        while (count > 1 && pools[count - 2].sum / pools[count - 2].weight >
                                pools[count - 1].sum / pools[count - 1].weight) {
            pools[count - 2].sum += pools[count - 1].sum;
            pools[count - 2].weight += pools[count - 1].weight;
            pools[count - 2].count += pools[count - 1].count;
            count--;
        }
    }
    offset = 0;
    for (int32_t p = 0, i = 0; p < count; p++)
        for (int32_t k = 0; k < pools[p].count; k++, i++) {
            if (i > 0)
                offset += gap(&d->items[r->items[i - 1]], &d->items[r->items[i]]);
            most =
                fmax(most, fabs(pools[p].sum / pools[p].weight + offset - d->items[r->items[i]].x));
            d->items[r->items[i]].x = pools[p].sum / pools[p].weight + offset;
        }
    return most;
}

static lb_status place_rows(drawing *d)
{
    pool *pools = lb_arena_alloc(d->arena, (size_t)d->item_count + 1, sizeof *pools);
    double left = INFINITY, right = -INFINITY, moved = INFINITY;

    if (!pools)
        return LB_MEMORY;
    for (int32_t r = 0; r < d->row_count; r++) {
        double x = 0;

        for (int32_t i = 0; i < d->rows[r].count; i++) {
            item *it = &d->items[d->rows[r].items[i]];

            if (i > 0)
                x += gap(&d->items[d->rows[r].items[i - 1]], it);
            it->x = x;
        }
        for (int32_t i = 0; i < d->rows[r].count; i++)
            d->items[d->rows[r].items[i]].x -= x / 2;
    }
    for (int32_t sweep = 0; sweep < PLACE_SWEEPS && moved > LEAST_MOVE; sweep++) {
        moved = 0;
        for (int32_t k = 0; k < d->row_count; k++)
            moved =
                fmax(moved, place_row(d, &d->rows[sweep % 2 ? d->row_count - 1 - k : k], pools));
    }
    for (int32_t i = 0; i < d->item_count; i++) {
        left = fmin(left, d->items[i].x - d->items[i].half);
        right = fmax(right, d->items[i].x + d->items[i].half);
    }
    for (int32_t i = 0; i < d->item_count; i++)
        d->items[i].x = rint(d->items[i].x - left + MARGIN);
    d->layers->width = d->item_count > 0 ? ceil(right - left) + 2 * MARGIN : 2 * MARGIN;
    return LB_OK;
}

/* Rows below each other, farther apart where lines go far to the side. */
static void stack_rows(drawing *d)
{
    lb_layers *l = d->layers;
    double y = MARGIN;

    for (int32_t r = 0; r < d->row_count; r++) {
        row *at = &d->rows[r];
        double farthest = 0;

        for (int32_t i = 0; i < at->count; i++) {
            const item *it = &d->items[at->items[i]];

            if (it->box >= 0)
                at->height = fmax(at->height, l->boxes[it->box].height);
            for (int32_t k = 0; k < it->down_count; k++)
                farthest = fmax(farthest, fabs(d->items[it->down[k]].x - it->x));
        }
        at->top = y;
        at->gap = rint(LAYER_GAP + fmin(farthest * 0.08, 50));
        y += at->height + (r + 1 < d->row_count ? at->gap : 0);
    }
    for (int32_t i = 0; i < l->box_count; i++) {
        const row *r = &d->rows[d->items[i].layer];

        l->boxes[i].x = d->items[i].x - l->boxes[i].width / 2;
        l->boxes[i].y = rint(r->top + (r->height - l->boxes[i].height) / 2);
    }
    l->height = y + MARGIN;
}

/* ---- Lines ---- */

static lb_status add_line_passes(drawing *d, lb_layer_line *line, double port)
{
    const lb_layer_box *from = &d->layers->boxes[line->from], *to = &d->layers->boxes[line->to];
    const row *r = &d->rows[d->items[line->from].layer];
    int32_t between = d->items[line->to].layer - d->items[line->from].layer - 1;
    lb_layer_pass *pass = lb_arena_alloc(d->arena, (size_t)between + 2, sizeof *pass);

    if (!pass)
        return LB_MEMORY;
    line->passes = pass;
    line->pass_count = between + 2;
    *pass++ = (lb_layer_pass){d->items[line->from].x, from->y + from->height, r->top + r->height};
    for (int32_t k = 0; k < between; k++) {
        r++;
        *pass++ =
            (lb_layer_pass){d->items[d->first_pass[line->from] + k].x, r->top, r->top + r->height};
    }
    r++;
    *pass = (lb_layer_pass){port, r->top, to->y};
    return LB_OK;
}

/* Lines come into a box side by side, in the order of where they come from. */
static lb_status add_lines(drawing *d)
{
    lb_layers *l = d->layers;
    sorted *order = lb_arena_alloc(d->arena, (size_t)l->line_count + 1, sizeof *order);
    lb_status status = LB_OK;

    if (!order)
        return LB_MEMORY;
    for (int32_t i = 0; i < l->line_count; i++)
        order[i] = (sorted){d->items[last_item(d, &l->lines[i])].x, l->lines[i].to, i};
    qsort(order, (size_t)l->line_count, sizeof *order, by_key);
    for (int32_t i = 0, end; i < l->line_count && status == LB_OK; i = end) {
        const lb_layer_box *to = &l->boxes[order[i].group];

        for (end = i; end < l->line_count && order[end].group == order[i].group;)
            end++;
        for (int32_t k = i; k < end && status == LB_OK; k++)
            status = add_line_passes(d, &l->lines[order[k].place],
                                     to->x + to->width * (k - i + 1) / (end - i + 1));
    }
    return status;
}

lb_status lb_layers_place(lb_layers *layers, struct lb_arena *arena)
{
    drawing d = {.layers = layers, .arena = arena};
    size_t boxes = (size_t)layers->box_count + 1;
    lb_status status;

    d.items = lb_arena_alloc(arena, boxes, sizeof *d.items);
    d.first_pass = lb_arena_alloc(arena, boxes, sizeof *d.first_pass);
    d.pass_count = lb_arena_alloc(arena, boxes, sizeof *d.pass_count);
    if (!d.items || !d.first_pass || !d.pass_count)
        return LB_MEMORY;
    for (int32_t i = 0; i < layers->box_count; i++)
        d.items[i] = (item){.box = i, .half = layers->boxes[i].width / 2};
    if ((status = find_layers(&d)) || (status = add_passes(&d)) || (status = make_rows(&d)) ||
        (status = order_rows(&d)) || (status = place_rows(&d)))
        return status;
    stack_rows(&d);
    return add_lines(&d);
}
