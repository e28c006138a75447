/* engine/base/random.h: numbers that look random and are a pure function of their seed. */
#ifndef LB_BASE_RANDOM_H
#define LB_BASE_RANDOM_H

#include <stdint.h>

/* Mixes four words into one; every input bit reaches every output bit. */
uint32_t lb_random_u32(uint32_t a, uint32_t b, uint32_t c, uint32_t d);
/* 0 <= value < 1, 24 bits. */
float lb_random_float(uint32_t a, uint32_t b, uint32_t c, uint32_t d);

/* Gradient noise, lattice period 2^32, in -1 .. 1, 0 at whole coordinates, C2 smooth. Same bits on
 * every machine. `seed` picks another field. */
double lb_noise1(double x, uint32_t seed);
double lb_noise2(double x, double y, uint32_t seed);
double lb_noise3(double x, double y, double z, uint32_t seed);
/* One row of 3D noise at (x0 + i * dx, y, z), i < count, in float: lb_noise3 within 1e-6. The sums
 * are made in double; where x0 and dx are multiples of 2^-20 they are exact, and a row may be cut
 * anywhere without a bit changing. */
void lb_noise3_row(float *out, int32_t count, double x0, double dx, double y, double z,
                   uint32_t seed);

#endif
