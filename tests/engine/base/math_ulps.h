/* tests/engine/base/math_ulps.h: how far a value is from the exact one. */
#ifndef LB_TESTS_MATH_ULPS_H
#define LB_TESTS_MATH_ULPS_H

#include <math.h>
#include <stdint.h>

#include "engine/base/math.h"

/* The distance in units of the last of `digits` binary places of the exact value; `lowest` is the
 * exponent below which the places stay where they are. */
static inline double ulps(long double got, long double want, int digits, int lowest)
{
    int exponent;

    if (isnan(got) || isnan(want))
        return isnan(got) && isnan(want) ? 0 : INFINITY;
    if (got == want)
        return 0;
    if (isinf(got) || isinf(want))
        return INFINITY;
    frexpl(want, &exponent);
    if (exponent < lowest)
        exponent = lowest;
    return (double)ldexpl(fabsl(got - want), digits - exponent);
}

/* A result beyond the largest number is infinity, exactly. */
static inline double ulps_f64(double got, long double want)
{
    if (isinf((double)want))
        return got == (double)want ? 0 : INFINITY;
    return ulps(got, want, 53, -1021);
}

/* The same of a float, in double, which is fine enough and much quicker. */
static inline double ulps_f32(float got, double want)
{
    int exponent = (int)(lb_bits_f64(want) >> 52 & 0x7ff) - 1022;

    if (isnan(got) || isnan(want))
        return isnan(got) && isnan(want) ? 0 : INFINITY;
    if (isinf((float)want))
        return got == (float)want ? 0 : INFINITY;
    exponent = exponent < -125 ? -125 : exponent;
    return fabs((double)got - want) * lb_f64_bits((uint64_t)(1023 + 24 - exponent) << 52);
}

/* Values that special cases are about. */
static const double specials[] = {
    0.0,
    -0.0,
    1,
    -1,
    2,
    -2,
    3,
    -3,
    0.5,
    -0.5,
    1.5,
    -1.5,
    0.25,
    1e300,
    -1e300,
    1e-300,
    -1e-300,
    1e20,
    0x1p53,
    -0x1p53,
    0x1p-1074,
    -0x1p-1074,
    0x1p-149,
    -0x1p-149,
    0x1p-126,
    0x1.fffffep127,
    -0x1.fffffep127,
    0x1.fffffep-1,
    0x1.000002p0,
    0x1.fffffffffffffp1023,
    0x1p-1022,
    0x1.fffffffffffffp-1,
    0x1.0000000000001p0,
    INFINITY,
    -INFINITY,
    NAN,
};
#define SPECIALS (sizeof specials / sizeof specials[0])

#endif
