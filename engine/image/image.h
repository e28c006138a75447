/* engine/image/image.h: named planes with windows. */
#ifndef LB_IMAGE_IMAGE_H
#define LB_IMAGE_IMAGE_H

#include "engine/base/thread.h"
#include "engine/image/plane.h"

/* Channels are named as OpenEXR names them: "R", "G", "B", "A", "depth.Z", "normal.X". What stands
 * before the last dot is the layer. Sorted by name as bytes, no name twice. */
#define LB_MAX_CHANNELS 64
#define LB_CHANNEL_NAME 256 /* bytes with the NUL */

/* Premultiplied, scene-linear, unclamped. Immutable once published, reference-counted.
 *
 * display_window  the frame
 * data_window     where pixels are; outside it is transparent black, or the edge where an operator
 *                 says so
 * Every plane's box lies within data_window and covers that part of it that was asked for; all
 * planes of one image have the same box (lb_image_box). */
typedef struct lb_image lb_image;

/* An image without planes, to be filled by its maker with lb_image_add. */
LB_MUST_CHECK lb_status lb_image_new(lb_box display_window, lb_box data_window, lb_image **out);
lb_image *lb_image_ref(const lb_image *image);
void lb_image_unref(lb_image **image);

/* Gives the image a plane; takes its own reference (the caller keeps his). Replaces a plane of
 * the same name. LB_LIMIT: too many channels or too long a name; LB_INVALID: another box than the
 * other planes'; LB_MEMORY. For the maker only. */
LB_MUST_CHECK lb_status lb_image_add(lb_image *image, const char *name, const lb_plane *plane);

lb_box lb_image_display(const lb_image *image);
lb_box lb_image_data(const lb_image *image);
lb_box lb_image_box(const lb_image *image); /* the planes' box; empty when there is none */
double lb_image_pixel_aspect(const lb_image *image);
void lb_image_set_pixel_aspect(lb_image *image, double aspect); /* maker only */
int32_t lb_image_count(const lb_image *image);
const char *lb_image_name(const lb_image *image, int32_t index);      /* lent */
const lb_plane *lb_image_plane(const lb_image *image, int32_t index); /* lent */
/* The plane of that name, lent; NULL if there is none. */
const lb_plane *lb_image_find(const lb_image *image, const char *name);
size_t lb_image_bytes(const lb_image *image);

/* One layer as an image of its own: "depth" of depth.Z gives Z. An empty layer name keeps the
 * channels without a dot. Planes are shared. LB_NOT_FOUND when no channel belongs to it. */
LB_MUST_CHECK lb_status lb_image_layer(const lb_image *image, const char *layer, lb_image **out);

/* The one plane that says how much, for masks and maps: "A" if there is one, else the only plane,
 * else "R", lent; NULL for an image without any of these. */
const lb_plane *lb_image_mask_plane(const lb_image *image);

#endif
