/* engine/cli/diff_picture.c */
#include "engine/cli/diff_picture.h"

#include <math.h>
#include <string.h>

#define GAP 4 /* pixels between pictures */

static const float gap_light = 0.18f; /* a middle grey, so that it shows beside black and white */

/* What the three pictures of a row cover. */
static lb_box panel_of(const lb_beside *pair)
{
    return lb_box_unite(lb_image_display(pair->images[0]), lb_image_display(pair->images[1]));
}

/* ---- The difference ---- */

/* Which channels make red, green and blue of the difference. */
typedef struct contrast {
    const lb_beside *pair;
    const char *names[2][3]; /* NULL: all channels, as grey */
    bool is_grey;
    float *a, *b; /* a row each */
} contrast;

/* NaN beside a number counts as infinity. */
static float distance(float a, float b)
{
    if (a == b || (isnan(a) && isnan(b)))
        return 0;
    return isnan(a) || isnan(b) ? INFINITY : fabsf(a - b);
}

static void add_distances(const contrast *c, const char *a, const char *b, int32_t y, float *out)
{
    lb_box window = c->pair->comparison->window;

    lb_compare_row(c->pair->images[0], a, window, y, c->a);
    lb_compare_row(c->pair->images[1], b, window, y, c->b);
    for (int32_t x = 0; x < lb_box_width(window); x++)
        out[x] = fmaxf(out[x], distance(c->a[x], c->b[x]));
}

/* Row y of the comparison's window for red, green or blue, not multiplied. */
static void contrast_row(const contrast *c, int colour, int32_t y, float *out)
{
    const lb_comparison *comparison = c->pair->comparison;

    for (int32_t x = 0; x < lb_box_width(comparison->window); x++)
        out[x] = 0;
    if (!c->is_grey)
        add_distances(c, c->names[0][colour], c->names[1][colour], y, out);
    for (int32_t i = 0; c->is_grey && i < comparison->channel_count; i++)
        if (comparison->channels[i].count > 0)
            add_distances(c, comparison->channels[i].name, comparison->channels[i].name, y, out);
}

/* The largest finite difference; *any tells whether there is one at all. */
static double largest_of(const contrast *c, float *row, bool *any)
{
    lb_box window = c->pair->comparison->window;
    float largest = 0;

    *any = false;
    for (int32_t y = window.y0; y < window.y1; y++)
        for (int colour = 0; colour < (c->is_grey ? 1 : 3); colour++) {
            contrast_row(c, colour, y, row);
            for (int32_t x = 0; x < lb_box_width(window); x++) {
                *any = *any || row[x] > 0;
                if (row[x] > largest && !isinf(row[x]))
                    largest = row[x];
            }
        }
    return (double)largest;
}

/* Decides what the difference is made of and how much larger it is shown. */
static void begin_contrast(lb_beside *pair, float *rows, int32_t width, contrast *out)
{
    bool any = false;
    double largest = 0;

    *out = (contrast){.pair = pair, .a = rows, .b = rows + width};
    for (int side = 0; side < 2; side++)
        out->is_grey = !lb_compare_shown(pair->images[side], out->names[side]) || out->is_grey;
    if (!out->is_grey)
        largest = largest_of(out, rows + 2 * (size_t)width, &any);
    if (!any) {
        out->is_grey = true;
        largest = largest_of(out, rows + 2 * (size_t)width, &any);
    }
    pair->factor = any ? largest > 0 ? 1 / largest : 1 : 0;
}

/* ---- The picture ---- */

/* A row of one of both pictures in the first one's space, into three rows of the whole. */
static void fill_shown(const lb_beside *pair, int side, lb_space working, int32_t y,
                       float *const out[3])
{
    const char *names[3];
    lb_box panel = panel_of(pair);
    bool has_colour = lb_compare_shown(pair->images[side], names);

    for (int c = 0; c < 3 && has_colour; c++)
        lb_compare_row(pair->images[side], names[c], panel, y, out[c]);
    if (has_colour && pair->working[side] != working)
        lb_space_convert_row(pair->working[side], working, out[0], out[1], out[2],
                             lb_box_width(panel));
}

