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

/* Pixels that are seen or pixels that are hidden. */
struct layer {
    const lb_defocus_sources *s;
    uint16_t *code;
    uint8_t *slice;
    const lb_plane *const *planes;
};

/* Squares of one size: the codes from which they may be made, and need not be so even. */
struct square {
    int32_t side, least, wide;
    uint32_t mark;
};

/* The mean code of a square whose pixels are all in the first one's slice and have much the same
 * radius, wide enough; 0: they have not. */
static uint32_t common_code(const struct layer *layer, int32_t x, int32_t y,
                            const struct square *square)
{
    size_t at = lb_defocus_at(layer->s, x, y);
    int32_t side = square->side, low = layer->code[at], high = low, sum = 0;
    uint8_t slice = layer->slice[at];

    if (low < square->least || slice == LB_NO_SLICE)
        return 0;
    for (int32_t j = 0; j < side; j++, at += layer->s->stride)
        for (int32_t i = 0; i < side; i++) {
            int32_t code = layer->code[at + (size_t)i];

            if (layer->slice[at + (size_t)i] != slice || code > (int32_t)LB_DEFOCUS_CODE)
                return 0;
            low = code < low ? code : low;
            high = code > high ? code : high;
            sum += code;
        }
    if (low < square->least || high - low > 24) /* 5 per cent */
        return 0;
    return (uint32_t)((sum + side * side / 2) / (side * side));
}

static void merge_square(const struct layer *layer, int32_t x, int32_t y,
                         const struct square *square)
{
    uint32_t code = common_code(layer, x, y, square);
    size_t at = lb_defocus_at(layer->s, x, y);
    uint8_t slice = layer->slice[at];

    if (!code)
        return;
    for (int c = 0; c < 4; c++)
        if (!is_even(lb_plane_row(layer->planes[c], y) + (x - lb_plane_box(layer->planes[c]).x0),
                     lb_plane_stride(layer->planes[c]), square->side,
                     (int32_t)code >= square->wide))
            return;
    for (int32_t j = 0; j < square->side; j++)
        memset(layer->slice + at + (size_t)j * layer->s->stride, LB_NO_SLICE, (size_t)square->side);
    layer->slice[at] = slice;
    layer->code[at] = (uint16_t)(code | square->mark);
}

static int32_t up_to_multiple(int32_t i, int32_t of)
{
    int32_t rest = ((i % of) + of) % of;

    return rest ? i + of - rest : i;
}

static void merge_layer(const struct layer *layer, int32_t y0, int32_t y1)
{
    const struct square squares[2] = {
        {4, lb_disc_code(LB_DEFOCUS_QUAD_RADIUS), lb_disc_code(2 * LB_DEFOCUS_QUAD_RADIUS),
         LB_DEFOCUS_QUAD},
        {2, lb_disc_code(LB_DEFOCUS_PAIR_RADIUS), lb_disc_code(2 * LB_DEFOCUS_PAIR_RADIUS),
         LB_DEFOCUS_PAIR},
    };
    lb_box box = layer->s->box;

    for (int k = 0; k < 2; k++) {
        int32_t side = squares[k].side;

        for (int32_t y = y0; y + side <= y1 && y + side <= box.y1; y += side)
            for (int32_t x = up_to_multiple(box.x0, side); x + side <= box.x1; x += side)
                if (y >= box.y0)
                    merge_square(layer, x, y, &squares[k]);
    }
}

/* Squares of rows begin .. end - 1, counted from a multiple of four at or above the box. */
static lb_status merge_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    lb_defocus_sources *s = context;
    int32_t first = up_to_multiple(s->box.y0 - 3, 4);
    struct layer seen = {s, s->code, s->slice, s->color};
    struct layer hidden = {s, s->hidden_code, s->hidden_slice, (const lb_plane *const *)s->hidden};

    (void)worker;
    merge_layer(&seen, first + begin, first + end);
    if (s->hidden_slice)
        merge_layer(&hidden, first + begin, first + end);
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

    return (int32_t)ceil(radius) + 5; /* of a square it is two pixels more, from its middle */
}

static void look_at_pixel(uint8_t slice, uint32_t code, int32_t codes, uint64_t *slices,
                          uint32_t *widest, uint8_t *used)
{
    uint32_t plain = code & LB_DEFOCUS_CODE;

    if (slice == LB_NO_SLICE)
        return;
    *slices |= (uint64_t)1 << slice;
    *widest = plain > *widest ? plain : *widest;
    used[(int32_t)lb_defocus_kind(code) * codes + (int32_t)plain] = 1;
}

