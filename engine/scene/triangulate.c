/* engine/scene/triangulate.c: a polygon in space to triangles.
 *
 * Ears are cut off: a corner whose triangle has no other corner in it (Meisters, "Polygons have
 * ears", American Mathematical Monthly 82, 1975). Only hollow corners can be in the way, and a cut
 * changes its two neighbours alone, so all takes the square of the corners at most. */
#include "engine/scene/triangulate.h"

#include <math.h>

void lb_cutter_clear(lb_cutter *cutter)
{
    lb_free(cutter->flat);
    lb_free(cutter->next);
    lb_free(cutter->before);
    lb_free(cutter->hollow);
    lb_free(cutter->state);
    *cutter = (lb_cutter){0};
}

static bool reserve(lb_cutter *c, size_t count)
{
    if (c->capacity >= count)
        return true;
    lb_cutter_clear(c);
    count = count < 16 ? 16 : count;
    c->flat = lb_alloc(count, sizeof *c->flat);
    c->next = lb_alloc(count, sizeof *c->next);
    c->before = lb_alloc(count, sizeof *c->before);
    c->hollow = lb_alloc(count, sizeof *c->hollow);
    c->state = lb_alloc(count, sizeof *c->state);
    if (!c->flat || !c->next || !c->before || !c->hollow || !c->state) {
        lb_cutter_clear(c);
        return false;
    }
    c->capacity = count;
    return true;
}

lb_vec3d lb_polygon_area2(const lb_vec3 *points, int32_t count)
{
    lb_vec3 o = points[0];
    lb_vec3d sum = {0, 0, 0};

    /* From the first corner, so that a place far from the origin costs no digits. */
    for (int32_t i = 1; i + 1 < count; i++) {
        double ax = (double)points[i].x - o.x, ay = (double)points[i].y - o.y,
               az = (double)points[i].z - o.z;
        double bx = (double)points[i + 1].x - o.x, by = (double)points[i + 1].y - o.y,
               bz = (double)points[i + 1].z - o.z;

        sum.x += ay * bz - az * by;
        sum.y += az * bx - ax * bz;
        sum.z += ax * by - ay * bx;
    }
    return sum;
}

/* The shadow along the longest axis of the normal, mirrored so that it turns counter-clockwise. */
static void flatten(lb_cutter *c, const lb_vec3 *points, int32_t count, lb_vec3d n)
{
    double x = fabs(n.x), y = fabs(n.y), z = fabs(n.z);
    int axis = x >= y && x >= z ? 0 : y >= z ? 1 : 2;
    double turn = axis == 0 ? n.x : axis == 1 ? n.y : n.z;

    for (int32_t i = 0; i < count; i++) {
        double p[3] = {(double)points[i].x - points[0].x, (double)points[i].y - points[0].y,
                       (double)points[i].z - points[0].z};

        c->flat[i][0] = p[(axis + 1) % 3];
        c->flat[i][1] = turn < 0 ? -p[(axis + 2) % 3] : p[(axis + 2) % 3];
    }
}

/* Twice the area of a, b, c; > 0: counter-clockwise. */
static double area2(const lb_cutter *c, int32_t i, int32_t j, int32_t k)
{
    const double *a = c->flat[i], *b = c->flat[j], *d = c->flat[k];

    return (b[0] - a[0]) * (d[1] - a[1]) - (b[1] - a[1]) * (d[0] - a[0]);
}

static bool is_same_place(const lb_cutter *c, int32_t i, int32_t j)
{
    return c->flat[i][0] == c->flat[j][0] && c->flat[i][1] == c->flat[j][1];
}

/* Every corner turns left or goes straight on, and x goes up and down only once: else it turns
 * round more than once. */
static bool is_convex(const lb_cutter *c, int32_t count)
{
    int32_t turns = 0;
    int last = 0;

    for (int32_t i = 0; i < count; i++) {
        int32_t j = i + 1 < count ? i + 1 : 0, k = j + 1 < count ? j + 1 : 0;
        double step = c->flat[j][0] - c->flat[i][0];
        int way = step > 0 ? 1 : step < 0 ? -1 : 0;

        if (area2(c, i, j, k) < 0)
            return false;
        turns += way && last && way != last;
        last = way ? way : last;
    }
    return turns <= 2;
}

/* May a fan start here? Triangles without area are only good where the polygon has none there. */
static bool has_full_fan(const lb_cutter *c, int32_t count, int32_t from)
{
    for (int32_t i = 1; i + 1 < count; i++)
        if (!(area2(c, from, (from + i) % count, (from + i + 1) % count) > 0))
            return false;
    return true;
}

static void make_fan(int32_t count, int32_t from, uint32_t *out)
{
    for (int32_t i = 1; i + 1 < count; i++, out += 3) {
        out[0] = (uint32_t)from;
        out[1] = (uint32_t)((from + i) % count);
        out[2] = (uint32_t)((from + i + 1) % count);
    }
}

enum { GONE = 1, HOLLOW = 2, EAR = 4 };

