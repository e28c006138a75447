/* engine/raster/raster.h: a scene to an image. */
#ifndef LB_RASTER_RASTER_H
#define LB_RASTER_RASTER_H

#include "engine/image/image.h"
#include "engine/scene/scene.h"

/* The scene at one instant of the shutter. Scenes of several instants must have the same structure
 * (items, primitives, vertex and triangle counts); else LB_INVALID. */
typedef struct lb_instant {
    const lb_scene *scene;
    double time_s;
    int32_t camera; /* item of `scene`, kind CAMERA; -1: use the two below */
    lb_camera camera_settings;
    lb_mat4 camera_world;
} lb_instant;

typedef enum lb_layer_mask {
    LB_LAYER_COLOR = 1, /* R G B A, premultiplied */
    LB_LAYER_DEPTH =
        2, /* depth.Z: distance along the camera's axis of the nearest sample, in scene
            * units; INFINITY where there is nothing. A blended surface counts from half
            * opacity on, a masked one where it is not cut away; so in all three */
    LB_LAYER_NORMAL = 4, /* normal.X .Y .Z: world space, of the nearest sample's surface, bump
                          * included, towards the camera's side; 0 where there is nothing */
    LB_LAYER_UV = 8, /* uv.U .V: first set, of the nearest sample's surface, in the middle of what
                      * the pixel sees of it; 0 where there is nothing */
} lb_layer_mask;

typedef struct lb_raster_options {
    int32_t width, height; /* the frame in pixels: the display window from (0, 0) */
    double pixel_aspect;
    lb_box region;   /* pixels wanted; the planes' box; may reach outside the frame */
    int32_t samples; /* 1 .. 64 a pixel */
    uint32_t layers; /* lb_layer_mask */
    bool lighting;   /* false: diffuse or base colour as it is */
} lb_raster_options;

/* Renders; sample s of a pixel sees instants[s * count / samples]'s geometry, camera and lights, so
 * `count` is at most `samples`. Samples are at the same places in every pixel (pattern.h), spread
 * in time as in space: an edge that stands or moves has a smooth ramp without grain. Materials and
 * visibility are those of the middle instant. A scene without any light is lit by one directional
 * light from the camera, intensity 1. Same bits for any pool, and in any region that a pixel is in.
 *
 * LB_INVALID: options, a camera or instants that do not fit; LB_LIMIT: a frame above 32768 pixels a
 * side, a region further than that from its middle, or too many triangles; LB_MEMORY; LB_CANCELLED.
 */
LB_MUST_CHECK lb_status lb_raster_render(lb_pool *pool, const lb_instant *instants, int32_t count,
                                         const lb_raster_options *options, lb_image **out);

#endif
