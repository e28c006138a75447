/* tests/engine/base/test_random.c: hashed numbers by statistics of textbooks; gradient noise by the
 * properties that its definition gives it. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/random.h"

static uint32_t word_of(const uint32_t w[4])
{
    return lb_random_u32(w[0], w[1], w[2], w[3]);
}

/* The strict avalanche criterion (Webster and Tavares 1985, "On the design of S-boxes"): whichever
 * of the 128 input bits is turned, each output bit turns half of the time. 4096 trials: standard
 * deviation 32; of 4096 pairs of bits none should be 6 of them away (2e-9 each). The inputs are
 * small counts, as frames, pixels and samples are. */
Test(random, every_input_bit_reaches_every_output_bit)
{
    int worst = 0;

    for (int in = 0; in < 128; in++) {
        int turned[32] = {0};
        for (uint32_t trial = 0; trial < 4096; trial++) {
            uint32_t w[4] = {trial & 7, trial >> 3 & 7, trial >> 6 & 7, trial >> 9}, before;
            uint32_t change;
            before = word_of(w);
            w[in / 32] ^= 1u << in % 32;
            change = before ^ word_of(w);
            for (int out = 0; out < 32; out++)
                turned[out] += change >> out & 1;
        }
        for (int out = 0; out < 32; out++)
            if (abs(turned[out] - 2048) > worst)
                worst = abs(turned[out] - 2048);
    }
    cr_expect(worst < 6 * 32, "%d", worst);
}

/* Pearson's chi-squared with 255 degrees of freedom: mean 255, standard deviation 22.6; within five
 * of them. Along each of the four words, and for the floats. */
Test(random, numbers_are_spread_evenly)
{
    for (int word = 0; word < 4; word++) {
        int bins[256] = {0}, low[256] = {0};
        double sum = 0, sum_low = 0;
        for (uint32_t i = 0; i < 256 * 400; i++) {
            uint32_t w[4] = {1, 2, 3, 4};
            float f;
            w[word] = i;
            f = lb_random_float(w[0], w[1], w[2], w[3]);
            cr_assert(f >= 0 && f < 1);
            bins[(int)(f * 256)]++;
            low[word_of(w) & 255]++;
        }
        for (int b = 0; b < 256; b++) {
            sum += (bins[b] - 400.0) * (bins[b] - 400.0) / 400;
            sum_low += (low[b] - 400.0) * (low[b] - 400.0) / 400;
        }
        cr_expect(fabs(sum - 255) < 5 * 22.6, "word %d: %g", word, sum);
        cr_expect(fabs(sum_low - 255) < 5 * 22.6, "word %d, low bits: %g", word, sum_low);
    }
}

/* Neighbours must not look alike: correlation of 100000 pairs, standard deviation 1 / sqrt(n). */
Test(random, neighbours_do_not_correlate)
{
    for (int word = 0; word < 4; word++) {
        const int n = 100000;
        double product = 0;
        for (int i = 0; i < n; i++) {
            uint32_t w[4] = {5, 5, 5, 5};
            double a, b;
            w[word] = (uint32_t)i;
            a = (double)word_of(w) * 0x1p-32 - 0.5;
            w[word]++;
            b = (double)word_of(w) * 0x1p-32 - 0.5;
            product += 12 * a * b; /* variance of a uniform number: 1/12 */
        }
        cr_expect(fabs(product / n) < 5 / sqrt(n), "word %d: %g", word, product / n);
    }
}

static uint32_t state = 1;

static double uniform(double low, double high)
{
    state = state * 1664525u + 1013904223u; /* Knuth, Seminumerical Algorithms, table 3.3.4-1 */
    return low + (high - low) * ((double)(state >> 8) * 0x1p-24);
}

/* Gradient noise is the sum of slopes that pass through 0 at their lattice points (Perlin 1985, "An
 * Image Synthesizer"; 2002, "Improving Noise"). */