/* Is corner p within the triangle, its edges included? */
static bool holds(const lb_cutter *c, int32_t i, int32_t j, int32_t k, int32_t p)
{
    return area2(c, i, j, p) >= 0 && area2(c, j, k, p) >= 0 && area2(c, k, i, p) >= 0;
}

static bool is_ear(const lb_cutter *c, int32_t j, int32_t hollow_count)
{
    int32_t i = c->before[j], k = c->next[j];

    if (!(area2(c, i, j, k) > 0))
        return false;
    for (int32_t h = 0; h < hollow_count; h++) {
        int32_t p = c->hollow[h];

        if (c->state[p] != HOLLOW || p == i || p == j || p == k)
            continue;
        /* Where an edge is walked both ways the same place is there twice: not in the way. */
        if (is_same_place(c, p, i) || is_same_place(c, p, j) || is_same_place(c, p, k))
            continue;
        if (holds(c, i, j, k, p))
            return false;
    }
    return true;
}

static void judge(lb_cutter *c, int32_t j, int32_t hollow_count)
{
    if (c->state[j] == HOLLOW && !(area2(c, c->before[j], j, c->next[j]) > 0))
        return; /* cutting may make a corner full, never hollow */
    c->state[j] = is_ear(c, j, hollow_count) ? EAR : 0;
}

/* The corner to cut where there is no ear: one without area if there is one, for it costs nothing,
 * else the one that overlaps least. */
static int32_t least_bad(const lb_cutter *c, int32_t from)
{
    int32_t best = from;
    double least = INFINITY;

    for (int32_t j = from;;) {
        double area = fabs(area2(c, c->before[j], j, c->next[j]));

        if (area < least) {
            least = area;
            best = j;
        }
        if ((j = c->next[j]) == from)
            return best;
    }
}

static int32_t link_ring(lb_cutter *c, int32_t count)
{
    int32_t hollow_count = 0;

    for (int32_t i = 0; i < count; i++) {
        c->next[i] = i + 1 < count ? i + 1 : 0;
        c->before[i] = i > 0 ? i - 1 : count - 1;
        c->state[i] = 0;
    }
    for (int32_t i = 0; i < count; i++)
        if (!(area2(c, c->before[i], i, c->next[i]) > 0)) {
            c->state[i] = HOLLOW;
            c->hollow[hollow_count++] = i;
        }
    return hollow_count;
}

/* The next ear from `at` on; -1: none. */
static int32_t find_ear(const lb_cutter *c, int32_t at)
{
    for (int32_t j = at;;) {
        if (c->state[j] == EAR)
            return j;
        if ((j = c->next[j]) == at)
            return -1;
    }
}

static lb_cut cut_ears(lb_cutter *c, int32_t count, uint32_t *out)
{
    int32_t hollow_count = link_ring(c, count), at = 0;
    lb_cut cut = LB_CUT_SOUND;

    for (int32_t i = 0; i < count; i++)
        judge(c, i, hollow_count);
    for (int32_t left = count; left > 3; left--) {
        int32_t j = find_ear(c, at), i, k;

        if (j < 0) {
            j = least_bad(c, at);
            if (area2(c, c->before[j], j, c->next[j]) != 0)
                cut = LB_CUT_CROSSING;
        }
        i = c->before[j];
        k = c->next[j];
        *out++ = (uint32_t)i;
        *out++ = (uint32_t)j;
        *out++ = (uint32_t)k;
        c->state[j] = GONE;
        c->next[i] = k;
        c->before[k] = i;
        judge(c, i, hollow_count);
        judge(c, k, hollow_count);
        at = c->next[k]; /* going on, so that not all triangles share a corner */
    }
    if (area2(c, c->before[at], at, c->next[at]) < 0)
        cut = LB_CUT_CROSSING;
    *out++ = (uint32_t)c->before[at];
    *out++ = (uint32_t)at;
    *out++ = (uint32_t)c->next[at];
    return cut;
}

lb_status lb_triangulate(lb_cutter *cutter, const lb_vec3 *points, int32_t count, uint32_t *out,
                         lb_cut *cut)
{
    lb_vec3d normal = lb_polygon_area2(points, count);
    bool has_area = normal.x != 0 || normal.y != 0 || normal.z != 0;

    *cut = has_area ? LB_CUT_SOUND : LB_CUT_NO_AREA;
    if (count == 3 || !has_area) {
        make_fan(count, 0, out);
        return LB_OK;
    }
    if (!reserve(cutter, (size_t)count))
        return LB_MEMORY;
    flatten(cutter, points, count, normal);
    if (is_convex(cutter, count)) {
        int32_t from = 0;

        /* A corner on a straight edge would make a triangle without area in most fans. */
        while (from < count && from < 8 && !has_full_fan(cutter, count, from))
            from++;
        if (count > LB_TRIANGULATE_MOST || (from < count && from < 8)) {
            make_fan(count, from < count && from < 8 ? from : 0, out);
            return LB_OK;
        }
    }
    if (count > LB_TRIANGULATE_MOST) {
        *cut = LB_CUT_TOO_LONG;
        return LB_OK;
    }
    *cut = cut_ears(cutter, count, out);
    return LB_OK;
}
