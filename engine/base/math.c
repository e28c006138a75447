/* engine/base/math.c: elementary functions of double.
 *
 * The last steps are done with pairs of doubles ("double-double": Dekker (1971), "A floating-point
 * technique for extending the available precision"; Knuth, The Art of Computer Programming, volume
 * 2, section 4.2.2): logarithms and arcs are the exact value rounded, but for a hundredth of an
 * ulp, the others but for what the tail of their series, in double alone, loses. Special values are
 * those of IEEE 754-2008, section 9.2.1, and C11, annex F.10. */
#include "engine/base/math.h"

#include <stdbool.h>

/* A value as the unevaluated sum of two doubles, |low| <= half an ulp of high. */
typedef struct pair {
    double high, low;
} pair;

static const pair ln2 = {0x1.62e42fefa39efp-1, 0x1.abc9e3b39803fp-56};
static const pair per_ln2 = {0x1.71547652b82fep+0, 0x1.777d0ffda0d24p-56};
static const pair half_pi = {0x1.921fb54442d18p+0, 0x1.1a62633145c07p-54};
static const pair whole_pi = {0x1.921fb54442d18p+1, 0x1.1a62633145c07p-53};

/* a + b exactly, |a| >= |b| or a = 0. */
static pair sum_ordered(double a, double b)
{
    double s = a + b;

    return (pair){s, b - (s - a)};
}

/* a + b exactly. */
static pair sum(double a, double b)
{
    double s = a + b, t = s - a;

    return (pair){s, (a - (s - t)) + (b - t)};
}

/* a * b exactly, if neither it nor its parts leave the range of double. */
static pair product(double a, double b)
{
    double ca = 134217729.0 * a, cb = 134217729.0 * b; /* 2^27 + 1 cuts 53 bits in two */
    double ah = ca - (ca - a), al = a - ah;
    double bh = cb - (cb - b), bl = b - bh;
    double p = a * b;

    return (pair){p, ((ah * bh - p) + ah * bl + al * bh) + al * bl};
}

static pair pair_add(pair a, pair b)
{
    pair s = sum(a.high, b.high);

    return sum_ordered(s.high, s.low + (a.low + b.low));
}

static pair pair_negate(pair a)
{
    return (pair){-a.high, -a.low};
}

static pair pair_mul(pair a, pair b)
{
    pair p = product(a.high, b.high);

    return sum_ordered(p.high, p.low + (a.high * b.low + a.low * b.high));
}

static pair pair_div(pair a, pair b)
{
    double q = a.high / b.high;
    pair back = product(q, b.high);
    double rest = ((a.high - back.high) - back.low) + (a.low - q * b.low);

    return sum_ordered(q, rest / b.high);
}

static pair pair_sqrt(pair a)
{
    double r = sqrt(a.high);
    pair square = product(r, r);

    if (!(r > 0))
        return (pair){r, 0};
    return sum_ordered(r, (((a.high - square.high) - square.low) + a.low) / (2 * r));
}

/* ---- Exponentials ---- */

/* e^(r.high + r.low) * 2^k, |r| <= ln 2 / 2. Taylor's series; what is left out is below 2^-58. */
static double exp_reduced(pair r, double k)
{
    double x = r.high, q = 1.0 / 6227020800.0; /* 13! */
    pair whole;

    q = q * x + 1.0 / 479001600.0;
    q = q * x + 1.0 / 39916800.0;
    q = q * x + 1.0 / 3628800.0;
    q = q * x + 1.0 / 362880.0;
    q = q * x + 1.0 / 40320.0;
    q = q * x + 1.0 / 5040.0;
    q = q * x + 1.0 / 720.0;
    q = q * x + 1.0 / 120.0;
    q = q * x + 1.0 / 24.0;
    q = q * x + 1.0 / 6.0;
    /* 1 + x is exact as a pair, x^2 / 2 too; the rest is small. */
    whole = product(x, 0.5 * x);
    whole = pair_add(sum_ordered(1.0, x), whole);
    whole.low += r.low + r.low * x + x * x * x * q;
    return ldexp(whole.high + whole.low, (int)k);
}