Test(random, noise_is_zero_on_the_lattice)
{
    for (int i = 0; i < 1000; i++) {
        double x = rint(uniform(-1e6, 1e6)), y = rint(uniform(-9, 9)), z = rint(uniform(-9, 9));
        cr_expect(lb_noise1(x, 7) == 0 && lb_noise2(x, y, 7) == 0 && lb_noise3(x, y, z, 7) == 0);
    }
}

Test(random, noise_fills_its_range_and_has_no_bias)
{
    const int n = 300000;
    double sum[3] = {0}, square[3] = {0}, most[3] = {0};

    for (int i = 0; i < n; i++) {
        double x = uniform(-1000, 1000), y = uniform(-1000, 1000), z = uniform(-1000, 1000);
        double v[3] = {lb_noise1(x, 3), lb_noise2(x, y, 3), lb_noise3(x, y, z, 3)};
        for (int d = 0; d < 3; d++) {
            sum[d] += v[d];
            square[d] += v[d] * v[d];
            most[d] = fmax(most[d], fabs(v[d]));
        }
    }
    for (int d = 0; d < 3; d++) {
        double deviation = sqrt(square[d] / n);
        cr_expect(most[d] <= 1, "%dD: %g", d + 1, most[d]);
        cr_expect(most[d] > 0.8, "%dD reaches only %g", d + 1, most[d]);
        /* Points share cells, so fewer of them count: in 1D 2000 cells. */
        cr_expect(fabs(sum[d] / n) < 5 * deviation / sqrt(d == 0 ? 2000 : n), "%dD: mean %g", d + 1,
                  sum[d] / n);
        cr_expect(deviation > 0.2 && deviation < 0.5, "%dD: deviation %g", d + 1, deviation);
    }
}

static double fade(double t)
{
    return t * t * t * (t * (t * 6 - 15) + 10); /* Perlin 2002, equation 2 */
}

/* The most that the weighted slopes of a cell can add up to when each corner has the gradient that
 * serves it best: unit vectors at 22.5 + 45 k degrees in 2D, the edges of a cube in 3D. */
static double best_sum(int dimensions, const double p[3])
{
    double total = 0;

    for (int corner = 0; corner < 1 << dimensions; corner++) {
        double weight = 1, d[3] = {0}, best = 0;
        for (int a = 0; a < dimensions; a++) {
            int at = corner >> a & 1;
            weight *= at ? fade(p[a]) : 1 - fade(p[a]);
            d[a] = p[a] - at;
        }
        if (dimensions == 2)
            for (int k = 0; k < 8; k++)
                best = fmax(best, d[0] * cos((22.5 + 45 * k) * acos(-1) / 180) +
                                      d[1] * sin((22.5 + 45 * k) * acos(-1) / 180));
        else
            best = fabs(d[0]) + fabs(d[1]) + fabs(d[2]) -
                   fmin(fabs(d[0]), fmin(fabs(d[1]), fabs(d[2])));
        total += weight * best;
    }
    return total;
}

/* The divisors in random.c: the maximum found by climbing from the best point of a grid is below
 * each, and no further than 1e-5. */
Test(random, noise_is_scaled_by_the_largest_sum)
{
    static const double divisors[4] = {0, 0, 0.660817, 1.036354};

    for (int dimensions = 2; dimensions <= 3; dimensions++) {
        double best = 0, at[3] = {0}, step = 0.02;
        for (int i = 0; i < 21 * 21 * 21; i++) {
            double p[3] = {i % 21 / 40.0, i / 21 % 21 / 40.0, i / 441 / 40.0}, sum;
            sum = best_sum(dimensions, p);
            if (sum > best) {
                best = sum;
                memcpy(at, p, sizeof at);
            }
        }
        for (int i = 0; i < 6000; i++, step *= 0.998) {
            double p[3], sum;
            for (int a = 0; a < 3; a++)
                p[a] = at[a] + uniform(-step, step);
            sum = best_sum(dimensions, p);
            if (sum > best) {
                best = sum;
                memcpy(at, p, sizeof at);
            }
        }
        cr_expect(best <= divisors[dimensions] && best > divisors[dimensions] - 1e-5, "%dD: %.9g",
                  dimensions, best);
    }
}

