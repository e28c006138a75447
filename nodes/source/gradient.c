/* nodes/source/gradient.c: linear, radial and conic gradients.
 *
 * Stops follow CSS Images 4, section 3.5 ("Color stop 'fix-up'"); what lies beyond the first and
 * the last stop follows SVG 2's spreadMethod. A pixel's colour is the mean of the gradient over one
 * pixel's width along the gradient: where the colour is linear that is the value at the centre, and
 * two stops at one place make a smooth edge instead of a jagged one. */
#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/graph/points.h"

#define MOST_PIXELS 1e6
#define MOST_STOPS 1024

enum { LINEAR, RADIAL, CONIC };
static const char *const type_names[] = {"linear", "radial", "conic", NULL};

enum { PAD, REFLECT, REPEAT };
static const char *const spread_names[] = {"pad", "reflect", "repeat", NULL};

typedef struct {
    double at;
    double color[4];
} stop_params;

typedef struct {
    int type;
    double from[2], to[2];
    int spread;
    lb_records stops;
} gradient_params;

static const lb_param stop_table[] = {
    LB_PARAM(stop_params, at, LB_NUMBER, .initial = {LB_UNSET}, .usual_min = -10, .usual_max = 10,
             .doc = "Where on the way from 'from' (0) to 'to' (1); stops without it are spread "
                    "evenly between their neighbours."),
    LB_PARAM(stop_params, color, LB_COLOR, .required = true, .usual_min = -200, .usual_max = 200,
             .doc = "The colour there, with straight alpha."),
    {0},
};

static const lb_param params[] = {
    LB_PARAM(gradient_params, type, LB_CHOICE, .names = type_names, .initial = {LINEAR},
             .doc = "Along a line, outwards from a point, or clockwise around it."),
    LB_PARAM(gradient_params, from, LB_VEC2, .initial = {LB_UNSET, LB_UNSET}, .min = -MOST_PIXELS,
             .max = MOST_PIXELS, .unit = LB_PIXELS,
             .doc = "Start of the line (by itself the middle of the frame's top edge), or the "
                    "centre (by itself the frame's)."),
    LB_PARAM(gradient_params, to, LB_VEC2, .initial = {LB_UNSET, LB_UNSET}, .min = -MOST_PIXELS,
             .max = MOST_PIXELS, .unit = LB_PIXELS,
             .doc = "End of the line (by itself the middle of the bottom edge), a point on the "
                    "outer circle (by itself the frame's lower right corner), or a point in the "
                    "direction where a conic gradient begins (by itself straight up)."),
    LB_PARAM(gradient_params, spread, LB_CHOICE, .names = spread_names, .initial = {PAD},
             .doc = "Beyond the ends: the end's colour, the gradient turned over, or again."),
    LB_PARAM(gradient_params, stops, LB_RECORDS, .fields = stop_table,
             .fields_size = sizeof(stop_params), .required = true,
             .doc = "The colours, mixed in between as premultiplied working-linear light."),
    {0},
};

/* The colour runs evenly from color[0] at `begin` to color[1] at `end`, premultiplied. The first
 * span begins and the last one ends at infinity; then both colours are one. */
typedef struct span {
    double begin, end;
    double origin, scale; /* fraction = (t - origin) scale, 0 in those that are endless */
    double color[2][4];
} span;

/* A gradient made ready. */
typedef struct ramp {
    int type;
    bool around;                    /* comes back to its start: conic, repeat, reflect */
    bool folded;                    /* reflect: one period is there and back */
    double from[2], step[2], inner; /* linear: t = (p - from) . step; radial: t = |p - from| * inner
                                     * conic: step is the unit vector of the beginning */
    double width;                   /* of a pixel in t; conic: at distance 1 */
    int32_t count;
    span *spans;
    double whole[4]; /* mean over 0 .. 1 */
} ramp;

static double between(double a, double b, double t)
{
    return a + (b - a) * t;
}

/* Positions that are missing or go backwards, set right as CSS does. */
static void fix_positions(const lb_records *stops, double *at)
{
    const stop_params *stop = stops->items;
    int32_t count = stops->count, next;
    double most = -INFINITY;

    for (int32_t i = 0; i < count; i++)
        at[i] = stop[i].at;
    if (!lb_is_set(at[0]))
        at[0] = 0;
    if (!lb_is_set(at[count - 1]))
        at[count - 1] = 1;
    for (int32_t i = 0; i < count; i++)
        if (lb_is_set(at[i])) {
            at[i] = at[i] > most ? at[i] : most;
            most = at[i];
        }
    for (int32_t i = 1; i < count; i = next + 1) {
        next = i;
        while (!lb_is_set(at[next]))
            next++;
        for (int32_t k = i; k < next; k++)
            at[k] = between(at[i - 1], at[next], (double)(k - i + 1) / (next - i + 1));
    }
}

