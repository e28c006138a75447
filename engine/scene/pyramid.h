/* engine/scene/pyramid.h: a picture at halving sizes; private to the textures. */
#ifndef LB_SCENE_PYRAMID_H
#define LB_SCENE_PYRAMID_H

#include "engine/scene/texture.h"

#define LB_PYRAMID_LEVELS 32

/* Immutable once made, reference-counted, shared by textures that differ in their map. */
typedef struct lb_pyramid {
    lb_refs refs;
    int32_t channels, levels;
    lb_texture_level level[LB_PYRAMID_LEVELS];
    float *texels; /* all levels, one block */
    size_t bytes;
} lb_pyramid;

/* Of the image's display window; see lb_texture_new. LB_INVALID: an image without pixels. */
LB_MUST_CHECK lb_status lb_pyramid_new(lb_pool *pool, const lb_image *image, lb_pyramid **out);
void lb_pyramid_unref(lb_pyramid **pyramid);

#endif
