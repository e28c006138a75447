/* engine/base/math_inline.h: elementary functions of float for hot loops; include math.h.
 *
 * Each is a range reduction and a polynomial without branches, so that a loop over them becomes
 * vectors. Polynomials interpolate at Chebyshev nodes (computed with 50 digits), so their error is
 * within a few percent of the least possible; constants are rounded to nearest. Conversions between
 * float and integer go through the bits, so that no argument is undefined behaviour. A NaN argument
 * gives NaN.
 *
 * LB_..._ULPS is the largest distance to the exact value in units in its last place, over all
 * floats. From one float to the next lb_expf, lb_log2f, lb_asinf, lb_acosf and, at the exponents of
 * transfer curves, lb_powf never step back; lb_exp2f may, by an ulp. */
#ifndef LB_BASE_MATH_INLINE_H
#define LB_BASE_MATH_INLINE_H

#include <math.h>
#include <stdint.h>
#include <string.h>

static inline uint32_t lb_bits_f32(float x)
{
    uint32_t bits;
    memcpy(&bits, &x, sizeof bits);
    return bits;
}

static inline float lb_f32_bits(uint32_t bits)
{
    float x;
    memcpy(&x, &bits, sizeof x);
    return x;
}

static inline uint64_t lb_bits_f64(double x)
{
    uint64_t bits;
    memcpy(&bits, &x, sizeof bits);
    return bits;
}

static inline double lb_f64_bits(uint64_t bits)
{
    double x;
    memcpy(&x, &bits, sizeof x);
    return x;
}

/* Adding 1.5 * 2^23 (2^52) leaves no bits for a fraction: rounds to the nearest whole number, ties
 * to even, and leaves that number in the low bits. For |x| < 2^22 (2^51). */
#define LB_ROUND_F32 12582912.0f
#define LB_ROUND_F64 6755399441055744.0

/* p * 2^k, k from -252 to 254, in two steps so that results below the normal range round once. */
static inline float lb_scale_f32(float p, int32_t k)
{
    int32_t half = k >> 1;
    return p * lb_f32_bits((uint32_t)(half + 127) << 23) *
           lb_f32_bits((uint32_t)(k - half + 127) << 23);
}

/* 2^x. From 128 on: infinity; at -150 and below: 0. */
#define LB_EXP2F_ULPS 1.25
static inline float lb_exp2f(float x)
{
    float c = x < -151.0f ? -151.0f : x;
    float t, f, q;
    int32_t k;

    c = c > 128.0f ? 128.0f : c;
    t = c + LB_ROUND_F32;
    k = (int32_t)(lb_bits_f32(t) - lb_bits_f32(LB_ROUND_F32));
    f = c - (t - LB_ROUND_F32);
    q = 0.000154531629451f;
    q = q * f + 0.00133908633647f;
    q = q * f + 0.00961808255728f;
    q = q * f + 0.0555035711422f;
    q = q * f + 0.240226507606f;
    q = q * f + 0.693147188026f;
    return lb_scale_f32(1.0f + f * q, k);
}

/* e^x. Infinity and 0 beyond the range of float. */
#define LB_EXPF_ULPS 1.25
static inline float lb_expf(float x)
{
    const float ln2_high = 0x1.62e4p-1f; /* 15 bits: times k is exact */
    const float ln2_low = 0x1.7f7d1cp-20f;
    float c = x < -105.0f ? -105.0f : x;
    float t, r, q;
    int32_t k;

    c = c > 89.0f ? 89.0f : c;
    t = c * 1.44269504088896341f + LB_ROUND_F32;
    k = (int32_t)(lb_bits_f32(t) - lb_bits_f32(LB_ROUND_F32));
    t -= LB_ROUND_F32;
    r = (c - t * ln2_high) - t * ln2_low;
    q = 0.00139261761199f;
    q = q * r + 0.00836317307451f;
    q = q * r + 0.0416665546621f;
    q = q * r + 0.166665770256f;
    q = q * r + 0.5f;
    return lb_scale_f32(1.0f + (r + r * r * q), k);
}

