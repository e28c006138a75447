/* engine/scene/picture.h: the bytes of a picture to a texture; private to the readers. */
#ifndef LB_SCENE_PICTURE_H
#define LB_SCENE_PICTURE_H

#include "engine/color/space.h"
#include "engine/scene/texture.h"

/* How a picture's pixels are taken. */
typedef enum lb_picture_use {
    LB_PICTURE_COLOR,       /* sRGB to working, alpha left out */
    LB_PICTURE_COLOR_ALPHA, /* sRGB to working, premultiplied */
    LB_PICTURE_DATA,        /* numbers, alpha left out */
    LB_PICTURE_USE_COUNT,
} lb_picture_use;

/* Under the default map. Files of floats are linear Rec. 709 and not sRGB. `name` is for guessing
 * formats without a signature. What lb_media_decode answers, or LB_UNSUPPORTED for a picture
 * without the channels wanted; not reported. */
LB_MUST_CHECK lb_status lb_picture_texture(lb_pool *pool, const char *name, const void *bytes,
                                           size_t count, lb_picture_use use, lb_space working,
                                           lb_texture **out);

/* What to say of a picture that could not be had: "is damaged or no picture". */
const char *lb_picture_fault(lb_status status);

#endif