/* With the fade of Perlin (2002) first and second derivatives are continuous across cells; the
 * second is 0 on a lattice plane, seen from either side (the slopes are straight and the fade's
 * second derivative vanishes). Step 1e-3: what is left is the third derivative times the step. */
Test(random, noise_is_smooth_across_cells)
{
    const double h = 1e-3;

    for (int i = 0; i < 300; i++) {
        double x = rint(uniform(-50, 50)), y = uniform(-50, 50), z = uniform(-50, 50);
        double slope[2], bend[2];
        for (int side = 0; side < 2; side++) {
            double s = side ? h : -h, v[3];
            for (int k = 0; k < 3; k++)
                v[k] = i % 2 ? lb_noise3(x + k * s, y, z, 1) : lb_noise3(z, y, x + k * s, 1);
            slope[side] = (-3 * v[0] + 4 * v[1] - v[2]) / (2 * s);
            bend[side] = (v[2] - 2 * v[1] + v[0]) / (s * s);
        }
        cr_expect(fabs(slope[0] - slope[1]) < 1e-3, "slope %g and %g", slope[0], slope[1]);
        cr_expect(fabs(bend[0]) < 0.3 && fabs(bend[1]) < 0.3, "bend %g and %g", bend[0], bend[1]);
    }
}

Test(random, seeds_give_other_fields)
{
    int same = 0;

    for (int i = 0; i < 100; i++) {
        double x = uniform(-9, 9);
        same += lb_noise1(x, 1) == lb_noise1(x, 2);
        same += lb_noise2(x, 0.3, 1) == lb_noise2(x, 0.3, 2);
        same += lb_noise3(x, 0.3, 0.7, 1) == lb_noise3(x, 0.3, 0.7, 2);
    }
    cr_expect(same < 3, "%d", same);
}

Test(random, the_lattice_closes_after_two_to_the_32)
{
    for (int i = 0; i < 100; i++) {
        double x = ldexp(rint(uniform(0, 1048576)), -20), far = x + 4294967296.0; /* exact */
        cr_expect(lb_noise1(x, 5) == lb_noise1(far, 5));
        cr_expect(lb_noise3(x, 0.5, 0.25, 5) == lb_noise3(far, 0.5 - 4294967296.0, 0.25, 5));
    }
}

Test(random, rows_agree_with_single_values)
{
    static const struct {
        double x0, dx, y, z;
    } rows[] = {
        {0, 0.013, 0.5, 0.25},      {-7.3, 0.11, -3.7, 12.5}, {1e5, -0.37, 1e4, -1e3},
        {-1.5, 0.066, 3.25, -8.5},  {7, 1 / 15.0, 0.5, 0.1},  {-0.1, 0.0668, 0.3, 0.3},
        {-2e9, 1e6, 0.1, 0.9},      {5e9, 0.25, 0.1, 0.9},    {2e9, 1e8, 0.1, 0.9},
        {1e300, 1e299, 0.1, 1e200}, {0.5, 0, 0.5, 0.5},
    };
    float out[1100];

    for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
        double worst = 0;
        lb_noise3_row(out, 1100, rows[r].x0, rows[r].dx, rows[r].y, rows[r].z, 9);
        for (int i = 0; i < 1100; i++)
            worst = fmax(worst, fabs((double)out[i] - lb_noise3(rows[r].x0 + i * rows[r].dx,
                                                                rows[r].y, rows[r].z, 9)));
        cr_expect(worst <= 1e-6, "row %zu: %g", r, worst);
    }
    lb_noise3_row(out, 0, 0, 1, 0, 0, 9);
}

