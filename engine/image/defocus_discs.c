/* engine/image/defocus_discs.c */
#include "engine/image/defocus_discs.h"

#include <math.h>
#include <string.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/base/memory.h"
#include "engine/image/convolve.h"

double lb_disc_code_radius(int32_t code)
{
    return code ? (double)LB_DISC_SMALLEST * lb_exp2((double)code / LB_DISC_STEPS_PER_OCTAVE)
                : (double)LB_DISC_SMALLEST;
}

static inline int32_t code_of(float radius)
{
    float octaves = lb_log2f(radius > LB_DISC_SMALLEST ? radius / LB_DISC_SMALLEST : 1.0f);

    return (int32_t)(octaves * LB_DISC_STEPS_PER_OCTAVE + 0.5f);
}

int32_t lb_disc_code(float radius)
{
    return code_of(radius);
}

LB_CLONES
void lb_disc_code_row(const float *restrict radius, float most, int32_t *restrict codes,
                      int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float away = fabsf(radius[x]);

        codes[x] = code_of(away > most ? most : away);
    }
}

/* Where the discs are written; `failed` once there was no room. */
struct builder {
    lb_discs *discs;
    int32_t stride;
    size_t row_count, row_room, step_count, step_room, place_count, place_room;
    bool failed;
    /* The disc at hand: coverage of cell (x, y) from a pixel's middle at x + side y, -1 until it
     * is asked for. */
    double radius;
    double *cells;
    int32_t side;
};

static bool make_room(struct builder *b, void **items, size_t *room, size_t count, size_t size)
{
    b->failed = b->failed || !lb_grow(items, room, count, size);
    return !b->failed;
}

static void add_step(struct builder *b, double delta, int32_t dx)
{
    if (make_room(b, (void **)&b->discs->steps, &b->step_room, b->step_count,
                  sizeof *b->discs->steps))
        b->discs->steps[b->step_count++] = (lb_disc_step){delta, dx};
}

static void begin_row(struct builder *b)
{
    if (make_room(b, (void **)&b->discs->first, &b->row_room, b->row_count,
                  sizeof *b->discs->first))
        b->discs->first[b->row_count++] = (int32_t)b->step_count;
}

static void add_place(struct builder *b, double delta, int32_t rises, int32_t falls)
{
    if (make_room(b, (void **)&b->discs->places, &b->place_room, b->place_count,
                  sizeof *b->discs->places))
        b->discs->places[b->place_count++] = (lb_disc_place){delta, rises, falls};
}

static double cell(struct builder *b, int32_t x, int32_t y)
{
    double *kept;

    x = x < 0 ? -x : x;
    y = y < 0 ? -y : y;
    if (x >= b->side || y >= b->side)
        return 0;
    kept = &b->cells[x + b->side * y];
    if (*kept < 0)
        *kept = lb_disc_weight(b->radius, x, y) * LB_PI * b->radius * b->radius;
    return *kept;
}

/* Half the pixels of a square's side: those at -half .. half - 1 from the corner. */
static int32_t half_of(lb_disc_kind kind)
{
    return kind == LB_DISC_QUAD ? 2 : kind == LB_DISC_PAIR ? 1 : 0;
}

static double coverage(struct builder *b, lb_disc_kind kind, int32_t dx, int32_t j)
{
    int32_t half = half_of(kind);
    double sum = 0;

    if (!half)
        return cell(b, dx, j);
    for (int32_t y = -half; y < half; y++)
        for (int32_t x = -half; x < half; x++)
            sum += cell(b, dx - x, j - y);
    return sum / (4 * half * half);
}