static void premultiply(const double color[4], double out[4])
{
    for (int c = 0; c < 3; c++)
        out[c] = color[c] * color[3];
    out[3] = color[3];
}

static void add_span(ramp *r, double begin, double end, const double from[4], const double to[4])
{
    span *s = &r->spans[r->count++];

    *s = (span){.begin = begin, .end = end};
    if (isfinite(begin) && isfinite(end)) {
        s->origin = begin;
        s->scale = 1 / (end - begin);
    }
    premultiply(from, s->color[0]);
    premultiply(to, s->color[1]);
}

/* Adds to sum[4] the integral of the colour from `a` to `b`; spans hold all of it. */
static void integrate(const ramp *r, double a, double b, double sum[4])
{
    for (int32_t i = 0; i < r->count; i++) {
        const span *s = &r->spans[i];
        double low = a > s->begin ? a : s->begin, high = b < s->end ? b : s->end, t;

        if (!(low < high))
            continue;
        t = ((low + high) / 2 - s->origin) * s->scale;
        for (int c = 0; c < 4; c++)
            sum[c] += (high - low) * between(s->color[0][c], s->color[1][c], t);
    }
}

/* Spans live in `arena`. */
static lb_status ramp_new(lb_arena *arena, const gradient_params *p, ramp *r)
{
    const stop_params *stop = p->stops.items;
    int32_t count = p->stops.count;
    double *at = lb_arena_alloc(arena, (size_t)count, sizeof *at);

    r->spans = lb_arena_alloc(arena, (size_t)count + 1, sizeof *r->spans);
    if (!at || !r->spans)
        return LB_MEMORY;
    fix_positions(&p->stops, at);
    add_span(r, -INFINITY, at[0], stop[0].color, stop[0].color);
    for (int32_t i = 1; i < count; i++)
        if (at[i] > at[i - 1])
            add_span(r, at[i - 1], at[i], stop[i - 1].color, stop[i].color);
    add_span(r, at[count - 1], INFINITY, stop[count - 1].color, stop[count - 1].color);
    r->type = p->type;
    r->around = p->type == CONIC || p->spread != PAD;
    r->folded = p->type != CONIC && p->spread == REFLECT;
    integrate(r, 0, 1, r->whole);
    return LB_OK;
}

static void place_ramp(const gradient_params *p, const lb_format *format, ramp *r)
{
    double from[2] = {format->width / 2.0, p->type == LINEAR ? 0 : format->height / 2.0};
    double to[2] = {format->width / 2.0, format->height};
    double line[2], length;

    if (p->type == RADIAL)
        to[0] = format->width;
    for (int i = 0; i < 2 && lb_is_set(p->from[0]); i++)
        from[i] = p->from[i];
    if (p->type == CONIC)
        to[0] = from[0], to[1] = from[1] - 1;
    for (int i = 0; i < 2 && lb_is_set(p->to[0]); i++)
        to[i] = p->to[i];
    line[0] = to[0] - from[0], line[1] = to[1] - from[1];
    length = sqrt(line[0] * line[0] + line[1] * line[1]);
    if (!(length > 0)) { /* SVG 2, 14.2.2.2: then all is the last stop's colour */
        r->spans[0] = r->spans[r->count - 1]; /* which is endless: one colour */
        r->spans[0].begin = -INFINITY;
        r->count = 1;
        r->around = false;
        length = 1;
    }
    for (int i = 0; i < 2; i++) {
        r->from[i] = from[i];
        r->step[i] = p->type == CONIC ? line[i] / length : line[i] / length / length;
    }
    r->inner = 1 / length;
    r->width = p->type == CONIC ? 1 / (2 * LB_PI) : 1 / length;
}

/* The mean over t - half .. t + half, where t counts periods. */
static void mean_around(const ramp *r, double t, double half, double out[4])
{
    double sum[4] = {0}, period = r->folded ? 2 : 1;
    double low = t - half, high = t + half, turns = floor(low / period) * period;

    if (half > 64) { /* so far out that a pixel holds many periods */
        for (int c = 0; c < 4; c++)
            out[c] = r->whole[c];
        return;
    }
    for (double base = turns; base < high; base += period) {
        double a = low > base ? low - base : 0, b = high - base < period ? high - base : period;

        integrate(r, a < 1 ? a : 1, b < 1 ? b : 1, sum);
        if (r->folded) /* the way back: s = 2 - t */
            integrate(r, 2 - (b > 1 ? b : 1), 2 - (a > 1 ? a : 1), sum);
    }
    for (int c = 0; c < 4; c++)
        out[c] = sum[c] / (high - low);
}

