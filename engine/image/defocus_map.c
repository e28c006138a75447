/* engine/image/defocus_map.c: which parts of a picture can reach which others. */
#include <math.h>

#include "engine/base/memory.h"
#include "engine/image/defocus_tile.h"

static int32_t floor_div(int32_t i, int32_t n)
{
    return i >= 0 ? i / n : -((n - 1 - i) / n);
}

static int32_t reach_of(uint32_t code)
{
    return (int32_t)ceil(lb_disc_code_radius((int32_t)code)) + 1;
}

/* The squares of a layer in a part of a row, by size. Neighbours are often alike. */
static void look_at_row(const uint8_t *slice, const uint16_t *code, int32_t count,
                        uint64_t squares[LB_DEFOCUS_SIZES], uint32_t *widest, uint8_t *used)
{
    uint32_t last = (uint32_t)LB_NO_SLICE << 16;

    for (int32_t x = 0; x < count; x++) {
        uint32_t both = (uint32_t)slice[x] << 16 | code[x], plain = code[x] & LB_DEFOCUS_CODE;

        if (slice[x] == LB_NO_SLICE || both == last)
            continue;
        last = both;
        squares[lb_defocus_size(code[x])] |= (uint64_t)1 << slice[x];
        *widest = plain > *widest ? plain : *widest;
        used[plain] = 1;
    }
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
    uint64_t hidden = 0;
    uint32_t widest = 0;

    for (int32_t y = box.y0; y < box.y1; y++) {
        size_t at = lb_defocus_at(s, box.x0, y);
        int32_t count = lb_box_width(box);

        look_at_row(s->slice + at, s->code + at, count, block.seen, &widest, used);
        if (s->hidden_slice)
            look_at_row(s->hidden_slice + at, s->hidden_code + at, count, block.hidden, &widest,
                        used);
    }
    block.reach = widest ? reach_of(widest) : 0;
    for (int32_t size = 0; size < LB_DEFOCUS_SIZES; size++)
        hidden |= block.hidden[size];
    /* What is hidden of a block may come from light elsewhere. */
    block.has_light = hidden || has_light(s->color, box);
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
    uint8_t *used = survey->used + (size_t)worker * (size_t)s->codes;

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
    size_t marks = (size_t)s->codes;
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
    s->blocks =
        (lb_box){floor_div(s->box.x0, LB_DEFOCUS_BLOCK), floor_div(s->box.y0, LB_DEFOCUS_BLOCK),
                 floor_div(s->box.x1 - 1, LB_DEFOCUS_BLOCK) + 1,
                 floor_div(s->box.y1 - 1, LB_DEFOCUS_BLOCK) + 1};
    s->codes = lb_disc_code((float)s->max_radius) + 1;
    s->map = lb_alloc((size_t)lb_box_width(s->blocks) * (size_t)lb_box_height(s->blocks),
                      sizeof *s->map);
    s->used = lb_alloc((size_t)s->codes, sizeof *s->used);
    return s->map && s->used ? survey_all(pool, s) : LB_MEMORY;
}

lb_box lb_defocus_blocks_near(const lb_defocus_sources *s, lb_box box)
{
    int32_t reach = (int32_t)ceil(s->max_radius) + 6;
    lb_box near = lb_box_intersect(lb_box_grow(box, reach, reach), s->box);

    if (lb_box_is_empty(near))
        return near;
    return (lb_box){floor_div(near.x0, LB_DEFOCUS_BLOCK), floor_div(near.y0, LB_DEFOCUS_BLOCK),
                    floor_div(near.x1 - 1, LB_DEFOCUS_BLOCK) + 1,
                    floor_div(near.y1 - 1, LB_DEFOCUS_BLOCK) + 1};
}

bool lb_defocus_reaches(const lb_defocus_block *block, int32_t x, int32_t y, lb_box box)
{
    lb_box around = lb_box_grow(lb_defocus_block_box(x, y), block->reach, block->reach);

    return !lb_box_is_empty(lb_box_intersect(around, box));
}

lb_defocus_near lb_defocus_find_near(const lb_defocus_sources *s, lb_box box)
{
    lb_box blocks = lb_defocus_blocks_near(s, box);
    lb_defocus_near near = {0, false};

    for (int32_t y = blocks.y0; y < blocks.y1; y++)
        for (int32_t x = blocks.x0; x < blocks.x1; x++) {
            const lb_defocus_block *block = lb_defocus_block_at(s, x, y);

            if (lb_defocus_reaches(block, x, y, box)) {
                for (int32_t size = 0; size < LB_DEFOCUS_SIZES; size++)
                    near.slices |= block->seen[size] | block->hidden[size];
                near.has_light |= block->has_light;
            }
        }
    return near;
}

lb_defocus_fate lb_defocus_fate_of(const lb_defocus_sources *s, lb_box box)
{
    lb_defocus_near near = lb_defocus_find_near(s, box);

    if (!near.has_light)
        return LB_DEFOCUS_EMPTY;
    return near.slices & ~((uint64_t)1 << lb_slice_focus(s->slices)) ? LB_DEFOCUS_BLURRED
                                                                     : LB_DEFOCUS_SHARP;
}
