/* engine/image/defocus_discs.c */
#include "engine/image/defocus_discs.h"

#include <math.h>

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
};

static void add_step(struct builder *b, double delta, int32_t dx)
{
    if (b->failed || !lb_grow((void **)&b->discs->steps, &b->step_room, b->step_count,
                              sizeof *b->discs->steps)) {
        b->failed = true;
        return;
    }
    b->discs->steps[b->step_count++] = (lb_disc_step){delta, dx};
}

static void begin_row(struct builder *b)
{
    if (b->failed ||
        !lb_grow((void **)&b->discs->first, &b->row_room, b->row_count, sizeof *b->discs->first)) {
        b->failed = true;
        return;
    }
    b->discs->first[b->row_count++] = (int32_t)b->step_count;
}

/* Coverage of the cell dx columns and j rows from the middle. */
static double coverage(double r, bool cornered, int32_t dx, int32_t j)
{
    if (cornered)
        return lb_disc_area(r, dx, dx + 1, j, j + 1);
    return lb_disc_weight(r, dx, j) * LB_PI * r * r;
}

/* From outside in: a step wherever the coverage changes, and what is wholly covered needs none. */
static void add_row(struct builder *b, double r, bool cornered, int32_t j)
{
    double shift = cornered ? 0 : 0.5, outer = j - shift > 0 ? j - shift : 0, inner = j + 1 - shift;
    int32_t dx = (int32_t)ceil(sqrt(fmax(r * r - outer * outer, 0)) + shift), last = -1;
    double before = 0, here;

    if (inner < r) /* columns up to `last` are wholly covered */
        last = (int32_t)floor(sqrt(r * r - inner * inner) + shift) - 1;
    begin_row(b);
    for (; dx > last; dx--) {
        here = coverage(r, cornered, dx, j);
        if (here > before)
            add_step(b, here - before, dx);
        before = fmax(before, here);
    }
    if (last >= 0 && before < 1)
        add_step(b, 1 - before, last);
}

static void add_place(struct builder *b, double delta, int32_t rises, int32_t falls)
{
    if (b->failed || !lb_grow((void **)&b->discs->places, &b->place_room, b->place_count,
                              sizeof *b->discs->places)) {
        b->failed = true;
        return;
    }
    b->discs->places[b->place_count++] = (lb_disc_place){delta, rises, falls};
}

/* From the topmost row down. */
static void add_places(struct builder *b, lb_disc_shape *shape, bool cornered)
{
    int32_t shift = cornered ? 1 : 0;

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

static lb_disc_shape add_disc(struct builder *b, double r, bool cornered)
{
    lb_disc_shape shape = {.row = (int32_t)b->row_count, .scale = (float)(1 / (LB_PI * r * r))};
    double shift = cornered ? 0 : 0.5;

    for (; shape.height - shift < r; shape.height++)
        add_row(b, r, cornered, shape.height);
    begin_row(b); /* the end of the last row */
    if (r <= LB_DISC_WHOLE_RADIUS && !b->failed)
        add_places(b, &shape, cornered);
    return shape;
}

lb_status lb_discs_new(double max_radius, int32_t cornered_from, int32_t stride, lb_discs *out)
{
    struct builder b = {.discs = out, .stride = stride};

    *out = (lb_discs){.count = lb_disc_code((float)max_radius) + 1};
    out->centred = lb_alloc((size_t)out->count, sizeof *out->centred);
    out->cornered = lb_alloc((size_t)out->count, sizeof *out->cornered);
    b.failed = !out->centred || !out->cornered;
    for (int32_t code = 1; code < out->count && !b.failed; code++) {
        double r = lb_disc_code_radius(code);

        out->centred[code] = add_disc(&b, r, false);
        if (code >= cornered_from)
            out->cornered[code] = add_disc(&b, r, true);
    }
    if (b.failed)
        lb_discs_clear(out);
    return b.failed ? LB_MEMORY : LB_OK;
}

void lb_discs_clear(lb_discs *discs)
{
    lb_free(discs->centred);
    lb_free(discs->cornered);
    lb_free(discs->first);
    lb_free(discs->steps);
    lb_free(discs->places);
    *discs = (lb_discs){0};
}
