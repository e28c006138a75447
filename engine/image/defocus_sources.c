/* engine/image/defocus_sources.c */
#include "engine/image/defocus_sources.h"

#include <math.h>
#include <string.h>

#include "engine/base/memory.h"

#define GRAIN 32 /* a multiple of four, so that squares stay whole */

lb_slices lb_slices_for(double max_radius)
{
    return (lb_slices){lb_disc_code((float)max_radius) * 2 / LB_DISC_STEPS_PER_OCTAVE + 1};
}

int32_t lb_slice_of(lb_slices slices, int32_t code, bool in_front)
{
    int32_t away = code * 2 / LB_DISC_STEPS_PER_OCTAVE;

    if (code == 0)
        return slices.side;
    return in_front ? slices.side - 1 - away : slices.side + 1 + away;
}

static void classify_row(lb_defocus_sources *s, int32_t y, int32_t *codes)
{
    const float *radius = lb_plane_row(s->radius, y) + (s->box.x0 - lb_plane_box(s->radius).x0);
    uint16_t *code = s->code + lb_defocus_at(s, s->box.x0, y);
    uint8_t *slice = s->slice + lb_defocus_at(s, s->box.x0, y);
    uint64_t found = 0;

    lb_disc_code_row(radius, (float)s->max_radius, codes, lb_box_width(s->box));
    for (int32_t x = 0; x < lb_box_width(s->box); x++) {
        code[x] = (uint16_t)codes[x];
        slice[x] = (uint8_t)lb_slice_of(s->slices, codes[x], radius[x] < 0);
        found |= (uint64_t)1 << slice[x];
    }
    s->rows[y - s->box.y0] = found;
}

/* ---- Squares of pixels spread as one ---- */

/* Whether no value stands out. In a disc that is only just wide enough they must be much the same;
 * in one twice as wide it is enough that none holds most of the square's light. */
static bool is_even(const float *row, ptrdiff_t stride, int32_t side, bool wide)
{
    float low = row[0], high = row[0], sum = 0;

    for (int32_t j = 0; j < side; j++, row += stride)
        for (int32_t i = 0; i < side; i++) {
            low = row[i] < low ? row[i] : low;
            high = row[i] > high ? row[i] : high;
            sum += row[i];
        }
    return high - low <= (wide ? 2.5f : 0.25f) * fabsf(sum) / (float)(side * side) + 0.002f;
}

/* The mean code of a square whose pixels are all in the first one's slice and have much the same
 * radius, at least `least`; 0: they have not. */
static uint32_t common_code(const lb_defocus_sources *s, int32_t x, int32_t y, int32_t side,
                            int32_t least)
{
    size_t at = lb_defocus_at(s, x, y);
    int32_t low = s->code[at], high = low, sum = 0;
    uint8_t slice = s->slice[at];

    if (low < least || slice == LB_NO_SLICE)
        return 0;
    for (int32_t j = 0; j < side; j++, at += s->stride)
        for (int32_t i = 0; i < side; i++) {
            int32_t code = s->code[at + (size_t)i];

            if (s->slice[at + (size_t)i] != slice || code > (int32_t)LB_DEFOCUS_CODE)
                return 0;
            low = code < low ? code : low;
            high = code > high ? code : high;
            sum += code;
        }
    if (low < least || high - low > 24) /* 5 per cent */
        return 0;
    return (uint32_t)((sum + side * side / 2) / (side * side));
}

static void merge_square(lb_defocus_sources *s, int32_t x, int32_t y, int32_t side)
{
    float radius = side == 2 ? LB_DEFOCUS_PAIR_RADIUS : LB_DEFOCUS_QUAD_RADIUS;
    uint32_t code = common_code(s, x, y, side, lb_disc_code(radius));
    size_t at = lb_defocus_at(s, x, y);
    uint8_t slice = s->slice[at];
    bool wide = (int32_t)code >= lb_disc_code(2 * radius);

    if (!code)
        return;
    for (int c = 0; c < 4; c++)
        if (!is_even(lb_plane_row(s->color[c], y) + (x - lb_plane_box(s->color[c]).x0),
                     lb_plane_stride(s->color[c]), side, wide))
            return;
    for (int32_t j = 0; j < side; j++)
        memset(s->slice + at + (size_t)j * s->stride, LB_NO_SLICE, (size_t)side);
    s->slice[at] = slice;
    s->code[at] = (uint16_t)(code | (side == 2 ? LB_DEFOCUS_PAIR : LB_DEFOCUS_QUAD));
}

static int32_t up_to_multiple(int32_t i, int32_t of)
{
    int32_t rest = ((i % of) + of) % of;

    return rest ? i + of - rest : i;
}

/* Squares of rows begin .. end - 1, counted from a multiple of four at or above the box. */
static lb_status merge_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    lb_defocus_sources *s = context;
    int32_t first = up_to_multiple(s->box.y0 - 3, 4);

    (void)worker;
    for (int32_t side = 4; side >= 2; side /= 2)
        for (int32_t y = first + begin; y + side <= first + end && y + side <= s->box.y1; y += side)
            for (int32_t x = up_to_multiple(s->box.x0, side); x + side <= s->box.x1; x += side)
                if (y >= s->box.y0)
                    merge_square(s, x, y, side);
    return LB_OK;
}