/* The colour's mean over t - half .. t + half. *at is the span where it was found last. */
static void mean_of(const ramp *r, double t, double half, int32_t *at, double out[4])
{
    double sum[4] = {0}, place = t;
    const span *s;

    if (r->around) { /* to 0 .. 1, where the spans are */
        place -= r->folded ? 2 * floor(t / 2) : floor(t);
        place = place > 1 ? 2 - place : place;
        if (!(place - half >= 0 && place + half <= 1)) {
            mean_around(r, t, half, out);
            return;
        }
    }
    while (*at > 0 && place - half < r->spans[*at].begin)
        --*at;
    while (*at < r->count - 1 && place - half > r->spans[*at].end)
        ++*at;
    s = &r->spans[*at];
    if (place + half > s->end) {
        integrate(r, place - half, place + half, sum);
        for (int c = 0; c < 4; c++)
            out[c] = sum[c] / (2 * half);
        return;
    }
    for (int c = 0; c < 4; c++)
        out[c] = between(s->color[0][c], s->color[1][c], (place - s->origin) * s->scale);
}

#define PIECE 256

/* Where the centres of pixels x .. x + count - 1 of row y are on the ramp, and half the width of a
 * pixel there. */
LB_CLONES
static void positions(const ramp *r, int32_t x, int32_t y, int32_t count, double *restrict t,
                      double *restrict half)
{
    double from = r->from[0], dy = y + 0.5 - r->from[1], width = r->width, inner = r->inner;
    double step_x = r->step[0], step_y = r->step[1];

    for (int32_t i = 0; i < count; i++)
        half[i] = width / 2;
    if (r->type == LINEAR) {
        for (int32_t i = 0; i < count; i++)
            t[i] = (x + i + 0.5 - from) * step_x + dy * step_y;
        return;
    }
    for (int32_t i = 0; i < count; i++) {
        double dx = x + i + 0.5 - from;

        t[i] = sqrt(dx * dx + dy * dy);
    }
    if (r->type == RADIAL) {
        for (int32_t i = 0; i < count; i++)
            t[i] *= inner;
        return;
    }
    for (int32_t i = 0; i < count; i++) {
        double dx = x + i + 0.5 - from;
        /* y goes down, so this is clockwise */
        float turn =
            lb_atan2f((float)(step_x * dy - step_y * dx), (float)(step_x * dx + step_y * dy));

        half[i] = t[i] > width ? width / 2 / t[i] : 0.5;
        t[i] = (double)turn * (1 / (2 * LB_PI));
    }
}

static void fill_piece(const ramp *r, int32_t x, int32_t y, int32_t count, float *const rows[4],
                       int32_t from)
{
    double t[PIECE], half[PIECE], color[4];
    int32_t at = 0;

    positions(r, x, y, count, t, half);
    for (int32_t i = 0; i < count; i++) {
        mean_of(r, t[i], half[i], &at, color);
        for (int c = 0; c < 4; c++)
            rows[c][from + i] = (float)color[c];
    }
}

static void fill(const lb_call *call, const void *state, const lb_span *at)
{
    (void)call;
    for (int32_t i = 0; i < at->count; i += PIECE)
        fill_piece(state, at->x + i, at->y, at->count - i < PIECE ? at->count - i : PIECE, at->made,
                   i);
}

static lb_status use(const lb_call *call, const lb_desc *own, uint64_t wanted, lb_points_use *out)
{
    static const char *const names[4] = {"R", "G", "B", "A"};
    ramp *r = lb_arena_alloc(call->arena, 1, sizeof *r);

    (void)wanted;
    if (!r || ramp_new(call->arena, call->params, r) != LB_OK)
        return lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
    place_ramp(call->params, call->format, r);
    out->state = r;
    for (int c = 0; c < 4; c++)
        out->made[out->made_count++] = lb_channels_find(own->channels, names[c]);
    return LB_OK;
}

static const lb_points points = {use, fill};

static lb_status check(const lb_call *call)
{
    const gradient_params *p = call->params;

    if (p->stops.count < 1)
        return lb_fail(call->diag, LB_INVALID, lb_call_loc(call, "stops"),
                       "'stops' is empty; a gradient needs at least one colour");
    if (p->stops.count > MOST_STOPS)
        return lb_fail(call->diag, LB_LIMIT, lb_call_loc(call, "stops"),
                       "'stops' has %d colours; %d are the most", (int)p->stops.count, MOST_STOPS);
    return LB_OK;
}

const lb_op lb_op_gradient = {
    .name = "gradient",
    .summary = "A gradient over the whole frame",
    .group = "source",
    .example = "  last: {op: gradient, type: radial, from: [160, 130], to: [330, 130],\n"
               "         stops: [{color: \"#ffb347\"}, {at: 0.35, color: \"#b3541e\"}, {color: "
               "\"#1b1420\"}]}\n",
    .version = 1,
    .params = params,
    .params_size = sizeof(gradient_params),
    .result = LB_KIND_IMAGE,
    .check = check,
    .evaluate = lb_points_evaluate,
    .points = &points,
};
