/* engine/scene/fbx_curve.c: animation curves: keys, tangents, values. Flags and their data are
 * common practice, from memory. */
#include <math.h>
#include <string.h>

#include "engine/scene/fbx_read.h"

#define FLAG_CONSTANT 0x2
#define FLAG_LINEAR 0x4
#define FLAG_CUBIC 0x8
#define FLAG_NEXT 0x100 /* constant: the value of the next key; cubic: automatic tangents */
#define FLAG_TCB 0x200
#define FLAG_USER 0x400
#define FLAG_CLAMP 0x1000
#define FLAG_PROGRESSIVE 0x4000 /* clamped so that it does not overshoot */
#define FLAG_RIGHT_WEIGHT 0x1000000
#define FLAG_LEFT_WEIGHT 0x2000000

void fbx_curve_clear(fbx_curve *curve)
{
    lb_free(curve->times);
    lb_free(curve->values);
    lb_free(curve->pieces);
    *curve = (fbx_curve){0};
}

/* The arrays of a curve as they lie in the file. Attributes hold for runs of keys. */
typedef struct {
    int64_t *ticks, *flags, *runs;
    double *values, *data; /* data: four numbers an attribute */
    size_t ticks_count, flag_count, run_count, value_count, data_count;
} raw;

static void clear_raw(raw *r)
{
    lb_free(r->ticks);
    lb_free(r->flags);
    lb_free(r->runs);
    lb_free(r->values);
    lb_free(r->data);
}

static lb_status read_raw(fbx *g, const fbx_object *object, raw *r)
{
    const fbx_document *d = &g->document;
    const fbx_node *n = object->node;
    char where[FBX_WHERE];
    lb_status status;

    if ((status = fbx_wholes(d, fbx_child(n, "KeyTime"), &r->ticks, &r->ticks_count)) ||
        (status = fbx_reals(d, fbx_child(n, "KeyValueFloat"), &r->values, &r->value_count)) ||
        (status = fbx_wholes(d, fbx_child(n, "KeyAttrFlags"), &r->flags, &r->flag_count)) ||
        (status = fbx_reals(d, fbx_child(n, "KeyAttrDataFloat"), &r->data, &r->data_count)) ||
        (status = fbx_wholes(d, fbx_child(n, "KeyAttrRefCount"), &r->runs, &r->run_count)))
        return status == LB_MEMORY ? fbx_no_memory(g)
                                   : fbx_fail(g, status, fbx_where(where, object, NULL),
                                              "the keys of the curve are damaged");
    if (r->ticks_count != r->value_count || r->ticks_count > INT32_MAX / 16)
        return fbx_fail(g, LB_FORMAT, fbx_where(where, object, NULL), "%zu times for %zu values",
                        r->ticks_count, r->value_count);
    return LB_OK;
}

/* Two weights in the bits of a float, 9999 for 1 (a text file writes those bits as a number). */
static void read_weights(const fbx *g, double stored, double *right, double *left)
{
    float narrow = (float)stored;
    uint32_t bits = 0;

    if (g->document.is_binary)
        memcpy(&bits, &narrow, sizeof bits);
    else if (stored >= 0 && stored < 4294967296.0)
        bits = (uint32_t)stored;
    *right = (double)(bits & 0xffff) / 9999;
    *left = (double)(bits >> 16) / 9999;
}

static double sound(double value)
{
    return fabs(value) < 1e30 ? value : 0;
}

/* The tangent at a key between two others: the slope from one to the other, flat at an end, and,
 * where it is clamped, at a turning point; it does not steepen beyond three times the flatter side,
 * from where a cubic overshoots (Fritsch and Carlson, SIAM J. Numer. Anal. 17(2), 1980). */
