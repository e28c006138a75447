/* tests/bench/ours_stream.c: how fast the machine moves memory. The measure is McCalpin's STREAM
 * (copy and triad); the code is our own. */
#include "tests/bench/ours.h"

#include "engine/base/clones.h"
#ifdef __SSE2__
#include <emmintrin.h>
#endif

#define PIECE ((size_t)1 << 16) /* floats of one piece of work */

typedef struct stream_work {
    float *out;
    const float *a, *b;
    float scale;
    size_t count;
} stream_work;

LB_CLONES
static void copy_plain(float *restrict out, const float *restrict a, size_t count)
{
    for (size_t i = 0; i < count; i++)
        out[i] = a[i] * 1.0f; /* a loop: memcpy would choose streaming stores by itself */
}

LB_CLONES
static void triad_plain(float *restrict out, const float *restrict a, const float *restrict b,
                        float scale, size_t count)
{
    for (size_t i = 0; i < count; i++)
        out[i] = a[i] + scale * b[i];
}

/* `out` is aligned to 16 bytes and `count` a multiple of 4 where these are called. */
static void copy_streaming(float *restrict out, const float *restrict a, size_t count)
{
#ifdef __SSE2__
    for (size_t i = 0; i < count; i += 4)
        _mm_stream_ps(out + i, _mm_loadu_ps(a + i));
    _mm_sfence();
#else
    copy_plain(out, a, count);
#endif
}

static void triad_streaming(float *restrict out, const float *restrict a, const float *restrict b,
                            float scale, size_t count)
{
#ifdef __SSE2__
    const __m128 s = _mm_set1_ps(scale);

    for (size_t i = 0; i < count; i += 4)
        _mm_stream_ps(out + i, _mm_add_ps(_mm_loadu_ps(a + i), _mm_mul_ps(s, _mm_loadu_ps(b + i))));
    _mm_sfence();
#else
    triad_plain(out, a, b, scale, count);
#endif
}

static lb_status plain_pieces(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const stream_work *w = context;
    size_t first = (size_t)begin * PIECE, last = (size_t)end * PIECE;
    size_t count = (last < w->count ? last : w->count) - first;

    (void)worker;
    if (w->b)
        triad_plain(w->out + first, w->a + first, w->b + first, w->scale, count);
    else
        copy_plain(w->out + first, w->a + first, count);
    return LB_OK;
}

static lb_status streaming_pieces(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const stream_work *w = context;
    size_t first = (size_t)begin * PIECE, last = (size_t)end * PIECE;
    size_t count = (last < w->count ? last : w->count) - first;

    (void)worker;
    if (w->b)
        triad_streaming(w->out + first, w->a + first, w->b + first, w->scale, count);
    else
        copy_streaming(w->out + first, w->a + first, count);
    return LB_OK;
}

int bench_stream(bench *b, float *out, const float *a, const float *b_or_null, float scale,
                 size_t count, int streaming)
{
    stream_work w = {out, a, b_or_null, scale, count};
    size_t pieces = (count + PIECE - 1) / PIECE;

    if (count % 4 != 0 || (uintptr_t)out % 16 != 0)
        return (int)LB_INVALID;
    return (int)lb_pool_for(b->pool, (int32_t)pieces, 4,
                            streaming ? streaming_pieces : plain_pieces, &w);
}
