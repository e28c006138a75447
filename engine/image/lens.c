/* engine/image/lens.c */
#include "engine/image/lens.h"

#include <math.h>

double lb_lens_confusion(double focal_length, double f_number, double focus, double distance)
{
    double far = focal_length * focal_length / (f_number * (focus - focal_length));

    if (!(distance > 0) || isinf(distance))
        return far;
    return far * ((distance - focus) / distance);
}