static double automatic(const fbx_curve *c, size_t key, bool is_clamped)
{
    double t0, t1, before, after, slope, most;

    if (key == 0 || key + 1 >= c->count)
        return 0;
    t0 = c->times[key] - c->times[key - 1];
    t1 = c->times[key + 1] - c->times[key];
    if (!(t0 > 0) || !(t1 > 0))
        return 0;
    slope = (c->values[key + 1] - c->values[key - 1]) / (t0 + t1);
    if (!is_clamped)
        return slope;
    before = (c->values[key] - c->values[key - 1]) / t0;
    after = (c->values[key + 1] - c->values[key]) / t1;
    if (before * after <= 0)
        return 0;
    most = 3 * fmin(fabs(before), fabs(after));
    return fabs(slope) > most ? copysign(most, slope) : slope;
}

/* The piece that begins at `key`, by the attribute that holds there. */
static void set_piece(const fbx *g, fbx_curve *c, const raw *r, size_t key, size_t attribute,
                      uint32_t *seen)
{
    fbx_piece *p = &c->pieces[key];
    int64_t flags = attribute < r->flag_count ? r->flags[attribute] : FLAG_CUBIC | FLAG_NEXT;
    const double *data = 4 * attribute + 3 < r->data_count ? r->data + 4 * attribute : NULL;

    *p = (fbx_piece){.kind = FBX_LINE, .weight_out = 1.0 / 3, .weight_in = 1.0 / 3};
    *seen |= (uint32_t)(flags & 0x7fffffff);
    if (flags & FLAG_CONSTANT)
        p->kind = flags & FLAG_NEXT ? FBX_HOLD_NEXT : FBX_HOLD;
    if (!(flags & FLAG_CUBIC) || (flags & (FLAG_CONSTANT | FLAG_LINEAR)))
        return;
    p->kind = FBX_CUBIC;
    if ((flags & FLAG_USER) && data) {
        double right, left;

        p->slope_out = sound(data[0]);
        p->slope_in = sound(data[1]);
        read_weights(g, data[2], &right, &left);
        p->weight_out = flags & FLAG_RIGHT_WEIGHT ? fmin(right, 1) : p->weight_out;
        p->weight_in = flags & FLAG_LEFT_WEIGHT ? fmin(left, 1) : p->weight_in;
        c->is_weighted |= (flags & (FLAG_RIGHT_WEIGHT | FLAG_LEFT_WEIGHT)) != 0;
    } else {
        bool is_clamped = (flags & (FLAG_CLAMP | FLAG_PROGRESSIVE)) != 0;

        p->slope_out = automatic(c, key, is_clamped);
        p->slope_in = automatic(c, key + 1, is_clamped);
    }
}

static void report(fbx *g, const fbx_object *object, uint32_t seen)
{
    char where[FBX_WHERE];

    fbx_where(where, object, "KeyAttrFlags");
    if ((seen & FLAG_CUBIC) && !(seen & FLAG_USER) && (seen & (FLAG_NEXT | FLAG_TCB)))
        fbx_fact(g, LB_FACT_CONVERTED, where, "Automatic tangents are made anew from the keys.");
    if (seen & FLAG_TCB)
        fbx_fact(g, LB_FACT_DROPPED, where, "Tension, continuity and bias are taken as 0.");
    for (int i = 0; i < 2; i++) {
        const char *const keys[] = {"Pre-Extrapolation", "Post-Extrapolation"};
        const fbx_node *node = fbx_child(object->node, keys[i]);

        if (node)
            fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, object, keys[i]),
                     "The curve stays at its end.");
    }
}

/* How many keys an attribute holds for. */
static size_t run_at(const raw *r, size_t attribute)
{
    return attribute < r->run_count && r->runs[attribute] > 0 ? (size_t)r->runs[attribute] : 0;
}

