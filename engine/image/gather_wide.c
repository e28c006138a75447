/* engine/image/gather_wide.c
 *
 * Neighbouring samples read neighbouring pixels. Where sixteen of them stay within 32 columns, a
 * row of these is two registers, and one permutation fetches a tap of all sixteen: a map that is
 * smooth touches three or four rows for a bilinear sample, six for a cubic one, against 64 and 256
 * loads one by one. */
#include "engine/image/gather_wide.h"

#include <math.h>

#define WINDOW 32
/* Rows beyond the kernel's own that are still quicker than loads one by one. */
#define MOST_ROWS 16

#if defined(__x86_64__) && defined(__GNUC__) && !defined(LB_NO_CLONES)

#include <immintrin.h>

#define WIDE __attribute__((target("avx512f")))
#define WIDE_INLINE WIDE __attribute__((always_inline)) static inline

static int32_t taps_before(lb_filter filter)
{
    return (int32_t)lb_filter_radius(filter) - 1;
}

bool lb_gather_is_wide(const lb_gather *g, int32_t group, const lb_gather_source *source)
{
    const lb_gather_span *span = &g->spans[group];
    int32_t taps = 2 * taps_before(g->filter) + 2;

    return g->filter != LB_FILTER_NEAREST && span->x1 - span->x0 + taps <= WINDOW &&
           span->y1 - span->y0 <= MOST_ROWS && source->width >= WINDOW &&
           __builtin_cpu_supports("avx512f");
}

/* The 32 columns around a group, and where the first tap of each sample is among them. */
typedef struct window {
    int32_t start;
    __m512i first, y;
} window;

WIDE_INLINE window window_of(const lb_gather *g, int32_t group, const lb_gather_source *source,
                             int32_t before)
{
    window w = {.start = g->spans[group].x0 - before};

    if (w.start > source->width - WINDOW) /* so that no load leaves the row */
        w.start = source->width - WINDOW;
    w.first = _mm512_sub_epi32(_mm512_loadu_si512(g->x + group * LB_GATHER_GROUP),
                               _mm512_set1_epi32(w.start + before));
    w.y = _mm512_loadu_si512(g->y + group * LB_GATHER_GROUP);
    return w;
}

/* The samples whose pixel is in row y. */
WIDE_INLINE __mmask16 in_row(const window *w, int32_t y)
{
    return _mm512_cmpeq_epi32_mask(w->y, _mm512_set1_epi32(y));
}

/* Taps 0 .. count - 1 of all samples in row y of plane p. */
WIDE_INLINE void fetch(const lb_gather_source *source, int32_t p, const window *w, int32_t y,
                       int32_t count, __m512 *taps)
{
    const float *row = source->origin[p] + y * source->stride[p] + w->start;
    __m512 low = _mm512_loadu_ps(row), high = _mm512_loadu_ps(row + 16);

    for (int32_t k = 0; k < count; k++)
        taps[k] =
            _mm512_permutex2var_ps(low, _mm512_add_epi32(w->first, _mm512_set1_epi32(k)), high);
}

WIDE_INLINE void store(const lb_gather *g, int32_t group, float *out, __m512 values)
{
    int32_t left = g->count - group * LB_GATHER_GROUP;

    if (left >= LB_GATHER_GROUP)
        _mm512_storeu_ps(out + group * LB_GATHER_GROUP, values);
    else
        _mm512_mask_storeu_ps(out + group * LB_GATHER_GROUP, (__mmask16)((1 << left) - 1), values);
}

WIDE_INLINE void bilinear(const lb_gather *g, int32_t group, const lb_gather_source *source,
                          int32_t planes, float *const *out)
{
    const lb_gather_span *span = &g->spans[group];
    window w = window_of(g, group, source, 0);
    __m512 one = _mm512_set1_ps(1), zero = _mm512_setzero_ps();
    __m512 top[LB_GATHER_PLANES] = {zero, zero, zero, zero},
           bottom[LB_GATHER_PLANES] = {zero, zero, zero, zero};
    __m512 fx = _mm512_loadu_ps(g->fx + group * LB_GATHER_GROUP);
    __m512 fy = _mm512_loadu_ps(g->fy + group * LB_GATHER_GROUP);
    __m512 ux = _mm512_sub_ps(one, fx), uy = _mm512_sub_ps(one, fy);
    __mmask16 between_x = _mm512_cmp_ps_mask(fx, zero, _CMP_NEQ_UQ);
    __mmask16 between_y = _mm512_cmp_ps_mask(fy, zero, _CMP_NEQ_UQ);

    for (int32_t y = span->y0; y <= span->y1 + 1; y++) {
        __mmask16 here = in_row(&w, y), above = in_row(&w, y - 1);

        for (int32_t p = 0; p < planes; p++) {
            __m512 taps[2], mixed;

            fetch(source, p, &w, y, 2, taps);
            mixed = _mm512_mask_add_ps(taps[0], between_x, _mm512_mul_ps(taps[0], ux),
                                       _mm512_mul_ps(taps[1], fx));
            top[p] = _mm512_mask_mov_ps(top[p], here, mixed);
            bottom[p] = _mm512_mask_mov_ps(bottom[p], above, mixed);
        }
    }
    for (int32_t p = 0; p < planes; p++)
        store(g, group, out[p],
              _mm512_mask_add_ps(top[p], between_y, _mm512_mul_ps(top[p], uy),
                                 _mm512_mul_ps(bottom[p], fy)));
}

