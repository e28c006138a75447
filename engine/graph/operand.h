/* engine/graph/operand.h: what operators that read several images share. */
#ifndef LB_GRAPH_OPERAND_H
#define LB_GRAPH_OPERAND_H

#include "engine/graph/op.h"

/* True for channels that hold light or coverage and may be filtered: what stands behind the last
 * dot is R, G, B, A or Y. Depth, normals and ids are data: between two of them is neither. */
bool lb_channel_is_color(const char *name);
/* True if any of them is. */
bool lb_channels_have_color(const lb_channels *channels);
/* The bit of that name; 0 if it is not there (or `name` is NULL). */
uint64_t lb_channels_bit(const lb_channels *channels, const char *name);
/* The bits of R, G, B, A and Y. */
uint64_t lb_channels_rgba_bits(const lb_channels *channels);
/* `channels` and `name`, which may be there already; NULL: no memory. */
const lb_channels *lb_channels_with(lb_arena *arena, const lb_channels *channels, const char *name);

/* The channel that says how much: A if there is one, else the only one, else R; NULL: none of
 * them. */
const char *lb_mask_channel(const lb_channels *channels);
/* Reports that slot `slot`, the input called `name`, has no such channel. */
LB_MUST_CHECK lb_status lb_mask_check(const lb_call *call, int32_t slot, const char *name);

/* The plane of that name in slot `slot`, lent; NULL if nothing is connected or it is not there. */
const lb_plane *lb_task_plane(const lb_task *task, int32_t slot, const char *name);

/* Pixels [x0, x1) of row y: a pointer into the plane where it has them all, else `scratch` filled
 * with them and 0 where the plane has none. `plane` may be NULL: 0 everywhere. */
const float *lb_plane_row_over(const lb_plane *plane, int32_t x0, int32_t x1, int32_t y,
                               float *scratch);
/* The same for masks: within 0 .. 1, NaN 0, times `amount`. Always in `scratch`. `plane` NULL: no
 * mask, so `amount`. */
const float *lb_plane_mask_over(const lb_plane *plane, float amount, int32_t x0, int32_t x1,
                                int32_t y, float *scratch);

/* out[x] = mask[x] within 0 .. 1, NaN 0, times `amount`; `mask` NULL: no mask, so `amount`. */
void lb_mask_row(const float *mask, float amount, int32_t count, float *out);

/* True if every value is 1: straight and premultiplied colour are then the same. */
bool lb_row_is_one(const float *row, int32_t count);

/* A plane of `box` to be changed: the pixels of `plane`, 0 where it has none. The caller's. */
LB_MUST_CHECK lb_status lb_plane_copy(const lb_plane *plane, lb_box box, lb_plane **out);

#endif