static void fill_contrast(const contrast *c, int32_t y, float *row, float *const out[3])
{
    lb_box window = c->pair->comparison->window, panel = panel_of(c->pair);
    float factor = (float)c->pair->factor;

    if (y < window.y0 || y >= window.y1)
        return;
    for (int colour = 0; colour < 3; colour++) {
        contrast_row(c, colour, y, row);
        for (int32_t x = 0; x < lb_box_width(window); x++)
            out[colour][window.x0 - panel.x0 + x] = row[x] > 0 ? fminf(row[x] * factor, 1) : 0;
    }
}

static lb_status fill_pair(lb_beside *pair, lb_space working, int32_t top, lb_plane *planes[3])
{
    lb_box panel = panel_of(pair);
    int32_t width = lb_box_width(panel);
    float *rows = lb_alloc((size_t)width, 3 * sizeof *rows);
    contrast c;

    if (!rows)
        return LB_MEMORY;
    begin_contrast(pair, rows, width, &c);
    for (int32_t y = panel.y0; y < panel.y1; y++) {
        float *out[3][3]; /* of a picture, of a colour */

        for (int colour = 0; colour < 3; colour++) {
            float *row = lb_plane_row_to_fill(planes[colour], top + y - panel.y0);

            for (int i = 0; i < 3; i++) {
                out[i][colour] = row + (size_t)i * (size_t)(width + GAP);
                memset(out[i][colour], 0, (size_t)width * sizeof(float));
            }
        }
        fill_shown(pair, 0, working, y, out[0]);
        fill_shown(pair, 1, working, y, out[1]);
        fill_contrast(&c, y, rows + 2 * (size_t)width, out[2]);
    }
    lb_free(rows);
    return LB_OK;
}

/* Gaps everywhere, to be filled with pictures. */
static lb_status begin_planes(lb_box box, lb_plane *planes[3])
{
    for (int c = 0; c < 3; c++) {
        lb_status status = lb_plane_new_raw(box, &planes[c]);

        if (status != LB_OK)
            return status;
        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = 0; x < lb_box_width(box); x++)
                lb_plane_row_to_fill(planes[c], y)[x] = gap_light;
    }
    return LB_OK;
}

static lb_status size_of(const lb_beside *pairs, int32_t count, lb_box *out)
{
    int64_t width = 0, height = (int64_t)GAP * (count - 1);

    for (int32_t i = 0; i < count; i++) {
        lb_box panel = panel_of(&pairs[i]);
        int64_t w = 3 * (int64_t)lb_box_width(panel) + 2 * GAP;

        width = w > width ? w : width;
        height += lb_box_height(panel);
    }
    if (width > LB_BOX_LIMIT || height > LB_BOX_LIMIT)
        return LB_LIMIT;
    *out = (lb_box){0, 0, (int32_t)width, (int32_t)height};
    return LB_OK;
}

lb_status lb_beside_image(lb_beside *pairs, int32_t count, lb_image **out)
{
    static const char *const names[] = {"R", "G", "B"};
    lb_plane *planes[3] = {NULL};
    int32_t top = 0;
    lb_box box;
    lb_status status = size_of(pairs, count, &box);

    *out = NULL;
    if (status == LB_OK && (status = begin_planes(box, planes)) == LB_OK)
        status = lb_image_new(box, box, out);
    for (int32_t i = 0; i < count && status == LB_OK; i++) {
        status = fill_pair(&pairs[i], pairs[0].working[0], top, planes);
        top += lb_box_height(panel_of(&pairs[i])) + GAP;
    }
    for (int c = 0; c < 3 && status == LB_OK; c++)
        status = lb_image_add(*out, names[c], planes[c]);
    for (int c = 0; c < 3; c++)
        lb_plane_unref(&planes[c]);
    if (status != LB_OK && *out)
        lb_image_unref(out);
    return status;
}