static lb_status fill(fbx *g, const fbx_object *object, const raw *r, fbx_curve *out)
{
    size_t attribute = 0, left = run_at(r, 0);
    char where[FBX_WHERE];
    uint32_t seen = 0;

    for (size_t i = 0; i < out->count; i++) {
        if (i > 0 && r->ticks[i] < r->ticks[i - 1])
            return fbx_fail(g, LB_FORMAT, fbx_where(where, object, "KeyTime"),
                            "key %zu is before the one before it", i);
        if (!(fabs(r->values[i]) < 1e30))
            return fbx_fail(g, LB_FORMAT, fbx_where(where, object, "KeyValueFloat"),
                            "value %zu is no finite number", i);
        out->times[i] = ((double)r->ticks[i] - (double)g->start) / g->ticks;
        out->values[i] = r->values[i];
    }
    for (size_t i = 0; i < out->count; i++) {
        while (left == 0 && attribute + 1 < r->run_count)
            left = run_at(r, ++attribute);
        left -= left > 0;
        set_piece(g, out, r, i, r->run_count ? attribute : i, &seen);
    }
    report(g, object, seen);
    return LB_OK;
}

lb_status fbx_curve_read(fbx *g, const fbx_object *object, fbx_curve *out)
{
    raw r = {0};
    lb_status status = read_raw(g, object, &r);

    *out = (fbx_curve){0};
    if (status == LB_OK && r.ticks_count > 0) {
        out->count = r.ticks_count;
        out->times = lb_alloc(out->count, sizeof *out->times);
        out->values = lb_alloc(out->count, sizeof *out->values);
        out->pieces = lb_alloc(out->count, sizeof *out->pieces);
        status =
            out->times && out->values && out->pieces ? fill(g, object, &r, out) : fbx_no_memory(g);
    }
    clear_raw(&r);
    if (status)
        fbx_curve_clear(out);
    return status;
}

/* A Bezier piece of handles w and 1 - v along time: the part of it at `x` of its duration. Steps
 * are counted, not measured, so that every machine takes the same. */
static double part_at(double x, double w, double v)
{
    double low = 0, high = 1;

    if (fabs(w - 1.0 / 3) < 1e-12 && fabs(v - 1.0 / 3) < 1e-12)
        return x;
    for (int i = 0; i < 52; i++) {
        double s = (low + high) / 2, r = 1 - s;
        double at = 3 * r * r * s * w + 3 * r * s * s * (1 - v) + s * s * s;

        if (at < x)
            low = s;
        else
            high = s;
    }
    return (low + high) / 2;
}

static double cubic(const fbx_curve *c, size_t key, double time_s, double *slope)
{
    const fbx_piece *p = &c->pieces[key];
    double duration = c->times[key + 1] - c->times[key];
    double w = p->weight_out, v = p->weight_in, x = (time_s - c->times[key]) / duration;
    double s = part_at(x, w, v), r = 1 - s;
    double v0 = c->values[key], v3 = c->values[key + 1];
    double v1 = v0 + w * duration * p->slope_out, v2 = v3 - v * duration * p->slope_in;
    double along = 3 * r * r * w + 6 * r * s * (1 - v - w) + 3 * s * s * v;
    double up = 3 * r * r * (v1 - v0) + 6 * r * s * (v2 - v1) + 3 * s * s * (v3 - v2);

    *slope = along > 1e-9 ? up / (along * duration) : s < 0.5 ? p->slope_out : p->slope_in;
    return r * r * r * v0 + 3 * r * r * s * v1 + 3 * r * s * s * v2 + s * s * s * v3;
}

double fbx_curve_value(const fbx_curve *c, double time_s, bool before, double *slope)
{
    size_t low = 0, high = c->count; /* keys [0, low) are at or before the time */

    *slope = 0;
    while (low < high) {
        size_t middle = low + (high - low) / 2;

        if (before ? c->times[middle] < time_s : c->times[middle] <= time_s)
            low = middle + 1;
        else
            high = middle;
    }
    if (low == 0)
        return c->values[0];
    if (low == c->count)
        return c->values[c->count - 1];
    switch (c->pieces[low - 1].kind) {
    case FBX_HOLD:
        return c->values[low - 1];
    case FBX_HOLD_NEXT:
        return c->values[low];
    case FBX_CUBIC:
        return cubic(c, low - 1, time_s, slope);
    default:
        *slope = (c->values[low] - c->values[low - 1]) / (c->times[low] - c->times[low - 1]);
        return c->values[low - 1] + *slope * (time_s - c->times[low - 1]);
    }
}