/* e^x, |x.high| < 800. */
static double exp_pair(pair x)
{
    double k = rint(x.high * per_ln2.high);
    pair r = pair_add(x, pair_negate(pair_mul((pair){k, 0}, ln2)));

    return exp_reduced(r, k);
}

double lb_exp(double x)
{
    if (x != x)
        return x;
    if (x > 710)
        return INFINITY;
    if (x < -746)
        return 0;
    return exp_pair((pair){x, 0});
}

double lb_exp2(double x)
{
    double k;

    if (x != x)
        return x;
    if (x >= 1024)
        return INFINITY;
    if (x < -1076)
        return 0;
    k = rint(x);
    return exp_reduced(pair_mul((pair){x - k, 0}, ln2), k);
}

/* ---- Logarithms ---- */

/* x > 0, finite, as m * 2^e with m from sqrt(1/2) to sqrt(2); ln m as a pair, relative error below
 * 2^-68: 2 (s + s^3 / 3 + s^5 / 5 + ...) with s = (m - 1) / (m + 1), |s| < 0.1716. */
static pair log_mantissa(double x, int *e)
{
    double m = frexp(x, e), z, q = 0;
    pair s, square, tail;

    if (m < 0.70710678118654752) {
        m *= 2;
        --*e;
    }
    s = pair_div((pair){m - 1, 0}, sum(m, 1));
    square = pair_mul(s, s);
    z = square.high;
    for (int i = 25; i >= 7; i -= 2)
        q = q * z + 1.0 / i;
    tail = pair_mul((pair){z * q, 0}, (pair){1, 0});
    tail = pair_add((pair){0.2, -0x1.999999999999ap-57}, tail);
    tail = pair_mul(tail, square);
    tail = pair_add((pair){0x1.5555555555555p-2, 0x1.5555555555555p-56}, tail);
    tail = pair_mul(pair_mul(tail, square), s);
    tail = pair_add(s, tail);
    return (pair){2 * tail.high, 2 * tail.low};
}

/* True: *out is the logarithm of 0, a negative number, infinity or NaN. */
static bool log_special(double x, double *out)
{
    if (x > 0 && x < INFINITY)
        return false;
    *out = x == 0 ? -INFINITY : x > 0 ? x : NAN;
    return true;
}

static pair log_pair(double x)
{
    int e;
    pair m = log_mantissa(x, &e);

    return pair_add(pair_mul((pair){e, 0}, ln2), m);
}

double lb_log(double x)
{
    double special;
    pair y;

    if (log_special(x, &special))
        return special;
    y = log_pair(x);
    return y.high + y.low;
}

double lb_log2(double x)
{
    double special;
    int e;
    pair y;

    if (log_special(x, &special))
        return special;
    y = log_mantissa(x, &e);
    y = pair_add((pair){e, 0}, pair_mul(y, per_ln2));
    return y.high + y.low;
}

/* ---- Powers ---- */

static bool is_whole(double y)
{
    return floor(y) == y;
}

static bool is_odd(double y)
{
    return is_whole(y) && fabs(y) < 0x1p53 && floor(y * 0.5) * 2 != y;
}

/* |x|^y for x neither 0, 1 nor infinite, y finite and not 0. */
static double pow_positive(double x, double y)
{
    pair log, power;

    if (fabs(y) > 0x1p70) /* |log x| is at least 2^-54 */
        return (x > 1) == (y > 0) ? INFINITY : 0;
    if (fabs(y) < 0x1p-70) /* |log x| is at most 745 */
        return 1;
    log = log_pair(x);
    if (log.high * y > 710)
        return INFINITY;
    if (log.high * y < -746)
        return 0;
    power = pair_mul(log, (pair){y, 0});
    return exp_pair(power);
}

