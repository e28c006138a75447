/* lang/keys.c: values between keys. */
#include "lang/keys.h"

#include <math.h>

#include "engine/base/vec.h"

const char *const lb_beyond_names[] = {"hold", "linear", "repeat", "mirror", NULL};

/* The frame between the first and the last key that stands for `frame`; for LB_BEYOND_LINEAR the
 * frame itself. */
static double fold(const lb_keys *keys, double frame)
{
    double first = keys->items[0].frame, last = keys->items[keys->count - 1].frame;
    double length = last - first;
    lb_beyond beyond = frame < first ? keys->before : keys->after;
    double at, turns;

    if ((frame >= first && frame <= last) || beyond == LB_BEYOND_LINEAR)
        return frame;
    if (beyond == LB_BEYOND_HOLD || !(length > 0) || !isfinite(frame))
        return frame < first ? first : last;
    turns = floor((frame - first) / length);
    at = frame - first - turns * length;
    if (beyond == LB_BEYOND_MIRROR && turns - 2 * floor(turns / 2) == 1)
        at = length - at;
    return first + fmin(fmax(at, 0), length);
}

static void mix(const lb_datum *a, const lb_datum *b, double t, lb_datum *out)
{
    *out = *a;
    for (int32_t i = 0; i < a->count; i++)
        out->numbers[i] =
            t == 1 ? b->numbers[i] : a->numbers[i] + (b->numbers[i] - a->numbers[i]) * t;
}

static void slerp(const lb_datum *a, const lb_datum *b, double t, lb_datum *out)
{
    const double *p = a->numbers, *q = b->numbers;
    lb_quat from = lb_quat_normalize((lb_quat){p[0], p[1], p[2], p[3]});
    lb_quat to = lb_quat_normalize((lb_quat){q[0], q[1], q[2], q[3]});
    lb_quat between = lb_quat_slerp(from, to, t);

    *out = *a;
    out->numbers[0] = between.x;
    out->numbers[1] = between.y;
    out->numbers[2] = between.z;
    out->numbers[3] = between.w;
}

void lb_keys_at(const lb_keys *keys, double frame, lb_datum *out)
{
    const lb_key_frame *a, *b;
    int32_t low = 0, high = keys->count;
    double t;

    if (keys->count == 1) {
        *out = keys->items[0].value;
        return;
    }
    frame = fold(keys, frame);
    while (high - low > 1) { /* the last key not behind `frame`, or the first */
        int32_t middle = low + (high - low) / 2;

        if (keys->items[middle].frame <= frame)
            low = middle;
        else
            high = middle;
    }
    if (keys->between == LB_BETWEEN_HOLD) {
        *out = keys->items[low].value;
        return;
    }
    if (low == keys->count - 1)
        low--;
    a = &keys->items[low];
    b = a + 1;
    t = lb_easing_at(&a->easing, (frame - a->frame) / (b->frame - a->frame));
    if (keys->between == LB_BETWEEN_SLERP)
        slerp(&a->value, &b->value, t, out);
    else
        mix(&a->value, &b->value, t, out);
    for (int32_t i = 0; keys->is_whole && i < out->count; i++)
        out->numbers[i] = rint(out->numbers[i]);
}
