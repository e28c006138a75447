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
    LB_LAYER_DEPTH = 2, /* depth.Z: distance along the camera's axis of the nearest sample, in scene
                         * units; INFINITY where there is nothing */
    LB_LAYER_NORMAL = 4, /* normal.X .Y .Z: world space, of the nearest sample's surface, bump
                          * included; 0 where there is nothing */
    LB_LAYER_UV = 8,     /* uv.U .V: first set, nearest sample */
} lb_layer_mask;

typedef struct lb_raster_options {
    int32_t width, height; /* the frame in pixels: the display window from (0, 0) */
    double pixel_aspect;
    lb_box region;      /* pixels wanted; the planes' box; may reach outside the frame */
    int32_t samples;    /* 1 .. 64 a pixel */
    uint32_t layers;    /* lb_layer_mask */
    bool lighting;      /* false: diffuse or base colour as it is */
    lb_vec3 background; /* reserved: 0 */
} lb_raster_options;

/* Renders; sample s of a pixel sees instants[s * count / samples]'s geometry (a stratified order
 * shuffled per pixel), so `count` is at most `samples`. A scene without lights is lit by one
 * directional light from the camera, intensity 1. Same bits for any pool. LB_MEMORY, LB_INVALID,
 * LB_CANCELLED. */
LB_MUST_CHECK lb_status lb_raster_render(lb_pool *pool, const lb_instant *instants, int32_t count,
                                         const lb_raster_options *options, lb_image **out);

#endif
