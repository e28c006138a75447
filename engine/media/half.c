/* engine/media/half.c: conversions by integer arithmetic alone, so that every CPU gives the same
 * bits and loops become vectors. */
#include "engine/media/half.h"

#include <string.h>

#include "engine/base/clones.h"

#define FLOAT_INFINITY 0x7f800000u
#define OVERFLOWS 0x477ff000u       /* 65520: halfway between 65504 and 2^16 */
#define SMALLEST_NORMAL 0x38800000u /* 2^-14 */
#define BIAS_DIFFERENCE 0x38000000u /* (127 - 15) << 23 */
#define ONE_HALF 0x3f000000u        /* 0.5f, whose last place is 2^-24, the smallest half */

static inline uint32_t bits_of(float value)
{
    uint32_t bits;

    memcpy(&bits, &value, sizeof bits);
    return bits;
}

static inline float float_of(uint32_t bits)
{
    float value;

    memcpy(&value, &bits, sizeof value);
    return value;
}

LB_CLONES
bool lb_half_from_float_row(uint16_t *restrict out, const float *restrict in, int32_t count)
{
    uint32_t clamped = 0;

    for (int32_t x = 0; x < count; x++) {
        uint32_t bits = bits_of(in[x]), size = bits & 0x7fffffffu;
        /* Thirteen mantissa bits go; adding half a place, and one less if the place is even,
         * carries where it should. */
        uint32_t normal = (size - BIAS_DIFFERENCE + 0xfffu + ((size >> 13) & 1)) >> 13;
        /* Adding 0.5 lets the FPU round to multiples of 2^-24. */
        uint32_t small = bits_of(float_of(size) + 0.5f) - ONE_HALF;
        uint32_t payload = (size >> 13) & 0x3ffu;
        uint32_t nan = 0x7c00u | payload | (payload == 0); /* still a NaN */
        uint32_t is_over = (uint32_t)(size >= OVERFLOWS) & (uint32_t)(size < FLOAT_INFINITY);
        uint32_t half = size < SMALLEST_NORMAL ? small : normal;

        half = size >= OVERFLOWS ? 0x7bffu : half;
        half = size == FLOAT_INFINITY ? 0x7c00u : half;
        half = size > FLOAT_INFINITY ? nan : half;
        clamped |= is_over;
        out[x] = (uint16_t)(half | ((bits >> 16) & 0x8000u));
    }
    return clamped != 0;
}

LB_CLONES
void lb_half_to_float_row(float *restrict out, const uint16_t *restrict in, int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        uint32_t half = in[x], size = (half & 0x7fffu) << 13;
        uint32_t normal = size + BIAS_DIFFERENCE;
        /* A subnormal m is (1 + m / 1024) 2^-14 less 2^-14. */
        uint32_t small = bits_of(float_of(size | SMALLEST_NORMAL) - float_of(SMALLEST_NORMAL));
        uint32_t value = (half & 0x7c00u) ? normal : small;

        value = (half & 0x7c00u) == 0x7c00u ? normal + BIAS_DIFFERENCE : value;
        out[x] = float_of(value | ((half & 0x8000u) << 16));
    }
}