static bool has_light(const lb_plane *const planes[4], lb_box box)
{
    for (int32_t y = box.y0; y < box.y1; y++)
        for (int c = 0; c < 4; c++) {
            const float *row = lb_plane_row(planes[c], y) + (box.x0 - lb_plane_box(planes[c]).x0);

            for (int32_t x = 0; x < lb_box_width(box); x++)
                if (row[x] != 0)
                    return true;
        }
    return false;
}

static lb_defocus_block look_at_block(const lb_defocus_sources *s, lb_box box, uint8_t *used)
{
    lb_defocus_block block = {0};
    uint32_t widest = 0;

    for (int32_t y = box.y0; y < box.y1; y++) {
        size_t at = lb_defocus_at(s, box.x0, y);

        for (int32_t x = box.x0; x < box.x1; x++, at++) {
            look_at_pixel(s->slice[at], s->code[at], s->codes, &block.slices, &widest, used);
            if (s->hidden_slice)
                look_at_pixel(s->hidden_slice[at], s->hidden_code[at], s->codes, &block.hidden,
                              &widest, used);
        }
    }
    block.reach = widest ? reach_of(widest) : 0;
    /* What is hidden of a block may come from light elsewhere. */
    block.has_light = block.hidden || has_light(s->color, box);
    return block;
}

struct survey {
    lb_defocus_sources *s;
    uint8_t *used; /* as s->used, for each worker */
};

static lb_status map_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    struct survey *survey = context;
    lb_defocus_sources *s = survey->s;
    uint8_t *used = survey->used + (size_t)worker * LB_DISC_KINDS * (size_t)s->codes;

    for (int32_t y = begin; y < end; y++)
        for (int32_t x = 0; x < lb_box_width(s->blocks); x++) {
            int32_t left = (s->blocks.x0 + x) * LB_DEFOCUS_BLOCK;
            int32_t top = (s->blocks.y0 + y) * LB_DEFOCUS_BLOCK;
            lb_box box = {left, top, left + LB_DEFOCUS_BLOCK, top + LB_DEFOCUS_BLOCK};

            s->map[y * lb_box_width(s->blocks) + x] =
                look_at_block(s, lb_box_intersect(box, s->box), used);
        }
    return LB_OK;
}

static lb_status survey_all(lb_pool *pool, lb_defocus_sources *s)
{
    size_t marks = LB_DISC_KINDS * (size_t)s->codes;
    size_t workers = pool ? (size_t)lb_pool_threads(pool) : 1;
    struct survey survey = {s, lb_alloc(workers, marks)};
    lb_status status;

    if (!survey.used)
        return LB_MEMORY;
    status = lb_pool_for(pool, lb_box_height(s->blocks), 1, map_rows, &survey);
    for (size_t w = 0; w < workers; w++)
        for (size_t i = 0; i < marks; i++)
            s->used[i] |= survey.used[w * marks + i];
    lb_free(survey.used);
    return status;
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
    s->codes = lb_disc_code((float)s->max_radius) + 1;
    s->map = lb_alloc((size_t)lb_box_width(s->blocks) * (size_t)lb_box_height(s->blocks),
                      sizeof *s->map);
    s->used = lb_alloc((size_t)s->codes, LB_DISC_KINDS);
    return s->map && s->used ? survey_all(pool, s) : LB_MEMORY;
}

/* Codes and slices, of what is seen and what is hidden; five planes of what is hidden; and while it
 * is looked for two planes, two pyramids (a third more each), a row more along each side. */
size_t lb_defocus_sources_bytes(lb_box box, double max_radius)
{
    size_t width = (size_t)lb_box_width(box) + 32, height = (size_t)lb_box_height(box) + 32;
    size_t blocks = (width / LB_DEFOCUS_BLOCK + 2) * (height / LB_DEFOCUS_BLOCK + 2);
    size_t codes = (size_t)lb_disc_code((float)max_radius) + 1;
    size_t pixel = sizeof(uint16_t) + sizeof(uint8_t);

    if (codes > 1) /* else all is in focus, and nothing hidden */
        pixel += pixel + 10 * sizeof(float);
    return width * height * pixel + blocks * sizeof(lb_defocus_block) + codes * LB_DISC_KINDS * 8;
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
    lb_free(s->used);
    *s = (lb_defocus_sources){0};
}
