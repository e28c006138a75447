/* engine/image/gaussian_axis.c */
#include "engine/image/gaussian_axis.h"

#include <math.h>

#include "engine/base/math.h"
#include "engine/base/memory.h"

/* What a kernel leaves out is this many sigmas away or more, and at most 3.7e-6 of its peak. */
#define CUT 5.0
#define MOST_SIGMA 16384.0
/* Below, one direct pass is as quick; the aliases of a first level would also grow. */
#define DIRECT_SIGMA 4.0
/* A further level asks for more: narrow kernels far down reach too far for what they save. */
#define LEVEL_SIGMA 5.0
/* Multiplications a pixel that are left to save when a core is small enough. */
#define SMALL_CORE 3.0

/* The least order that keeps a level's aliases below 2e-5 of the peak, for sigma in its samples
 * (measured: 3, 1.4, 1.9 and 1.1e-5 at the lower ends). */
static int32_t order_of(double sigma)
{
    return sigma >= 32 ? 3 : sigma >= 8 ? 5 : sigma >= 5 ? 7 : 9;
}

static double limited(double sigma)
{
    return sigma > 0 ? fmin(sigma, MOST_SIGMA) : 0; /* NaN is 0 */
}

/* Variance left for the core, in samples of the last level: a binomial of order n has n / 4, there
 * are two a level, and variances add. */
static double core_variance(const lb_gaussian_axis *axis, double sigma)
{
    double variance = sigma * sigma;

    for (int32_t l = 0; l < axis->levels; l++)
        variance -= ldexp(axis->orders[l] / 2.0, 2 * l);
    return ldexp(variance, -2 * axis->levels);
}

lb_gaussian_axis lb_gaussian_axis_plan(double sigma)
{
    lb_gaussian_axis axis = {0};
    double scaled = limited(sigma);

    sigma = scaled;
    while (axis.levels < LB_GAUSSIAN_LEVELS &&
           scaled >= (axis.levels ? LEVEL_SIGMA : DIRECT_SIGMA) &&
           ldexp(2 * CUT * scaled, -2 * axis.levels) >= SMALL_CORE) {
        axis.orders[axis.levels++] = order_of(scaled);
        scaled /= 2;
    }
    axis.radius = (int32_t)ceil(CUT * sqrt(core_variance(&axis, sigma))) - (sigma > 0 ? 1 : 0);
    return axis;
}

/* Point samples of the Gaussian itself. */
static void direct_weights(const lb_gaussian_axis *axis, double sigma, double *weights)
{
    for (int32_t k = 0; k <= axis->radius; k++)
        weights[k] = k == 0 ? 1 : lb_exp(-0.5 * (k / sigma) * (k / sigma));
}

static double whole_power(double base, int32_t n)
{
    double power = 1;

    for (; n > 0; n /= 2, base *= base)
        power *= n % 2 ? base : 1;
    return power;
}

/* The spectrum that the core has to have at f cycles a sample: the Gaussian's, divided by
 * cos^2n(pi f / 2^(levels - l)) of each level's two binomials. */
static double core_spectrum(const lb_gaussian_axis *axis, double sigma, double f)
{
    double value = lb_exp(-2 * LB_PI * LB_PI * ldexp(sigma * sigma, -2 * axis->levels) * f * f);

    for (int32_t l = 0; l < axis->levels; l++)
        value /= whole_power(lb_cos(LB_PI * ldexp(f, l - axis->levels)), 2 * axis->orders[l]);
    return value;
}

/* Its cosine transform by the trapezium rule, which is exact to rounding for a smooth periodic
 * function; it is even, so one half will do. What is negative by rounding or by the band's end
 * (1e-7 of the peak) is cut. */
static lb_status core_weights(const lb_gaussian_axis *axis, double sigma, double *weights)
{
    int32_t count = 128;
    double *spectrum, *cosine;

    while (count < 4 * axis->radius + 64)
        count *= 2;
    spectrum = lb_alloc((size_t)count / 2 + 1, sizeof *spectrum);
    cosine = lb_alloc((size_t)count, sizeof *cosine);
    if (spectrum && cosine) {
        for (int32_t q = 0; q <= count / 2; q++) {
            spectrum[q] = core_spectrum(axis, sigma, (double)q / count);
            cosine[q] = lb_cos(2 * LB_PI * q / count);
            cosine[(count - q) % count] = cosine[q];
        }
        for (int32_t k = 0; k <= axis->radius; k++) {
            double sum = spectrum[0] + spectrum[count / 2] * (k % 2 ? -1 : 1);

            for (int32_t q = 1; q < count / 2; q++)
                sum += 2 * spectrum[q] * cosine[(uint32_t)(q * k) & (uint32_t)(count - 1)];
            weights[k] = fmax(sum, 0);
        }
    }
    lb_free(spectrum);
    lb_free(cosine);
    return spectrum && cosine ? LB_OK : LB_MEMORY;
}

lb_status lb_gaussian_axis_fill(lb_gaussian_axis *axis, double sigma)
{
    double *weights = lb_alloc((size_t)axis->radius + 1, sizeof *weights), sum;
    lb_status status = LB_OK;

    axis->weights = lb_alloc((size_t)axis->radius + 1, sizeof *axis->weights);
    if (!weights || !axis->weights)
        status = LB_MEMORY;
    else if (axis->levels == 0)
        direct_weights(axis, limited(sigma), weights);
    else
        status = core_weights(axis, limited(sigma), weights);
    if (!status) {
        sum = weights[0];
        for (int32_t k = 1; k <= axis->radius; k++)
            sum += 2 * weights[k];
        for (int32_t k = 0; k <= axis->radius; k++)
            axis->weights[k] = (float)(weights[k] / (k == 0 ? 2 * sum : sum));
    }
    lb_free(weights);
    if (status)
        lb_gaussian_axis_clear(axis);
    return status;
}

void lb_gaussian_axis_clear(lb_gaussian_axis *axis)
{
    lb_free(axis->weights);
    axis->weights = NULL;
}

/* A binomial of order n reaches n / 2 samples to either side, down and up again. */
int32_t lb_gaussian_axis_reach(const lb_gaussian_axis *axis)
{
    int64_t reach = (int64_t)axis->radius << axis->levels;

    for (int32_t l = 0; l < axis->levels; l++)
        reach += (int64_t)axis->orders[l] << l;
    return (int32_t)reach;
}