static lb_status classify_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    lb_defocus_sources *s = context;
    int32_t *codes = lb_block_new(s->stride * sizeof *codes);

    (void)worker;
    if (!codes)
        return LB_MEMORY;
    for (int32_t y = begin; y < end; y++)
        classify_row(s, s->box.y0 + y, codes);
    lb_block_free(codes);
    return LB_OK;
}

lb_status lb_defocus_sources_new(lb_pool *pool, const lb_plane *const color[4],
                                 const lb_plane *radius, double max_radius, lb_box box,
                                 lb_defocus_sources *out)
{
    size_t pixels;
    lb_status status = LB_MEMORY;

    *out = (lb_defocus_sources){.box = box, .radius = radius, .max_radius = max_radius};
    out->slices = lb_slices_for(max_radius);
    out->stride = (size_t)lb_box_width(box);
    memcpy(out->color, color, sizeof out->color);
    if (!lb_size_mul(out->stride, (size_t)lb_box_height(box), &pixels))
        return LB_LIMIT;
    out->code = lb_block_new(pixels * sizeof *out->code);
    out->slice = lb_block_new(pixels * sizeof *out->slice);
    out->rows = lb_alloc((size_t)lb_box_height(box), sizeof *out->rows);
    if (out->code && out->slice && out->rows)
        status = lb_pool_for(pool, lb_box_height(box), GRAIN, classify_rows, out);
    if (status)
        lb_defocus_sources_clear(out);
    return status;
}

static int32_t floor_div(int32_t i, int32_t n)
{
    return i >= 0 ? i / n : -((n - 1 - i) / n);
}

static int32_t reach_of(uint32_t code)
{
    double radius = lb_disc_code_radius((int32_t)(code & LB_DEFOCUS_CODE));

    return (int32_t)ceil(radius) + 3; /* the middle of a square is two pixels off its first one */
}

static lb_defocus_block look_at_block(const lb_defocus_sources *s, lb_box box)
{
    lb_defocus_block block = {0};
    uint32_t widest = 0;

    for (int32_t y = box.y0; y < box.y1; y++) {
        size_t at = lb_defocus_at(s, box.x0, y);

        for (int32_t x = box.x0; x < box.x1; x++, at++) {
            uint32_t code = s->code[at] & LB_DEFOCUS_CODE;

            if (s->slice[at] != LB_NO_SLICE) {
                block.slices |= (uint64_t)1 << s->slice[at];
                widest = code > widest ? code : widest;
            }
            if (s->hidden_slice && s->hidden_slice[at] != LB_NO_SLICE) {
                block.hidden |= (uint64_t)1 << s->hidden_slice[at];
                widest = s->hidden_code[at] > widest ? s->hidden_code[at] : widest;
            }
        }
    }
    block.reach = widest ? reach_of(widest) : 0;
    return block;
}

static lb_status map_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    lb_defocus_sources *s = context;

    (void)worker;
    for (int32_t y = begin; y < end; y++)
        for (int32_t x = 0; x < lb_box_width(s->blocks); x++) {
            int32_t left = (s->blocks.x0 + x) * LB_DEFOCUS_BLOCK;
            int32_t top = (s->blocks.y0 + y) * LB_DEFOCUS_BLOCK;
            lb_box box = {left, top, left + LB_DEFOCUS_BLOCK, top + LB_DEFOCUS_BLOCK};

            s->map[y * lb_box_width(s->blocks) + x] =
                look_at_block(s, lb_box_intersect(box, s->box));
        }
    return LB_OK;
}

lb_status lb_defocus_map(lb_pool *pool, lb_defocus_sources *s)
{
    lb_status status = LB_OK;

    if (s->max_radius >= (double)LB_DEFOCUS_PAIR_RADIUS)
        status = lb_pool_for(pool, lb_box_height(s->box) + 4, GRAIN, merge_rows, s);
    if (status)
        return status;
    s->blocks =
        (lb_box){floor_div(s->box.x0, LB_DEFOCUS_BLOCK), floor_div(s->box.y0, LB_DEFOCUS_BLOCK),
                 floor_div(s->box.x1 - 1, LB_DEFOCUS_BLOCK) + 1,
                 floor_div(s->box.y1 - 1, LB_DEFOCUS_BLOCK) + 1};
    s->map = lb_alloc((size_t)lb_box_width(s->blocks) * (size_t)lb_box_height(s->blocks),
                      sizeof *s->map);
    if (!s->map)
        return LB_MEMORY;
    return lb_pool_for(pool, lb_box_height(s->blocks), 1, map_rows, s);
}

void lb_defocus_sources_clear(lb_defocus_sources *s)
{
    lb_block_free(s->code);
    lb_block_free(s->slice);
    lb_block_free(s->hidden_code);
    lb_block_free(s->hidden_slice);
    for (int c = 0; c < 5; c++)
        lb_plane_unref(&s->hidden[c]);
    lb_free(s->rows);
    lb_free(s->map);
    *s = (lb_defocus_sources){0};
}
