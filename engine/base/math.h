/* engine/base/math.h: elementary functions that give the same bits on every CPU.
 *
 * Made of + - * / and sqrt alone, which IEEE 754 defines exactly; the C library's differ between
 * CPUs. The float ones are inline and without branches that a vectoriser minds, for hot loops; the
 * double ones are for parameters, curves and matrices. The largest errors are stated as constants,
 * in units in the last place of the exact result, and tests/engine/base holds the functions to
 * them. */
#ifndef LB_BASE_MATH_H
#define LB_BASE_MATH_H

#include "engine/base/math_inline.h" /* lb_exp2f lb_log2f lb_powf lb_expf lb_sinf lb_cosf
                                      * lb_atan2f lb_acosf lb_asinf: float -> float, inline */

#define LB_PI 3.14159265358979323846

/* Over the whole range, the largest arguments with it; special values as IEEE 754-2008, section
 * 9.2.1. */
#define LB_EXP_ULPS 0.6           /* exp, exp2, pow */
#define LB_EXP_SUBNORMAL_ULPS 0.8 /* of a subnormal result, which is rounded twice */
#define LB_LOG_ULPS 0.51          /* log, log2 */
#define LB_SIN_ULPS 0.9           /* sin, cos */
#define LB_TAN_ULPS 1.0
#define LB_ARC_ULPS 0.51 /* asin, acos, atan, atan2 */
double lb_exp2(double x);
double lb_log2(double x);
double lb_exp(double x);
double lb_log(double x);
double lb_pow(double x, double y); /* x < 0: only for whole y, as IEEE 754's pow; else NaN */
double lb_sin(double x);
double lb_cos(double x);
double lb_tan(double x);
double lb_asin(double x);
double lb_acos(double x);
double lb_atan(double x);
double lb_atan2(double y, double x);

#endif