/* log2 x. 0: -infinity; below: NaN. */
#define LB_LOG2F_ULPS 2.0
static inline float lb_log2f(float x)
{
    const uint32_t root_half =
        0x3f3504f3u; /* sqrt(1/2): the mantissa goes from there to its double */
    float scaled = x < 0x1p-126f ? x * 0x1p25f : x;
    float extra = x < 0x1p-126f ? -25.0f : 0.0f;
    uint32_t shifted = lb_bits_f32(scaled) - root_half;
    float e = (float)((int32_t)shifted >> 23) + extra;
    float f = lb_f32_bits((shifted & 0x7fffffu) + root_half) - 1.0f;
    float q = -0.107497894181f, y;

    q = q * f + 0.184760333652f;
    q = q * f + -0.191388376567f;
    q = q * f + 0.204857647786f;
    q = q * f + -0.23960812191f;
    q = q * f + 0.288552561437f;
    q = q * f + -0.360696541808f;
    q = q * f + 0.480898520324f;
    q = q * f + -0.721347354479f;
    q = q * f + 1.44269504f;
    y = e + f * q;
    y = x < INFINITY ? y : x;
    return x > 0.0f ? y : (x == 0.0f ? -INFINITY : NAN);
}

/* x^y for x >= 0, computed in double. x < 0: NaN, unless y is 0; x^0 is 1 for every x, NaN too. 0^y
 * and infinity^y are 0 or infinity. y is finite. */
#define LB_POWF_ULPS 0.6
static inline float lb_powf(float x, float y)
{
    const uint64_t root_half = UINT64_C(0x3fe6a09e667f3bcd);
    const uint64_t fraction = UINT64_C(0x000fffffffffffff);
    uint64_t shifted = lb_bits_f64((double)x) - root_half + (UINT64_C(1023) << 52);
    double e = lb_f64_bits((shifted >> 52) | UINT64_C(0x4330000000000000)) - (0x1p52 + 1023.0);
    double m = lb_f64_bits((shifted & fraction) + root_half);
    double s = (m - 1.0) / (m + 1.0), z = s * s;
    double log, v, t, f, q;
    float power;

    /* log2 m = 2 / ln 2 (s + s^3 / 3 + s^5 / 5 + ...), |s| < 0.172: the rest is below 1e-11. */
    q = 0.22195308321368679; /* 2 / (13 ln 2) */
    q = q * z + 0.26230818925253894;
    q = q * z + 0.32059889797532537;
    q = q * z + 0.41219858311113260;
    q = q * z + 0.57707801635558536;
    q = q * z + 0.96179669392597556;
    q = q * z + 2.88539008177792681;
    log = e + s * q;
    log = x < INFINITY ? log : (double)x;
    log = x > 0.0f ? log : (x == 0.0f ? -(double)INFINITY : (double)NAN);
    v = (double)y * log;
    v = v < -200.0 ? -200.0 : v;
    v = v > 200.0 ? 200.0 : v;
    t = v + LB_ROUND_F64;
    f = v - (t - LB_ROUND_F64);
    q = 0.000154531629451;
    q = q * f + 0.00133908633647;
    q = q * f + 0.00961808255728;
    q = q * f + 0.0555035711422;
    q = q * f + 0.240226507606;
    q = q * f + 0.693147188026;
    q = 1.0 + f * q;
    power = (float)lb_f64_bits(lb_bits_f64(q) + (lb_bits_f64(t) << 52));
    power = v == v ? power : NAN;
    return y == 0.0f ? 1.0f : power;
}

/* What lb_powf_quick takes of an exponent, 0 < y <= 4; made once for many values. */
typedef struct lb_power {
    float least, most; /* x is kept within: so no power leaves the range of float */
    float high, low;   /* y / 2^23 in two parts, so that the first times an exponent is exact */
    float log[4];      /* y times the coefficients of the logarithm */
} lb_power;

