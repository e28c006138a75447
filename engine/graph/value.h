/* engine/graph/value.h: what goes along the wires. */
#ifndef LB_GRAPH_VALUE_H
#define LB_GRAPH_VALUE_H

#include "engine/base/time.h"
#include "engine/image/image.h"
#include "engine/scene/scene.h"

typedef enum lb_kind {
    LB_KIND_NONE, /* an optional input that is not connected */
    LB_KIND_IMAGE,
    LB_KIND_SCENE, /* one item or many: meshes, lights, cameras, groups */
    LB_KIND_MATERIAL,
    LB_KIND_TEXTURE,
} lb_kind;
const char *lb_kind_text(lb_kind kind); /* "an image", "a scene", ... */

typedef struct lb_value {
    lb_kind kind;
    union {
        lb_image *image;
        lb_scene *scene;
        lb_material *material;
        lb_texture *texture;
    };
} lb_value;

lb_value lb_value_ref(lb_value value);
void lb_value_unref(lb_value *value); /* makes it NONE */
size_t lb_value_bytes(lb_value value);

/* Channel names, sorted as bytes; lives in the arena of the plan that made it. */
typedef struct lb_channels {
    int32_t count;
    const char *names[LB_MAX_CHANNELS];
} lb_channels;
/* From a NULL-ended list in any order; NULL: no memory. */
const lb_channels *lb_channels_make(lb_arena *arena, const char *const *names);
const lb_channels *lb_channels_rgba(void);                               /* A B G R */
int32_t lb_channels_find(const lb_channels *channels, const char *name); /* -1: not there */

/* What a result will be, known before any pixel is made. */
typedef struct lb_desc {
    lb_kind kind;
    lb_box display_window; /* images only, as the rest */
    lb_box data_window;
    double pixel_aspect;
    const lb_channels *channels;
} lb_desc;

/* What every node of a run works in. Sizes are after --scale. */
typedef struct lb_format {
    int32_t width, height;
    double scale; /* pixels rendered per pixel of frame.size; 1 for inputs asked `native` */
    double pixel_aspect;
    lb_rate rate;
    int32_t first, last;
    lb_space working;
} lb_format;
static inline lb_box lb_format_window(const lb_format *format)
{
    return (lb_box){0, 0, format->width, format->height};
}

#endif