/* Where the sums are exact a row may be cut anywhere. */
Test(random, a_row_may_be_cut)
{
    static const double steps[] = {37 * 0x1p-11, 60 * 0x1p-10, 0x1p-20, 0.25};
    float whole[600], parts[600];
    const double x0 = -3 - 0x1p-18;

    for (size_t s = 0; s < sizeof steps / sizeof steps[0]; s++) {
        const double dx = steps[s];

        lb_noise3_row(whole, 600, x0, dx, 0.3, 0.7, 2);
        for (int cut = 1; cut < 600; cut++) {
            lb_noise3_row(parts, cut, x0, dx, 0.3, 0.7, 2);
            lb_noise3_row(parts + cut, 600 - cut, x0 + cut * dx, dx, 0.3, 0.7, 2);
            cr_expect(memcmp(whole, parts, sizeof whole) == 0, "step %g, cut at %d", dx, cut);
        }
    }
}

Test(random, what_is_no_place_has_no_noise)
{
    float out[3];

    cr_expect(lb_noise1(NAN, 1) == 0 && lb_noise1(INFINITY, 1) == 0 && lb_noise1(1e300, 1) == 0);
    cr_expect(isfinite(lb_noise2(NAN, 0.5, 1)) && isfinite(lb_noise3(0.5, -INFINITY, 0.5, 1)));
    lb_noise3_row(out, 3, NAN, 1, 0.5, 0.5, 1);
    cr_expect(isfinite(out[0]) && isfinite(out[2]));
    lb_noise3_row(out, 3, 0.5, INFINITY, 0.5, 0.5, 1);
    cr_expect(isfinite(out[0]) && isfinite(out[2]));
}

/* What graphs already rendered rely on. These came from the program itself: they tell a change, not
 * a truth. */
Test(random, values_stay)
{
    static const struct {
        uint32_t words[4], value;
    } hashes[] = {
        {{0x0u, 0x0u, 0x0u, 0x0u}, 0xd6578ff2u},
        {{0x1u, 0x0u, 0x0u, 0x0u}, 0x44f6134au},
        {{0x0u, 0x1u, 0x0u, 0x0u}, 0xa92f53c2u},
        {{0x0u, 0x0u, 0x1u, 0x0u}, 0xd6e4cc71u},
        {{0x0u, 0x0u, 0x0u, 0x1u}, 0x7f94578du},
        {{0x1u, 0x2u, 0x3u, 0x4u}, 0x2fb38d02u},
        {{0xffffffffu, 0xffffffffu, 0xffffffffu, 0xffffffffu}, 0x5498b09au},
    };
    static const struct {
        double place[3], noise[3];
        float row;
    } fields[] = {
        {{0.5, 0.25, 0.75},
         {0x1.d3420adap-1, 0x1.222b14401c57bp-2, -0x1.f8a09f4b50dbfp-3},
         -0x1.f8a09ep-3f},
        {{-1.3, 7.9, 0.1},
         {-0x1.4e706f3c59b8p-2, -0x1.747c96ee056c5p-3, 0x1.326aa10a14896p-14},
         0x1.312332p-14f},
        {{1234.56, -0.001, 99.5},
         {-0x1.ba3a3a012131p-1, 0x1.0130fe3bd939ep-1, -0x1.51b64ac514cb4p-3},
         -0x1.51b656p-3f},
    };

    for (size_t i = 0; i < sizeof hashes / sizeof hashes[0]; i++)
        cr_expect(word_of(hashes[i].words) == hashes[i].value, "hash %zu", i);
    for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++) {
        const double *p = fields[i].place, *want = fields[i].noise;
        float row;
        lb_noise3_row(&row, 1, p[0], 0, p[1], p[2], 11);
        cr_expect(lb_noise1(p[0], 11) == want[0] && lb_noise2(p[0], p[1], 11) == want[1] &&
                      lb_noise3(p[0], p[1], p[2], 11) == want[2] && row == fields[i].row,
                  "noise %zu", i);
    }
}