static inline lb_power lb_power_of(float y)
{
    float high = lb_f32_bits(lb_bits_f32(y) & 0xfffff000), least = lb_exp2f(-125.0f / y),
          most = lb_exp2f(127.99f / y);

    return (lb_power){
        .least = least > 0x1p-126f ? least : 0x1p-126f,
        .most = most < 0x1.fffffep+127f ? most : 0x1.fffffep+127f,
        .high = high * 0x1p-23f,
        .low = (y - high) * 0x1p-23f,
        .log = {y * 2.8853900798f, y * 0.961798838802f, y * 0.576715186019f, y * 0.431717697459f}};
}

/* x^y for x > 0, computed in floats: for grades, in a third of lb_powf's time. What is below
 * 2^-126, and NaN, counts as that, infinity as the largest float; results below 2^-125 become that,
 * those beyond 2^127.99 that. */
#define LB_POWF_QUICK_ULPS 4.5 /* y <= 2: 2.5 */
static inline float lb_powf_quick(float x, lb_power y)
{
    const uint32_t root_half = 0x3f3504f3;
    float within = x > y.least ? x : y.least;
    float m, s, z, e, q, whole, rest, t, r;
    uint32_t bits, exponent;

    within = within < y.most ? within : y.most;
    bits = lb_bits_f32(within);
    exponent = (bits - root_half) & 0xff800000;
    e = (float)(int32_t)exponent; /* times 2^23 */
    m = lb_f32_bits(bits - exponent);

    /* log2 m = 2 / ln 2 (s + s^3 / 3 + s^5 / 5 + ...), |s| < 0.172: the polynomial's error is 4e-10
     */
    s = (m - 1.0f) / (m + 1.0f);
    z = s * s;
    q = y.log[3];
    q = q * z + y.log[2];
    q = q * z + y.log[1];
    q = q * z + y.log[0];
    whole = y.high * e;
    rest = y.low * e + s * q;
    t = (whole + rest) + LB_ROUND_F32;
    r = (whole - (t - LB_ROUND_F32)) + rest;
    q = 0.000154531629451f;
    q = q * r + 0.00133908633647f;
    q = q * r + 0.00961808255728f;
    q = q * r + 0.0555035711422f;
    q = q * r + 0.240226507606f;
    q = q * r + 0.693147188026f;
    q = q * r + 1.0f;
    return lb_f32_bits(lb_bits_f32(q) + (lb_bits_f32(t) << 23));
}

/* x less the nearest multiple of pi/2, and that multiple's low bits. Exact to float for |x| <=
 * 2^20; above, the error grows by |x| 2^-53 until it means nothing; always within pi/4. */
static inline float lb_reduce_f32(float x, uint32_t *quadrant)
{
    const double half_pi_high = 0x1.921fb54p+0; /* 27 bits */
    const double half_pi_low = 0x1.10b4611a62633p-30;
    double t = (double)x * 0.63661977236758134 + LB_ROUND_F64;
    double n = t - LB_ROUND_F64;
    float r = (float)(((double)x - n * half_pi_high) - n * half_pi_low);

    *quadrant = lb_bits_f32((float)n + LB_ROUND_F32);
    r = r < -0.7853982f ? -0.7853982f : r;
    return r > 0.7853982f ? 0.7853982f : r;
}

/* Sine of |r| <= pi/4, or cosine when `cosine` is 1 and not 0; bit 1 of `quadrant` turns the sign.
 */
static inline float lb_sine_f32(float r, uint32_t cosine, uint32_t quadrant)
{
    float z = r * r, s, c;
    uint32_t pick = 0u - cosine;

    s = 2.72493143604e-6f;
    s = s * z + -0.000198400820151f;
    s = s * z + 0.00833333186596f;
    s = s * z + -0.166666666638f;
    s = r + r * z * s;
    c = 2.45474374625e-5f;
    c = c * z + -0.00138883006981f;
    c = c * z + 0.0416666646475f;
    c = 1.0f - (0.5f * z - z * z * c);
    return lb_f32_bits(((lb_bits_f32(s) & ~pick) | (lb_bits_f32(c) & pick)) ^ (quadrant & 2u)
                                                                                  << 30);
}