double lb_pow(double x, double y)
{
    double size = fabs(x), result;

    if (y == 0 || x == 1)
        return 1;
    if (x != x || y != y)
        return NAN;
    if (isinf(y)) {
        if (size == 1)
            return 1;
        return (size > 1) == (y > 0) ? INFINITY : 0;
    }
    if (x < 0 && !isinf(x) && !is_whole(y))
        return NAN;
    if (size == 0 || isinf(size))
        result = (size == 0) == (y > 0) ? 0 : INFINITY;
    else
        result = size == 1 ? 1 : pow_positive(size, y);
    return signbit(x) && is_odd(y) ? -result : result;
}

/* ---- Sine, cosine, tangent ---- */

/* 2 / pi after 64 zero bits: bit i (weight 2^-i, i >= 1) is number i + 63 from the top. */
static const uint64_t two_per_pi[] = {
    0,
    0xa2f9836e4e441529,
    0xfc2757d1f534ddc0,
    0xdb6295993c439041,
    0xfe5163abdebbc561,
    0xb7246e3a424dd2e0,
    0x06492eea09d1921c,
    0xfe1deb1cb129a73e,
    0xe88235f52ebb4484,
    0xe99c7026b45f7e41,
    0x3991d639835339f4,
    0x9c845f8bbdf9283b,
    0x1ff897ffde05980f,
    0xef2f118b5a0a6d1f,
    0x6d367ecf27cb09b7,
    0x4f463f669e5fea2d,
    0x7527bac7ebe5f17b,
    0x3d0739f78a5292ea,
    0x6bfb5fb11f8d5d08,
    0x56033046fc7b6bab,
    0xf0cfbc209af4361d,
};

/* 64 bits of the table from bit number `first`. */
static uint64_t table_bits(int first)
{
    int word = first / 64, shift = first % 64;

    if (shift == 0)
        return two_per_pi[word];
    return two_per_pi[word] << shift | two_per_pi[word + 1] >> (64 - shift);
}

/* The low 64 bits of a * b + carry, the high ones back into carry. */
static uint64_t multiply(uint64_t a, uint64_t b, uint64_t *carry)
{
    __extension__ typedef unsigned __int128 wide;
    wide p = (wide)a * b + *carry;

    *carry = (uint64_t)(p >> 64);
    return (uint64_t)p;
}

/* A fraction below 1, 256 bits with the highest word first, as a pair. */
static pair fraction_pair(const uint64_t bits[4])
{
    int word = 0, shift;
    uint64_t a, b;

    while (word < 2 && bits[word] == 0)
        word++;
    if (bits[word] == 0)
        return (pair){0, 0};
    shift = __builtin_clzll(bits[word]);
    a = bits[word] << shift | (shift ? bits[word + 1] >> (64 - shift) : 0);
    b = bits[word + 1] << shift;
    if (shift && word < 2)
        b |= bits[word + 2] >> (64 - shift);
    shift += 64 * word;
    return sum_ordered(ldexp((double)(a >> 11), -53 - shift),
                       ldexp((double)((a & 0x7ff) << 42 | b >> 22), -106 - shift));
}

/* x less the nearest multiple of pi/2, for any finite x, and that multiple modulo 4. After Payne
 * and Hanek (1983), "Radian reduction for trigonometric functions": x is a whole number times 2^e,
 * and bits of 2/pi that give multiples of 4 are not looked at. The window is 256 bits: no double is
 * closer than 2^-62 to a multiple of pi/2, so more than 130 bits are left. */
