/* tests/engine/raster/test_pattern.c: sample positions against what defines a (0, m, 2)-net in base
 * 2: every elementary interval of area 2^-m, whatever its shape, holds one point (Niederreiter,
 * "Random Number Generation and Quasi-Monte Carlo Methods", 1992, definition 4.1; from memory). */
#include <criterion/criterion.h>

#include "engine/raster/pattern.h"

/* Points [first, first + 2^m) in all boxes 2^-k wide and 2^-(m - k) high. */
static bool is_net(const lb_pattern *p, int32_t first, int32_t m)
{
    for (int32_t k = 0; k <= m; k++) {
        uint64_t seen = 0;

        for (int32_t i = first; i < first + (1 << m); i++) {
            int32_t column = p->x[i] >> (8 - k), row = p->y[i] >> (8 - (m - k));
            uint64_t bit = (uint64_t)1 << (column << (m - k) | row);

            if (seen & bit)
                return false;
            seen |= bit;
        }
    }
    return true;
}

Test(pattern, powers_of_two_are_nets_and_so_are_their_aligned_parts)
{
    for (int32_t all = 0; all <= 6; all++) {
        lb_pattern p;

        lb_pattern_make(1 << all, &p);
        for (int32_t m = 0; m <= all; m++)
            for (int32_t first = 0; first < 1 << all; first += 1 << m)
                cr_expect(is_net(&p, first, m), "%d samples, %d from %d", 1 << all, 1 << m, first);
    }
}

Test(pattern, every_count_has_one_sample_a_column_and_a_row_and_its_mean_in_the_middle)
{
    for (int32_t n = 1; n <= LB_MAX_SAMPLES; n++) {
        uint64_t columns = 0, rows = 0;
        int64_t x = 0, y = 0;
        lb_pattern p;

        lb_pattern_make(n, &p);
        for (int32_t i = 0; i < n; i++) {
            cr_assert(p.x[i] >= 0 && p.x[i] < 256 && p.y[i] >= 0 && p.y[i] < 256);
            columns |= (uint64_t)1 << (p.x[i] * n / 256);
            rows |= (uint64_t)1 << (p.y[i] * n / 256);
            x += p.x[i];
            y += p.y[i];
        }
        cr_expect(columns == rows && columns == UINT64_MAX >> (64 - n), "%d", n);
        cr_expect(x == 128 * n && y == 128 * n, "%d samples: mean %g %g", n, (double)x / (256 * n),
                  (double)y / (256 * n));
    }
}

Test(pattern, instants_share_the_samples_out)
{
    for (int32_t n = 1; n <= LB_MAX_SAMPLES; n++)
        for (int32_t instants = 1; instants <= n; instants++) {
            int32_t next = 0;
            lb_pattern p;

            lb_pattern_make(n, &p);
            for (int32_t t = 0; t < instants; t++) {
                lb_sample_span span = lb_pattern_span(&p, t, instants);

                cr_assert(span.first == next && span.end > span.first);
                for (int32_t s = span.first; s < span.end; s++)
                    cr_assert(s * instants / n == t && p.x[s] >= span.low_x &&
                              p.x[s] <= span.high_x && p.y[s] >= span.low_y &&
                              p.y[s] <= span.high_y);
                next = span.end;
            }
            cr_assert(next == n);
        }
}