/* From outside in: a step wherever the coverage changes, and what is wholly covered needs none. */
static void add_row(struct builder *b, lb_disc_kind kind, int32_t j)
{
    int32_t half = half_of(kind), nearest = half ? j - half + 1 : j, last = -1, dx;
    double r = b->radius, outer = nearest > 0 ? nearest - 0.5 : 0, inner = j + half + 0.5;
    double before = 0, here;

    dx = (int32_t)ceil(sqrt(fmax(r * r - outer * outer, 0)) + 0.5) + half;
    if (inner < r) /* columns up to `last` are wholly covered */
        last = (int32_t)floor(sqrt(r * r - inner * inner) - 0.5) - half;
    last = last < -1 ? -1 : last;
    begin_row(b);
    for (; dx > last; dx--) {
        here = coverage(b, kind, dx, j);
        if (here > before)
            add_step(b, here - before, dx);
        before = fmax(before, here);
    }
    if (last >= 0 && before < 1)
        add_step(b, 1 - before, last);
}

/* From the topmost row down. */
static void add_places(struct builder *b, lb_disc_shape *shape, lb_disc_kind kind)
{
    int32_t shift = kind == LB_DISC_ONE ? 0 : 1;

    shape->place = (int32_t)b->place_count;
    for (int32_t row = 1 - shape->height - shift; row < shape->height && !b->failed; row++) {
        int32_t away = row >= 0 ? row : -shift - row;

        for (int32_t i = b->discs->first[shape->row + away];
             i < b->discs->first[shape->row + away + 1]; i++) {
            int32_t dx = (int32_t)b->discs->steps[i].dx;

            add_place(b, b->discs->steps[i].delta, row * b->stride - shift - dx,
                      row * b->stride + 1 + dx);
        }
    }
    shape->place_end = (int32_t)b->place_count;
}

static void add_disc(struct builder *b, lb_disc_kind kind, int32_t code)
{
    double r = b->radius;
    lb_disc_shape shape = {.row = (int32_t)b->row_count, .scale = (float)(1 / (LB_PI * r * r))};
    int32_t half = half_of(kind);

    shape.height = (int32_t)ceil(r - 0.5) + (half ? half : 1);
    for (int32_t j = 0; j < shape.height; j++)
        add_row(b, kind, j);
    begin_row(b); /* the end of the last row */
    if (r <= LB_DISC_WHOLE_RADIUS && !b->failed)
        add_places(b, &shape, kind);
    b->discs->shapes[kind][code] = shape;
}

static void add_code(struct builder *b, const uint8_t *const used[LB_DISC_KINDS], int32_t code)
{
    b->radius = lb_disc_code_radius(code);
    b->side = (int32_t)ceil(b->radius) + 2;
    if (!(b->cells = lb_alloc((size_t)b->side * (size_t)b->side, sizeof *b->cells))) {
        b->failed = true;
        return;
    }
    for (int32_t i = 0; i < b->side * b->side; i++)
        b->cells[i] = -1;
    for (int kind = 0; kind < LB_DISC_KINDS; kind++)
        if (used[kind][code])
            add_disc(b, (lb_disc_kind)kind, code);
    lb_free(b->cells);
}

lb_status lb_discs_new(const uint8_t *const used[LB_DISC_KINDS], int32_t least, int32_t count,
                       int32_t stride, lb_discs *out)
{
    struct builder b = {.discs = out, .stride = stride};

    memset(out, 0, sizeof *out);
    for (int kind = 0; kind < LB_DISC_KINDS; kind++) {
        out->shapes[kind] = lb_alloc((size_t)count, sizeof *out->shapes[kind]);
        b.failed = b.failed || !out->shapes[kind];
    }
    for (int32_t code = least; code < count && !b.failed; code++)
        if (used[0][code] || used[1][code] || used[2][code])
            add_code(&b, used, code);
    if (b.failed)
        lb_discs_clear(out);
    return b.failed ? LB_MEMORY : LB_OK;
}

void lb_discs_clear(lb_discs *discs)
{
    for (int kind = 0; kind < LB_DISC_KINDS; kind++)
        lb_free(discs->shapes[kind]);
    lb_free(discs->first);
    lb_free(discs->steps);
    lb_free(discs->places);
    memset(discs, 0, sizeof *discs);
}