static pair reduce(double x, int *quadrant)
{
    int e, first;
    uint64_t m, bits[4], carry = 0, turned;
    bool negative;
    pair r;

    if (fabs(x) <= 0.78539816339744828) {
        *quadrant = 0;
        return (pair){x, 0};
    }
    m = (uint64_t)ldexp(frexp(fabs(x), &e), 53);
    e -= 53;
    first = e - 1 + 63; /* bits of weight 2^-i with i < e - 1 make multiples of 4 */
    for (int i = 3; i >= 0; i--)
        bits[i] = multiply(m, table_bits(first + 64 * i), &carry);
    *quadrant = (int)(bits[0] >> 62);
    for (int i = 0; i < 4; i++) /* the fraction, without the two whole bits */
        bits[i] = bits[i] << 2 | (i < 3 ? bits[i + 1] >> 62 : 0);
    negative = bits[0] >> 63;
    if (negative) { /* the next multiple is nearer */
        *quadrant = (*quadrant + 1) & 3;
        turned = 1;
        for (int i = 3; i >= 0; i--) {
            bits[i] = ~bits[i] + turned;
            turned = turned && bits[i] == 0;
        }
    }
    r = pair_mul(fraction_pair(bits), half_pi);
    if (x < 0) {
        *quadrant = (4 - *quadrant) & 3;
        negative = !negative;
    }
    return negative ? pair_negate(r) : r;
}

/* sin(r), |r| <= pi/4. What is left out of Taylor's series is below 2^-63 of r. */
static pair sine(pair r)
{
    double x = r.high, z = x * x, q = 1.0 / 355687428096000.0; /* 17! */

    q = q * z - 1.0 / 1307674368000.0;
    q = q * z + 1.0 / 6227020800.0;
    q = q * z - 1.0 / 39916800.0;
    q = q * z + 1.0 / 362880.0;
    q = q * z - 1.0 / 5040.0;
    q = q * z + 1.0 / 120.0;
    q = q * z - 1.0 / 6.0;
    return sum_ordered(x, r.low * (1 - 0.5 * z) + x * z * q);
}

static pair cosine(pair r)
{
    double x = r.high, z = x * x, q = -1.0 / 6402373705728000.0; /* 18! */
    pair half_square = product(x, -0.5 * x), whole;

    q = q * z + 1.0 / 20922789888000.0;
    q = q * z - 1.0 / 87178291200.0;
    q = q * z + 1.0 / 479001600.0;
    q = q * z - 1.0 / 3628800.0;
    q = q * z + 1.0 / 40320.0;
    q = q * z - 1.0 / 720.0;
    q = q * z + 1.0 / 24.0;
    whole = sum_ordered(1, half_square.high);
    return sum_ordered(whole.high, whole.low + (half_square.low - x * r.low + z * z * q));
}

double lb_sin(double x)
{
    int quadrant;
    pair r, y;

    if (fabs(x) < 0x1p-27 || !isfinite(x))
        return isinf(x) ? NAN : x;
    r = reduce(x, &quadrant);
    y = quadrant & 1 ? cosine(r) : sine(r);
    return quadrant & 2 ? -(y.high + y.low) : y.high + y.low;
}

double lb_cos(double x)
{
    int quadrant;
    pair r, y;

    if (!isfinite(x))
        return NAN;
    r = reduce(x, &quadrant);
    y = quadrant & 1 ? sine(r) : cosine(r);
    return ((quadrant + 1) & 2) ? -(y.high + y.low) : y.high + y.low;
}

double lb_tan(double x)
{
    int quadrant;
    pair r, y;

    if (fabs(x) < 0x1p-27 || !isfinite(x))
        return isinf(x) ? NAN : x;
    r = reduce(x, &quadrant);
    if (quadrant & 1)
        y = pair_div(pair_negate(cosine(r)), sine(r));
    else
        y = pair_div(sine(r), cosine(r));
    return y.high + y.low;
}

/* ---- Arcs ---- */

