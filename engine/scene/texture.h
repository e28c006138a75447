/* engine/scene/texture.h: pictures on surfaces. */
#ifndef LB_SCENE_TEXTURE_H
#define LB_SCENE_TEXTURE_H

#include "engine/base/vec.h"
#include "engine/image/image.h"

typedef enum lb_wrap { LB_WRAP_REPEAT, LB_WRAP_MIRROR, LB_WRAP_CLAMP } lb_wrap;
extern const char *const lb_wrap_names[]; /* repeat mirror clamp, NULL */

typedef enum lb_texture_filter {
    LB_TEXTURE_NEAREST,
    LB_TEXTURE_BILINEAR,
    LB_TEXTURE_MIPMAP
} lb_texture_filter; /* mipmap: trilinear, up to 8 taps along a slanted pixel's longer axis */
extern const char *const lb_texture_filter_names[]; /* nearest bilinear mipmap, NULL */

/* glTF 2.0, 3.8.4: the place in 0 .. 1 that stands for `u`. */
float lb_wrap_at(lb_wrap wrap, float u);

/* What the numbers of a texture mean where it is put on a bump or normal slot. */
typedef enum lb_texture_role {
    LB_TEXTURE_VALUE,
    LB_TEXTURE_HEIGHT,
    LB_TEXTURE_NORMAL
} lb_texture_role;

/* How a picture lies on a surface. uv' = matrix * (u, v, 1), glTF's: u right, v down, (0, 0) at the
 * picture's top left corner. */
typedef struct lb_texture_map {
    lb_wrap wrap_u, wrap_v;
    lb_texture_filter filter;
    int32_t uv_set;   /* 0 or 1 */
    double matrix[6]; /* 2 x 3 by rows: u' = m0 u + m1 v + m2 */
    lb_texture_role role;
    double scale; /* of heights (scene units for texel value 1) or of normals' x and y */
} lb_texture_map;
lb_texture_map lb_texture_map_default(void); /* repeat, mipmap, identity, value, 1 */
/* KHR_texture_transform: offset, rotation (radians, counter-clockwise in the picture as the
 * extension has it), scale: T * R * S. */
void lb_texture_map_set_transform(lb_texture_map *map, double offset_u, double offset_v,
                                  double rotation_rad, double scale_u, double scale_v);

/* One level of a picture: `channels` floats a texel, interleaved, row by row. */
typedef struct lb_texture_level {
    int32_t width, height;
    const float *texels;
} lb_texture_level;

/* Immutable, reference-counted; levels are shared between textures that differ in their map. */
typedef struct lb_texture lb_texture;

/* Makes the pyramid (in linear light: the image is working-linear or raw) of the image's display
 * window: R, G, B (, A premultiplied) for colour, one channel when there is just one. Levels go
 * down to 1 x 1, each an exact area average of the one above (odd sizes too). */
LB_MUST_CHECK lb_status lb_texture_new(lb_pool *pool, const lb_image *image,
                                       const lb_texture_map *map, lb_texture **out);
/* The same pixels under another map. */
LB_MUST_CHECK lb_status lb_texture_with_map(const lb_texture *texture, const lb_texture_map *map,
                                            lb_texture **out);
lb_texture *lb_texture_ref(const lb_texture *texture);
void lb_texture_unref(lb_texture **texture);

const lb_texture_map *lb_texture_mapping(const lb_texture *texture);
int32_t lb_texture_channels(const lb_texture *texture); /* 1, 3 or 4 */
int32_t lb_texture_levels(const lb_texture *texture);
lb_texture_level lb_texture_level_at(const lb_texture *texture, int32_t level); /* 0: the largest */
size_t lb_texture_bytes(const lb_texture *texture);

/* Filtered value at surface coordinates (u, v), before the map's matrix. (dudx, dvdx), (dudy,
 * dvdy): how u and v change from one pixel to the next on the screen, for the level of detail
 * (zeros: the largest level). out: r, g, b, a; one channel is spread to r, g, b; a is 1 where there
 * is none. */
void lb_texture_sample(const lb_texture *texture, float u, float v, const float ddx[2],
                       const float ddy[2], float out[4]);
/* Places on a surface, each array as long as there are places: u, v and their derivatives as above.
 */
typedef struct lb_texture_places {
    const float *u, *v, *dudx, *dvdx, *dudy, *dvdy;
} lb_texture_places;
/* lb_texture_sample at `count` places, several times as fast: the same bits. */
void lb_texture_sample_many(const lb_texture *texture, const lb_texture_places *places,
                            int32_t count, float (*out)[4]);
/* Height's slope: d(value)/du and d(value)/dv at the same filtered place, by central differences of
 * the filtered picture, one texel of each level that is read to either side, per unit of surface u
 * and v (so the map's matrix is taken into account), times the map's scale. */
void lb_texture_slope(const lb_texture *texture, float u, float v, const float ddx[2],
                      const float ddy[2], float *du, float *dv);
/* lb_texture_slope at `count` places: the same bits. */
void lb_texture_slope_many(const lb_texture *texture, const lb_texture_places *places,
                           int32_t count, float *du, float *dv);

#endif