/* The least and the largest pixel that a value may have. */
typedef struct limits {
    __m512 least, most;
} limits;

/* a < least ? a : least, as gather.c has it: NaN does not count. */
WIDE_INLINE void widen(limits *l, __mmask16 where, __m512 pixel)
{
    l->least = _mm512_mask_min_ps(l->least, where, pixel, l->least);
    l->most = _mm512_mask_max_ps(l->most, where, pixel, l->most);
}

WIDE_INLINE __m512 between(const limits *l, __m512 value)
{
    __m512 least =
        _mm512_mask_mov_ps(value, _mm512_cmp_ps_mask(l->least, l->most, _CMP_LE_OQ), l->least);

    value = _mm512_mask_mov_ps(least, _mm512_cmp_ps_mask(value, least, _CMP_GE_OQ), value);
    return _mm512_mask_mov_ps(value, _mm512_cmp_ps_mask(value, l->most, _CMP_GT_OQ), l->most);
}

WIDE_INLINE __m512 weight(const float (*weights)[LB_GATHER_MOST], int32_t k, int32_t group)
{
    return _mm512_loadu_ps(weights[k] + group * LB_GATHER_GROUP);
}

/* ((0 + 1) + (2 + 3)) + (4 + 5) */
WIDE_INLINE __m512 sum_across(const lb_gather *g, int32_t group, const __m512 *columns,
                              int32_t radius)
{
    __m512 sum = _mm512_setzero_ps();

    for (int32_t k = 0; k < 2 * radius; k += 2) {
        __m512 pair = _mm512_add_ps(_mm512_mul_ps(columns[k], weight(g->wx, k, group)),
                                    _mm512_mul_ps(columns[k + 1], weight(g->wx, k + 1, group)));

        sum = k == 0 ? pair : _mm512_add_ps(sum, pair);
    }
    return sum;
}

/* What a row is to each sample. */
typedef struct part {
    __m512 weight;
    __mmask16 at, below; /* it holds the sample's own pixels, or those below them */
    __mmask16 used;      /* it has a weight */
} part;

WIDE_INLINE part part_of(const lb_gather *g, int32_t group, const window *w, int32_t y,
                         int32_t radius)
{
    part here = {.weight = _mm512_setzero_ps()};

    for (int32_t j = 0; j < 2 * radius; j++) {
        __mmask16 mask = in_row(w, y + radius - 1 - j);

        here.weight = _mm512_mask_mov_ps(here.weight, mask, weight(g->wy, j, group));
        here.used |= mask;
        here.at = j == radius - 1 ? mask : here.at;
        here.below = j == radius ? mask : here.below;
    }
    return here;
}

/* Kernels of 2 radius taps an axis: down the columns, then across. `cardinal` kernels leave out
 * the other taps of an axis on which the position is whole. All but the pointers and `group` are
 * constants wherever this is inlined. */