/* atan(k / 8). */
static const pair atan_eighths[9] = {
    {0, 0},
    {0x1.fd5ba9aac2f6ep-4, -0x1.cd37686760c17p-59},
    {0x1.f5b75f92c80ddp-3, 0x1.8ab6e3cf7afbdp-57},
    {0x1.6f61941e4def1p-2, -0x1.c63aae6f6e918p-56},
    {0x1.dac670561bb4fp-2, 0x1.a2b7f222f65e2p-56},
    {0x1.1e00babdefeb4p-1, -0x1.928df287a668fp-58},
    {0x1.4978fa3269ee1p-1, 0x1.2419a87f2a458p-56},
    {0x1.700a7c5784634p-1, -0x1.8c34d25aadef6p-56},
    {0x1.921fb54442d18p-1, 0x1.1a62633145c07p-55},
};

/* atan of 0 <= q <= 1: atan q = atan c + atan((q - c) / (1 + q c)) with c the nearest eighth. */
static pair atan_pair(pair q)
{
    int k = (int)rint(8 * q.high);
    double c = k / 8.0, z, s;
    pair t = q, over;

    if (k > 0) {
        over = pair_add((pair){1, 0}, pair_mul(q, (pair){c, 0}));
        t = pair_div(pair_add(q, (pair){-c, 0}), over);
    }
    z = t.high * t.high; /* at most 1/256: what is left out is below 2^-68 of t */
    s = -1.0 / 15;
    s = s * z + 1.0 / 13;
    s = s * z - 1.0 / 11;
    s = s * z + 1.0 / 9;
    s = s * z - 1.0 / 7;
    s = s * z + 1.0 / 5;
    s = s * z - 1.0 / 3;
    t = sum_ordered(t.high, t.low + t.high * z * s);
    return pair_add(atan_eighths[k], t);
}

/* The angle of (x, y), x of any sign, y >= 0, neither both zero nor any infinite; parts of both of
 * about the same size. */
static double angle(pair y, pair x)
{
    bool left = x.high < 0, steep;
    pair a;

    if (left)
        x = pair_negate(x);
    steep = y.high > x.high;
    a = atan_pair(steep ? pair_div(x, y) : pair_div(y, x));
    if (steep)
        a = pair_add(half_pi, left ? a : pair_negate(a));
    else if (left)
        a = pair_add(whole_pi, pair_negate(a));
    return a.high + a.low;
}

/* atan2 of |y| and x where one is infinite or they are too far apart for `angle`. */
static double angle_far(double y, double x)
{
    if (isinf(y) && isinf(x))
        return x > 0 ? 0.5 * half_pi.high : 1.5 * half_pi.high;
    if (y > fabs(x))
        return half_pi.high;
    return signbit(x) ? whole_pi.high : y / x;
}

double lb_atan2(double y, double x)
{
    int ey, ex, scale;
    double size = fabs(y), result;

    if (x != x || y != y)
        return NAN;
    if (size == 0) {
        result = signbit(x) ? whole_pi.high : 0;
    } else if (x == 0) {
        result = half_pi.high;
    } else {
        frexp(size, &ey);
        frexp(x, &ex);
        if (isinf(size) || isinf(x) || ey - ex > 64 || ex - ey > 64) {
            result = angle_far(size, x);
        } else {
            scale = ey > ex ? ey : ex;
            result = angle((pair){ldexp(size, -scale), 0}, (pair){ldexp(x, -scale), 0});
        }
    }
    return signbit(y) ? -result : result;
}

double lb_atan(double x)
{
    return lb_atan2(x, 1);
}

/* sqrt(1 - x^2). */
static pair other_side(double x)
{
    return pair_sqrt(pair_mul(sum(1, -x), sum(1, x)));
}

double lb_asin(double x)
{
    double a;

    if (!(fabs(x) <= 1))
        return NAN;
    if (fabs(x) < 0x1p-27)
        return x;
    a = angle((pair){fabs(x), 0}, other_side(x));
    return x < 0 ? -a : a;
}

double lb_acos(double x)
{
    if (!(fabs(x) <= 1))
        return NAN;
    if (fabs(x) < 0x1p-60)
        return half_pi.high;
    return x == 1 ? 0 : angle(other_side(x), (pair){x, 0});
}
