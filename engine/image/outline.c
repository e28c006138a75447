/* engine/image/outline.c: area coverage by signed sums.
 *
 * Each edge adds, in every row that it crosses, what it changes in the area to its right from one
 * pixel to the next; the running sum along the row is the winding number, weighted with area. */
#include "engine/image/outline.h"

#include <math.h>
#include <string.h>

#include "engine/base/clones.h"

#define MOST_EDGES ((size_t)1 << 24)
#define MOST_COORDINATE ((double)LB_BOX_LIMIT)
/* Heights on a grid add up to exactly 0 over a closed contour. */
#define GRID 65536.0
/* A chord lies within the curve's hull on one side, so this is well below 1 % of a pixel's area. */
#define FLATNESS 0.0025
#define MOST_PIECES 4096

void lb_outline_clear(lb_outline *outline)
{
    lb_free(outline->edges);
    *outline = (lb_outline){0};
}

static double on_grid(double value)
{
    if (!(fabs(value) <= MOST_COORDINATE))
        return value > 0 ? MOST_COORDINATE : value < 0 ? -MOST_COORDINATE : 0;
    return rint(value * GRID) / GRID;
}

static void add_edge(lb_outline *outline, double x0, double y0, double x1, double y1)
{
    if (y0 == y1 || outline->failed)
        return;
    if (outline->count >= MOST_EDGES || !lb_grow((void **)&outline->edges, &outline->capacity,
                                                 outline->count, sizeof *outline->edges)) {
        outline->failed = true;
        return;
    }
    outline->edges[outline->count++] = (lb_outline_edge){x0, y0, x1, y1};
}

void lb_outline_line(lb_outline *outline, double x, double y)
{
    double to[2] = {on_grid(x), on_grid(y)};

    if (!outline->open) {
        outline->open = true;
        memcpy(outline->start, outline->pen, sizeof outline->start);
    }
    add_edge(outline, outline->pen[0], outline->pen[1], to[0], to[1]);
    memcpy(outline->pen, to, sizeof to);
}

void lb_outline_close(lb_outline *outline)
{
    if (outline->open)
        add_edge(outline, outline->pen[0], outline->pen[1], outline->start[0], outline->start[1]);
    memcpy(outline->pen, outline->start, sizeof outline->pen);
    outline->open = false;
}

void lb_outline_move(lb_outline *outline, double x, double y)
{
    lb_outline_close(outline);
    outline->pen[0] = on_grid(x);
    outline->pen[1] = on_grid(y);
}

/* Pieces for a curve whose largest second difference is (x, y), times degree (degree - 1) / 8:
 * C. Wang's bound, as in R. Goldman, Pyramid Algorithms, 2003. */
static int32_t pieces(double x, double y, double factor)
{
    double n = ceil(sqrt(sqrt(x * x + y * y) * factor / FLATNESS));

    return !(n > 1) ? 1 : n > MOST_PIECES ? MOST_PIECES : (int32_t)n;
}

void lb_outline_conic(lb_outline *outline, double cx, double cy, double x, double y)
{
    double px = outline->pen[0], py = outline->pen[1];
    int32_t n = pieces(px - 2 * cx + x, py - 2 * cy + y, 0.25);

    for (int32_t i = 1; i < n; i++) {
        double t = (double)i / n, s = 1 - t;

        lb_outline_line(outline, s * s * px + 2 * s * t * cx + t * t * x,
                        s * s * py + 2 * s * t * cy + t * t * y);
    }
    lb_outline_line(outline, x, y);
}

void lb_outline_cubic(lb_outline *outline, double cx, double cy, double dx, double dy, double x,
                      double y)
{
    double px = outline->pen[0], py = outline->pen[1];
    int32_t first = pieces(px - 2 * cx + dx, py - 2 * cy + dy, 0.75);
    int32_t second = pieces(cx - 2 * dx + x, cy - 2 * dy + y, 0.75);
    int32_t n = first > second ? first : second;

    for (int32_t i = 1; i < n; i++) {
        double t = (double)i / n, s = 1 - t;
        double a = s * s * s, b = 3 * s * s * t, c = 3 * s * t * t, d = t * t * t;

        lb_outline_line(outline, a * px + b * cx + c * dx + d * x,
                        a * py + b * cy + c * dy + d * y);
    }
    lb_outline_line(outline, x, y);
}

lb_box lb_outline_box(const lb_outline *outline)
{
    double low[2] = {INFINITY, INFINITY}, high[2] = {-INFINITY, -INFINITY};

    for (size_t i = 0; i < outline->count; i++) {
        const lb_outline_edge *e = &outline->edges[i];

        low[0] = fmin(low[0], fmin(e->x0, e->x1));
        low[1] = fmin(low[1], fmin(e->y0, e->y1));
        high[0] = fmax(high[0], fmax(e->x0, e->x1));
        high[1] = fmax(high[1], fmax(e->y0, e->y1));
    }
    if (outline->count == 0)
        return (lb_box){0};
    return lb_box_around(low[0], low[1], high[0], high[1]);
}