WIDE_INLINE void kernel(const lb_gather *g, int32_t group, const lb_gather_source *source,
                        int32_t planes, int32_t radius, bool cardinal, bool limited,
                        float *const *out)
{
    const lb_gather_span *span = &g->spans[group];
    window w = window_of(g, group, source, radius - 1);
    __m512 zero = _mm512_setzero_ps(), columns[LB_GATHER_PLANES][6];
    limits l[LB_GATHER_PLANES];
    __mmask16 whole_x =
        _mm512_cmp_ps_mask(_mm512_loadu_ps(g->fx + group * LB_GATHER_GROUP), zero, _CMP_EQ_OQ);
    __mmask16 whole_y =
        _mm512_cmp_ps_mask(_mm512_loadu_ps(g->fy + group * LB_GATHER_GROUP), zero, _CMP_EQ_OQ);
    __mmask16 pixels = cardinal ? whole_y : 0;

    for (int32_t p = 0; p < planes; p++) {
        l[p] = (limits){_mm512_set1_ps(INFINITY), _mm512_set1_ps(-INFINITY)};
        for (int32_t k = 0; k < 2 * radius; k++)
            columns[p][k] = zero;
    }
    for (int32_t y = span->y0 - radius + 1; y <= span->y1 + radius; y++) {
        part here = part_of(g, group, &w, y, radius);
        __mmask16 used = here.used & (__mmask16)~pixels, copied = here.at & pixels;
        __mmask16 near = here.at | (here.below & (__mmask16)~whole_y);

        for (int32_t p = 0; p < planes; p++) {
            __m512 taps[6];

            fetch(source, p, &w, y, 2 * radius, taps);
            for (int32_t k = 0; k < 2 * radius; k++)
                columns[p][k] = _mm512_mask_add_ps(columns[p][k], used, columns[p][k],
                                                   _mm512_mul_ps(here.weight, taps[k]));
            if (cardinal && copied)
                for (int32_t k = 0; k < 2 * radius; k++)
                    columns[p][k] = _mm512_mask_mov_ps(columns[p][k], copied, taps[k]);
            if (limited) {
                widen(&l[p], near, taps[radius - 1]);
                widen(&l[p], near & (__mmask16)~whole_x, taps[radius]);
            }
        }
    }
    for (int32_t p = 0; p < planes; p++) {
        __m512 value = sum_across(g, group, columns[p], radius);

        if (cardinal)
            value = _mm512_mask_mov_ps(value, whole_x, columns[p][radius - 1]);
        store(g, group, out[p], limited ? between(&l[p], value) : value);
    }
}

typedef void (*wide_fn)(const lb_gather *g, int32_t group, const lb_gather_source *source,
                        float *const *out);

/* A function for each number of planes. */
#define FOR_PLANES(name, planes, ...)                                                              \
    WIDE static void name##_##planes(const lb_gather *g, int32_t group,                            \
                                     const lb_gather_source *source, float *const *out)            \
    {                                                                                              \
        __VA_ARGS__;                                                                               \
    }
#define BILINEAR(planes) FOR_PLANES(bilinear, planes, bilinear(g, group, source, planes, out))
#define KERNEL(name, planes, radius, cardinal, limited)                                            \
    FOR_PLANES(name, planes, kernel(g, group, source, planes, radius, cardinal, limited, out))
#define KERNELS(name, radius, cardinal, limited)                                                   \
    KERNEL(name, 1, radius, cardinal, limited)                                                     \
    KERNEL(name, 2, radius, cardinal, limited)                                                     \
    KERNEL(name, 3, radius, cardinal, limited)                                                     \
    KERNEL(name, 4, radius, cardinal, limited)                                                     \
    static const wide_fn name[] = {name##_1, name##_2, name##_3, name##_4};

BILINEAR(1)
BILINEAR(2)
BILINEAR(3)
BILINEAR(4)
static const wide_fn bilinears[] = {bilinear_1, bilinear_2, bilinear_3, bilinear_4};
KERNELS(cubic, 2, true, false)
KERNELS(cubic_limited, 2, true, true)
KERNELS(lanczos3, 3, true, false)
KERNELS(lanczos3_limited, 3, true, true)
KERNELS(mitchell, 2, false, false)

void lb_gather_wide(const lb_gather *g, int32_t group, const lb_gather_source *source,
                    float *const *out)
{
    const wide_fn *fns = g->filter == LB_FILTER_CUBIC ? g->limited ? cubic_limited : cubic
                         : g->filter == LB_FILTER_LANCZOS3
                             ? g->limited ? lanczos3_limited : lanczos3
                         : g->filter == LB_FILTER_MITCHELL ? mitchell
                                                           : bilinears;

    fns[source->count - 1](g, group, source, out);
}

#else

bool lb_gather_is_wide(const lb_gather *g, int32_t group, const lb_gather_source *source)
{
    (void)g;
    (void)group;
    (void)source;
    return false;
}

void lb_gather_wide(const lb_gather *g, int32_t group, const lb_gather_source *source,
                    float *const *out)
{
    (void)g;
    (void)group;
    (void)source;
    (void)out;
}

#endif
