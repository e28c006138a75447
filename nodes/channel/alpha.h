/* nodes/channel/alpha.h: what premultiply and unpremultiply share. */
#ifndef LB_NODES_CHANNEL_ALPHA_H
#define LB_NODES_CHANNEL_ALPHA_H

#include "engine/graph/points.h"

/* Colour with its alpha; a picture without alpha passes as it is. */
static inline lb_status alpha_use(const lb_call *call, const lb_desc *own, uint64_t wanted,
                                  lb_points_use *out)
{
    if (lb_channels_find(call->inputs[0].channels, "A") < 0)
        lb_points_pass(call, own, wanted, 0, out);
    else
        lb_points_use_color(call, own, wanted, out);
    return LB_OK;
}

#endif
