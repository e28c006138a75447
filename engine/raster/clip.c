/* engine/raster/clip.c: homogeneous clipping. */
#include "engine/raster/clip.h"

#include <math.h>
#include <string.h>

#define MAX_CORNERS 9

typedef struct {
    double h[MAX_CORNERS][4];
    int32_t count;
} polygon;

/* How far a corner is on the inner side of plane `plane`. */
static double inside(const lb_eye *eye, int32_t plane, const double h[4])
{
    switch (plane) {
    case 0:
        return h[2] - eye->near;
    case 1:
        return eye->far - h[2];
    case 2:
        return h[0] + LB_GUARD_PIXELS * h[3];
    case 3:
        return LB_GUARD_PIXELS * h[3] - h[0];
    case 4:
        return h[1] + LB_GUARD_PIXELS * h[3];
    default:
        return LB_GUARD_PIXELS * h[3] - h[1];
    }
}

/* Sutherland and Hodgman, CACM 17(1), 1974. Every cut goes from the inner corner to the outer one,
 * so that the neighbour across the edge finds the same point. */
static void cut(const lb_eye *eye, int32_t plane, polygon *p)
{
    polygon out = {.count = 0};

    for (int32_t i = 0; i < p->count; i++) {
        const double *a = p->h[i], *b = p->h[(i + 1) % p->count];
        double da = inside(eye, plane, a), db = inside(eye, plane, b);

        if (da >= 0 && out.count < MAX_CORNERS)
            memcpy(out.h[out.count++], a, sizeof out.h[0]);
        if ((da >= 0) != (db >= 0) && out.count < MAX_CORNERS) {
            const double *from = da >= 0 ? a : b, *to = da >= 0 ? b : a;
            double d0 = da >= 0 ? da : db, d1 = da >= 0 ? db : da, t = d0 / (d0 - d1);

            for (int k = 0; k < 4; k++)
                out.h[out.count][k] = from[k] + t * (to[k] - from[k]);
            out.count++;
        }
    }
    *p = out;
}

bool lb_clip_weights(double corners[3][4], double q[3][3], int32_t *facing)
{
    double det;

    for (int i = 0; i < 3; i++) {
        const double *a = corners[(i + 1) % 3], *b = corners[(i + 2) % 3];

        q[i][0] = a[1] * b[3] - a[3] * b[1];
        q[i][1] = a[3] * b[0] - a[0] * b[3];
        q[i][2] = a[0] * b[1] - a[1] * b[0];
    }
    det = corners[0][0] * q[0][0] + corners[0][1] * q[0][1] + corners[0][3] * q[0][2];
    *facing = det > 0 ? 1 : -1;
    if (!(fabs(det) > 0 && fabs(det) < INFINITY))
        return false;
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            q[i][k] /= det;
    return true;
}

static bool snap_all(const polygon *p, bool orthographic, int32_t x[], int32_t y[], float *low,
                     float *high)
{
    *low = INFINITY;
    *high = -INFINITY;
    for (int32_t i = 0; i < p->count; i++) {
        double px = p->h[i][0] / p->h[i][3], py = p->h[i][1] / p->h[i][3];
        float key = (float)(orthographic ? -p->h[i][2] : 1 / p->h[i][3]);

        if (!(fabs(px) <= LB_GUARD_PIXELS + 1) || !(fabs(py) <= LB_GUARD_PIXELS + 1))
            return false;
        x[i] = lb_clip_snap(px);
        y[i] = lb_clip_snap(py);
        *low = key < *low ? key : *low;
        *high = key > *high ? key : *high;
    }
    return true;
}

int32_t lb_clip_triangle(const lb_eye *eye, double corners[3][4], uint32_t triangle,
                         lb_clipped out[LB_CLIPPED_MAX])
{
    polygon p = {.count = 3};
    int32_t x[MAX_CORNERS], y[MAX_CORNERS], facing, beyond = 0, count = 0;
    double q[3][3], key[3] = {0};
    float low, high;

    for (int i = 0; i < 3; i++)
        beyond |= lb_clip_planes(eye, corners[i]);
    if ((beyond & LB_BEYOND_NUMBERS) || !lb_clip_weights(corners, q, &facing))
        return 0;
    memcpy(p.h, corners, 3 * sizeof p.h[0]);
    for (int32_t plane = 0; plane < 6 && p.count >= 3; plane++)
        if (beyond >> plane & 1)
            cut(eye, plane, &p);
    if (p.count < 3 || !snap_all(&p, eye->orthographic, x, y, &low, &high))
        return 0;
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            key[k] += q[i][k] * (eye->orthographic ? -corners[i][2] : 1);
    for (int32_t i = 2; i < p.count; i++, count++)
        out[count] = (lb_clipped){
            triangle, {x[0], x[i - 1], x[i]}, {y[0], y[i - 1], y[i]}, {key[0], key[1], key[2]}, low,
            high};
    return count;
}