/* sin x. The bound holds for |x| <= 2^20; beyond that only within -1 .. 1. sin -0 is +0. */
#define LB_SINF_ULPS 1.5
static inline float lb_sinf(float x)
{
    uint32_t quadrant;
    float r = lb_reduce_f32(x, &quadrant);
    return lb_sine_f32(r, quadrant & 1u, quadrant);
}

/* cos x. As lb_sinf. */
static inline float lb_cosf(float x)
{
    uint32_t quadrant;
    float r = lb_reduce_f32(x, &quadrant);
    return lb_sine_f32(r, (quadrant & 1u) ^ 1u, quadrant + 1u);
}

/* The angle of the point (x, y), -pi .. pi. Signs of zeros and infinities as IEEE 754's atan2. */
#define LB_ATAN2F_ULPS 2.0
static inline float lb_atan2f(float y, float x)
{
    float ax = fabsf(x), ay = fabsf(y);
    float small = ax < ay ? ax : ay, large = ax < ay ? ay : ax;
    float t = small / large, z, q, a;

    t = small == large ? 1.0f : t; /* both infinite */
    t = large == 0.0f ? 0.0f : t;  /* both zero */
    z = t * t;
    q = -0.00238699731672f;
    q = q * z + 0.013507771427f;
    q = q * z + -0.035871538982f;
    q = q * z + 0.0625016944475f;
    q = q * z + -0.0865688043015f;
    q = q * z + 0.110337641153f;
    q = q * z + -0.142785687482f;
    q = q * z + 0.199997393298f;
    q = q * z + -0.333333317331f;
    a = t + t * z * q;
    /* pi/2 and pi in two parts, the second as far as float can tell. */
    a = ax < ay ? 0x1.921fb6p+0f - (a + 0x1.777a5cp-25f) : a;
    a = lb_bits_f32(x) >> 31 ? 0x1.921fb6p+1f - (a + 0x1.777a5cp-24f) : a;
    a = x == x && y == y ? a : NAN;
    return lb_f32_bits(lb_bits_f32(a) | (lb_bits_f32(y) & 0x80000000u));
}

/* asin t for 0 <= t <= 1/2, with z = t^2. */
static inline float lb_arcsine_f32(float t, float z)
{
    float q = 0.0336908472028f;

    q = q * z + 0.0171492383577f;
    q = q * z + 0.0311006627355f;
    q = q * z + 0.0445994015285f;
    q = q * z + 0.075000945435f;
    q = q * z + 0.166666663374f;
    return t + t * z * q;
}

/* asin x. |x| > 1: NaN. */
#define LB_ASINF_ULPS 2.5
static inline float lb_asinf(float x)
{
    float ax = fabsf(x);
    float far = 0.5f * (1.0f - ax);
    float z = ax < 0.5f ? ax * ax : far;
    float a = lb_arcsine_f32(ax < 0.5f ? ax : sqrtf(far), z);

    a = ax < 0.5f ? a : 0x1.921fb6p+0f - (2.0f * a + 0x1.777a5cp-25f);
    return lb_f32_bits(lb_bits_f32(a) ^ (lb_bits_f32(x) & 0x80000000u));
}

/* acos x. |x| > 1: NaN. */
#define LB_ACOSF_ULPS 1.25
static inline float lb_acosf(float x)
{
    float ax = fabsf(x);
    float far = 0.5f * (1.0f - ax);
    float z = ax < 0.5f ? ax * ax : far;
    float a = lb_arcsine_f32(ax < 0.5f ? ax : sqrtf(far), z);
    float near = 0x1.921fb6p+0f - ((x < 0.0f ? -a : a) + 0x1.777a5cp-25f);
    float end = x < 0.0f ? 0x1.921fb6p+1f - (2.0f * a + 0x1.777a5cp-24f) : 2.0f * a;

    return ax < 0.5f ? near : end;
}

#endif