/* Shares of area are rounded to 2^-20. Heights being multiples of 2^-16, all sums are then exact,
 * in any order and from any column on: parts of a shape have the bits of the whole, and beyond it
 * there is exactly nothing. */
#define SHARES 1048576.0

/* The share of pixel i, for each unit of height, that lies to the right of an edge which runs from
 * `left` to `right`: all of it where the edge is left of the pixel, half of the trapezium where it
 * runs through. */
static double share_of(double left, double right, int32_t i)
{
    double a = left > i ? left : i, b = right < i + 1 ? right : i + 1, share;

    if (a >= i + 1)
        return 0;
    if (right <= i)
        return 1;
    share = right > left ? ((a - left) + (b - a) * (1 - ((a - i) + (b - i)) / 2)) / (right - left)
                         : 1 - (left - i);
    return rint(share * SHARES) / SHARES;
}

/* Adds the part of `e` within row y to `cover`, whose entry i is the change of area from pixel
 * x0 + i - 1 to pixel x0 + i, the first one's from nothing; up to x1 and without it. */
static void cover_edge(const lb_outline_edge *e, int32_t y, int32_t x0, int32_t x1, double *cover)
{
    bool down = e->y1 > e->y0;
    double top = down ? e->y0 : e->y1, bottom = down ? e->y1 : e->y0;
    double from = top > y ? top : y, to = bottom < y + 1 ? bottom : y + 1;
    double slope = (e->x1 - e->x0) / (e->y1 - e->y0);
    double xa = e->x0 + (from - e->y0) * slope, xb = e->x0 + (to - e->y0) * slope;
    double least = fmin(e->x0, e->x1), most = fmax(e->x0, e->x1);
    double left = fmin(fmax(fmin(xa, xb), least), most); /* where rounding left the edge's box */
    double right = fmin(fmax(fmax(xa, xb), least), most);
    double height = down ? to - from : from - to, last = 0;
    int32_t begin, end;

    if (!(to > from) || left >= x1)
        return;
    begin = left > x0 ? (int32_t)floor(left) : x0;
    end = right < x1 ? (int32_t)floor(right) + 2 : x1; /* one more, which is covered whole */
    end = end < x1 ? end > begin ? end : begin + 1 : x1;
    for (int32_t i = begin; i < end; i++) {
        double share = share_of(left, right, i);

        cover[i - x0] += height * (share - last);
        last = share;
        if (share == 1)
            break;
    }
}

typedef struct fill {
    const lb_outline *outline;
    lb_plane *plane;
} fill;

LB_CLONES
static void sum_row(float *restrict row, const double *restrict cover, int32_t count)
{
    double sum = 0;

    for (int32_t x = 0; x < count; x++) {
        double area;

        sum += cover[x];
        area = fabs(sum);
        row[x] = (float)(area < 1 ? area : 1);
    }
}

static lb_status fill_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const fill *f = context;
    const lb_outline *outline = f->outline;
    lb_box box = lb_plane_box(f->plane);
    int32_t y0 = box.y0 + begin, y1 = box.y0 + end;
    size_t width = (size_t)lb_box_width(box), count = 0;
    double *cover = lb_alloc(width, sizeof *cover);
    const lb_outline_edge **near = lb_alloc(outline->count + 1, sizeof *near);

    (void)worker;
    if (!cover || !near) {
        lb_free(cover);
        lb_free((void *)near);
        return LB_MEMORY;
    }
    for (size_t i = 0; i < outline->count; i++) {
        const lb_outline_edge *e = &outline->edges[i];

        if ((e->y0 < y1 || e->y1 < y1) && (e->y0 > y0 || e->y1 > y0))
            near[count++] = e;
    }
    for (int32_t y = y0; y < y1; y++) {
        memset(cover, 0, width * sizeof *cover);
        for (size_t i = 0; i < count; i++)
            cover_edge(near[i], y, box.x0, box.x1, cover);
        sum_row(lb_plane_row_to_fill(f->plane, y), cover, (int32_t)width);
    }
    lb_free(cover);
    lb_free((void *)near);
    return LB_OK;
}

lb_status lb_outline_fill(lb_pool *pool, const lb_outline *outline, lb_box box, lb_plane **out)
{
    fill f = {.outline = outline};
    lb_status status = lb_plane_new_raw(box, &f.plane);

    *out = NULL;
    if (status == LB_OK)
        status = lb_pool_for(pool, lb_box_height(box), 16, fill_rows, &f);
    if (status != LB_OK)
        lb_plane_unref(&f.plane);
    *out = f.plane;
    return status;
}
