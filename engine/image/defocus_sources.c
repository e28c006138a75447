/* engine/image/defocus_sources.c */
#include "engine/image/defocus_sources.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/memory.h"

#define GRAIN 32 /* rows; a multiple of the largest square, so that they stay whole */
#define LARGEST (1 << (LB_DEFOCUS_SIZES - 1))

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

/* How uneven a square of pixels may be, as parts of its mean. */
struct unevenness {
    float range; /* the largest value less the smallest */
    float moved; /* what one side of a line has more than its share, in pixels */
};

/* Where the edge of a square's disc is, the picture is wrong by what the pixels to one side of it
 * hold more or less than their share, over the disc's area: at most by 0.0044 of their mean. And no
 * pixel may stand out so much that one would see its own disc. */
static struct unevenness allowed(int32_t side, double least, double radius)
{
    double wider = fmin(radius / least, 2);

    return (struct unevenness){(float)(0.25 + 2.25 * (wider - 1)),
                               (float)(side * side / 8.0 * wider * wider)};
}

static inline __attribute__((always_inline)) bool is_even_in(const float *row, ptrdiff_t stride,
                                                             int side, struct unevenness most)
{
    float low[8], high[8], across[8] = {0}, along[8], sum = 0, mean, part = 0, other = 0;

    for (int i = 0; i < side; i++)
        low[i] = high[i] = row[i];
    for (int j = 0; j < side; j++, row += stride) {
        along[j] = 0;
        for (int i = 0; i < side; i++) {
            low[i] = row[i] < low[i] ? row[i] : low[i];
            high[i] = row[i] > high[i] ? row[i] : high[i];
            across[i] += row[i];
        }
        for (int i = 0; i < side; i++)
            along[j] += row[i];
        sum += along[j];
    }
    for (int i = 1; i < side; i++) {
        low[0] = low[i] < low[0] ? low[i] : low[0];
        high[0] = high[i] > high[0] ? high[i] : high[0];
    }
    mean = fabsf(sum) / (float)(side * side);
    if (!(high[0] - low[0] <= most.range * mean + 0.002f))
        return false;
    for (int i = 0; i < side - 1; i++) {
        part += across[i] - sum / (float)side;
        other += along[i] - sum / (float)side;
        if (!(fmaxf(fabsf(part), fabsf(other)) <= most.moved * (mean + 0.002f)))
            return false;
    }
    return true;
}

static bool is_even(const float *row, ptrdiff_t stride, int32_t side, struct unevenness most)
{
    return side == 2   ? is_even_in(row, stride, 2, most)
           : side == 4 ? is_even_in(row, stride, 4, most)
                       : is_even_in(row, stride, 8, most);
}

/* Pixels that are seen or pixels that are hidden. */
struct layer {
    const lb_defocus_sources *s;
    uint16_t *code;
    uint8_t *slice;
    const lb_plane *const *planes;
};

/* Squares of one size, in discs of `least` and wider. */
struct square {
    int32_t size, side, least_code;
    double least;
};

/* The mean code of a square whose pixels are all in the first one's slice and have much the same
 * radius, wide enough; 0: they have not. */
static uint32_t common_code(const struct layer *layer, int32_t x, int32_t y,
                            const struct square *square)
{
    size_t at = lb_defocus_at(layer->s, x, y);
    int32_t side = square->side, low = layer->code[at], high = low, sum = 0;
    int32_t slice = layer->slice[at];

    if (low < square->least_code || slice == LB_NO_SLICE)
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
    if (low < square->least_code || high - low > 24) /* 5 per cent */
        return 0;
    return (uint32_t)((sum + side * side / 2) / (side * side));
}

static void merge_square(const struct layer *layer, int32_t x, int32_t y,
                         const struct square *square)
{
    uint32_t code = common_code(layer, x, y, square);
    size_t at = lb_defocus_at(layer->s, x, y);
    uint8_t slice = layer->slice[at];
    struct unevenness most;

    if (!code)
        return;
    most = allowed(square->side, square->least, lb_disc_code_radius((int32_t)code));
    for (int c = 0; c < 4; c++)
        if (!is_even(lb_plane_row(layer->planes[c], y) + (x - lb_plane_box(layer->planes[c]).x0),
                     lb_plane_stride(layer->planes[c]), square->side, most))
            return;
    for (int32_t j = 0; j < square->side; j++)
        memset(layer->slice + at + (size_t)j * layer->s->stride, LB_NO_SLICE, (size_t)square->side);
    layer->slice[at] = slice;
    layer->code[at] = (uint16_t)(code | (uint32_t)square->size << LB_DEFOCUS_SIZE_BIT);
}

static int32_t up_to_multiple(int32_t i, int32_t of)
{
    int32_t rest = ((i % of) + of) % of;

    return rest ? i + of - rest : i;
}

static void merge_layer(const struct layer *layer, int32_t y0, int32_t y1)
{
    static const float least[LB_DEFOCUS_SIZES] = {0, LB_DEFOCUS_SQUARE_RADIUS, 12, 24};
    lb_box box = layer->s->box;

    for (int32_t size = LB_DEFOCUS_SIZES - 1; size > 0; size--) {
        struct square square = {size, 1 << size, lb_disc_code(least[size]), (double)least[size]};

        for (int32_t y = y0; y + square.side <= y1 && y + square.side <= box.y1; y += square.side)
            for (int32_t x = up_to_multiple(box.x0, square.side); x + square.side <= box.x1;
                 x += square.side)
                if (y >= box.y0)
                    merge_square(layer, x, y, &square);
    }
}

/* Squares of rows begin .. end - 1, counted from a multiple of the largest at or above the box. */
static lb_status merge_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    lb_defocus_sources *s = context;
    int32_t first = up_to_multiple(s->box.y0 - LARGEST + 1, LARGEST);
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

lb_status lb_defocus_merge(lb_pool *pool, lb_defocus_sources *s)
{
    if (s->max_radius < (double)LB_DEFOCUS_SQUARE_RADIUS)
        return LB_OK;
    return lb_pool_for(pool, lb_box_height(s->box) + LARGEST, GRAIN, merge_rows, s);
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
    return width * height * pixel + blocks * sizeof(lb_defocus_block) + codes * 8;
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
