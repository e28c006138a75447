/* engine/graph/host.h: the functions that operators in shared objects may call.
 *
 * They are handed over as one table, and object.h turns it back into functions of the same names.
 * So an object needs nothing that a program exports: it works in the program and in the library,
 * linked statically or not, in a process that has two of them; and liblampblack.so exports its
 * public header and nothing else.
 *
 * V(name, parameters, arguments) answers nothing, F(type, name, parameters, arguments) a value.
 * Append only, at the end: an object was built with the first so many of these. */
#ifndef LB_GRAPH_HOST_H
#define LB_GRAPH_HOST_H

#include "engine/base/math.h"
#include "engine/base/random.h"
#include "engine/graph/operand.h"
#include "engine/graph/points.h"
#include "engine/image/convolve.h"
#include "engine/image/extend.h"

/* clang-format off */
#define LB_HOST_FUNCTIONS(V, F) \
    F(const char *, lb_status_text, (lb_status status), (status)) \
    F(bool, lb_size_mul, (size_t a, size_t b, size_t *out), (a, b, out)) \
    F(bool, lb_size_add, (size_t a, size_t b, size_t *out), (a, b, out)) \
    F(void *, lb_alloc, (size_t count, size_t size), (count, size)) \
    F(void *, lb_realloc, (void *block, size_t count, size_t size), (block, count, size)) \
    V(lb_free, (void *block), (block)) \
    F(char *, lb_strdup, (const char *text), (text)) \
    F(void *, lb_block_new, (size_t bytes), (bytes)) \
    V(lb_block_free, (void *block), (block)) \
    F(void *, lb_arena_alloc, (lb_arena *arena, size_t count, size_t size), (arena, count, size)) \
    F(char *, lb_arena_strdup, (lb_arena *arena, const char *text), (arena, text)) \
    F(lb_status, lb_pool_for, \
      (lb_pool *pool, int32_t count, int32_t grain, lb_range_fn fn, void *context), \
      (pool, count, grain, fn, context)) \
    F(int32_t, lb_pool_threads, (const lb_pool *pool), (pool)) \
    F(bool, lb_pool_is_cancelled, (const lb_pool *pool), (pool)) \
    V(lb_hash_bytes, (lb_hasher *hasher, const void *bytes, size_t count), (hasher, bytes, count)) \
    V(lb_hash_string, (lb_hasher *hasher, const char *string), (hasher, string)) \
    V(lb_hash_u64, (lb_hasher *hasher, uint64_t value), (hasher, value)) \
    V(lb_hash_f64, (lb_hasher *hasher, double value), (hasher, value)) \
    V(lb_hash_key, (lb_hasher *hasher, lb_key key), (hasher, key)) \
    F(lb_key, lb_key_of, (const void *bytes, size_t count), (bytes, count)) \
    F(double, lb_exp2, (double x), (x)) \
    F(double, lb_log2, (double x), (x)) \
    F(double, lb_exp, (double x), (x)) \
    F(double, lb_log, (double x), (x)) \
    F(double, lb_pow, (double x, double y), (x, y)) \
    F(double, lb_sin, (double x), (x)) \
    F(double, lb_cos, (double x), (x)) \
    F(double, lb_tan, (double x), (x)) \
    F(double, lb_asin, (double x), (x)) \
    F(double, lb_acos, (double x), (x)) \
    F(double, lb_atan, (double x), (x)) \
    F(double, lb_atan2, (double y, double x), (y, x)) \
    F(uint32_t, lb_random_u32, (uint32_t a, uint32_t b, uint32_t c, uint32_t d), (a, b, c, d)) \
    F(float, lb_random_float, (uint32_t a, uint32_t b, uint32_t c, uint32_t d), (a, b, c, d)) \
    F(double, lb_noise1, (double x, uint32_t seed), (x, seed)) \
    F(double, lb_noise2, (double x, double y, uint32_t seed), (x, y, seed)) \
    F(double, lb_noise3, (double x, double y, double z, uint32_t seed), (x, y, z, seed)) \
    V(lb_noise3_row, \
      (float *out, int32_t count, double x0, double dx, double y, double z, uint32_t seed), \
      (out, count, x0, dx, y, z, seed)) \
    F(lb_box, lb_box_normal, (lb_box box), (box)) \
    F(bool, lb_box_is_empty, (lb_box box), (box)) \
    F(bool, lb_box_equal, (lb_box a, lb_box b), (a, b)) \
    F(bool, lb_box_contains, (lb_box outer, lb_box inner), (outer, inner)) \
    F(lb_box, lb_box_intersect, (lb_box a, lb_box b), (a, b)) \
    F(lb_box, lb_box_unite, (lb_box a, lb_box b), (a, b)) \
    F(lb_box, lb_box_grow, (lb_box box, int32_t x, int32_t y), (box, x, y)) \
    F(lb_box, lb_box_shift, (lb_box box, int32_t x, int32_t y), (box, x, y)) \
    F(lb_box, lb_box_around, (double x0, double y0, double x1, double y1), (x0, y0, x1, y1)) \
    F(lb_status, lb_plane_new, (lb_box box, lb_plane **out), (box, out)) \
    F(lb_status, lb_plane_new_raw, (lb_box box, lb_plane **out), (box, out)) \
    F(lb_status, lb_plane_new_constant, (lb_box box, float value, lb_plane **out), \
      (box, value, out)) \
    F(lb_plane *, lb_plane_ref, (const lb_plane *plane), (plane)) \
    V(lb_plane_unref, (lb_plane **plane), (plane)) \
    F(lb_box, lb_plane_box, (const lb_plane *plane), (plane)) \
    F(bool, lb_plane_is_constant, (const lb_plane *plane, float *out), (plane, out)) \
    F(const float *, lb_plane_row, (const lb_plane *plane, int32_t y), (plane, y)) \
    F(float *, lb_plane_row_to_fill, (lb_plane *plane, int32_t y), (plane, y)) \
    F(ptrdiff_t, lb_plane_stride, (const lb_plane *plane), (plane)) \
    F(float, lb_plane_at, (const lb_plane *plane, int32_t x, int32_t y), (plane, x, y)) \
    F(lb_status, lb_plane_cut, (const lb_plane *plane, lb_box box, lb_plane **out), \
      (plane, box, out)) \
    F(lb_status, lb_plane_copy, (const lb_plane *plane, lb_box box, lb_plane **out), \
      (plane, box, out)) \
    F(lb_status, lb_image_new, (lb_box display, lb_box data, lb_image **out), \
      (display, data, out)) \
    F(lb_image *, lb_image_ref, (const lb_image *image), (image)) \
    V(lb_image_unref, (lb_image **image), (image)) \
    F(lb_status, lb_image_add, (lb_image *image, const char *name, const lb_plane *plane), \
      (image, name, plane)) \
    F(lb_box, lb_image_display, (const lb_image *image), (image)) \
    F(lb_box, lb_image_data, (const lb_image *image), (image)) \
    F(lb_box, lb_image_box, (const lb_image *image), (image)) \
    F(double, lb_image_pixel_aspect, (const lb_image *image), (image)) \
    V(lb_image_set_pixel_aspect, (lb_image *image, double aspect), (image, aspect)) \
    F(int32_t, lb_image_count, (const lb_image *image), (image)) \
    F(const char *, lb_image_name, (const lb_image *image, int32_t index), (image, index)) \
    F(const lb_plane *, lb_image_plane, (const lb_image *image, int32_t index), (image, index)) \
    F(const lb_plane *, lb_image_find, (const lb_image *image, const char *name), (image, name)) \
    F(const lb_plane *, lb_image_mask_plane, (const lb_image *image), (image)) \
    F(int32_t, lb_gaussian_reach, (double sigma), (sigma)) \
    F(lb_status, lb_convolve_gaussian, \
      (lb_pool *pool, const lb_plane *in, const double sigma[2], lb_edge edge, lb_box box, \
       lb_plane **out), \
      (pool, in, sigma, edge, box, out)) \
    F(int32_t, lb_disc_reach, (double radius), (radius)) \
    F(lb_status, lb_convolve_disc, \
      (lb_pool *pool, const lb_plane *in, double radius, lb_edge edge, lb_box box, \
       lb_plane **out), \
      (pool, in, radius, edge, box, out)) \
    F(double, lb_filter_radius, (lb_filter filter), (filter)) \
    F(int32_t, lb_edge_index, (lb_edge edge, int32_t i, int32_t n), (edge, i, n)) \
    F(float, lb_sample, (const lb_plane *plane, double x, double y, lb_filter filter, \
      lb_edge edge), (plane, x, y, filter, edge)) \
    F(lb_status, lb_transform_plane, \
      (lb_pool *pool, const lb_plane *in, const double m[6], lb_filter filter, lb_edge edge, \
       lb_box box, lb_plane **out), \
      (pool, in, m, filter, edge, box, out)) \
    F(lb_status, lb_warp_planes, \
      (lb_pool *pool, int32_t count, const lb_plane *const *in, const lb_plane *dx, \
       const lb_plane *dy, lb_filter filter, lb_edge edge, lb_box box, lb_plane **out), \
      (pool, count, in, dx, dy, filter, edge, box, out)) \
    V(lb_plane_copy_row, \
      (const lb_plane *in, lb_edge edge, int32_t y, int32_t x0, int32_t x1, float *out), \
      (in, edge, y, x0, x1, out)) \
    F(lb_status, lb_plane_extend, \
      (lb_pool *pool, const lb_plane *in, lb_edge edge, lb_box box, lb_plane **out), \
      (pool, in, edge, box, out)) \
    V(lb_space_luminance, (lb_space space, double weights[3]), (space, weights)) \
    V(lb_space_matrix, (lb_space from, lb_space to, double m[9]), (from, to, m)) \
    F(const lb_channels *, lb_channels_make, (lb_arena *arena, const char *const *names), \
      (arena, names)) \
    F(const lb_channels *, lb_channels_rgba, (void), ()) \
    F(int32_t, lb_channels_find, (const lb_channels *channels, const char *name), \
      (channels, name)) \
    F(bool, lb_channel_is_color, (const char *name), (name)) \
    F(bool, lb_channels_have_color, (const lb_channels *channels), (channels)) \
    F(uint64_t, lb_channels_bit, (const lb_channels *channels, const char *name), \
      (channels, name)) \
    F(uint64_t, lb_channels_rgba_bits, (const lb_channels *channels), (channels)) \
    F(const lb_channels *, lb_channels_with, \
      (lb_arena *arena, const lb_channels *channels, const char *name), (arena, channels, name)) \
    F(const char *, lb_mask_channel, (const lb_channels *channels), (channels)) \
    F(lb_status, lb_mask_check, (const lb_call *call, int32_t slot, const char *name), \
      (call, slot, name)) \
    F(const lb_plane *, lb_task_plane, (const lb_task *task, int32_t slot, const char *name), \
      (task, slot, name)) \
    F(const float *, lb_plane_row_over, \
      (const lb_plane *plane, int32_t x0, int32_t x1, int32_t y, float *scratch), \
      (plane, x0, x1, y, scratch)) \
    F(const float *, lb_plane_mask_over, \
      (const lb_plane *plane, float amount, int32_t x0, int32_t x1, int32_t y, float *scratch), \
      (plane, amount, x0, x1, y, scratch)) \
    F(lb_loc, lb_call_loc, (const lb_call *call, const char *param), (call, param)) \
    F(lb_desc, lb_desc_frame, (const lb_call *call, const lb_channels *channels), \
      (call, channels)) \
    F(lb_status, lb_image_map, \
      (const lb_task *task, const lb_image *in, lb_plane_fn fn, lb_image **out), \
      (task, in, fn, out)) \
    F(lb_status, lb_task_image, (const lb_task *task, lb_image **out), (task, out)) \
    F(lb_status, lb_task_pass, \
      (const lb_task *task, lb_image *out, const char *name, const lb_plane *plane), \
      (task, out, name, plane)) \
    F(lb_status, lb_files_load, \
      (struct lb_files *files, lb_diag *diag, lb_loc loc, const char *path, \
       lb_file_content *out), \
      (files, diag, loc, path, out)) \
    F(lb_status, lb_files_key, \
      (struct lb_files *files, lb_diag *diag, lb_loc loc, const char *path, lb_key *out), \
      (files, diag, loc, path, out)) \
    V(lb_points_use_color, \
      (const lb_call *call, const lb_desc *own, uint64_t wanted, lb_points_use *out), \
      (call, own, wanted, out)) \
    V(lb_points_pass, \
      (const lb_call *call, const lb_desc *own, uint64_t wanted, int32_t slot, \
       lb_points_use *out), \
      (call, own, wanted, slot, out)) \
    V(lb_points_tap, \
      (const lb_call *call, int32_t slot, const char *name, lb_points_use *out), \
      (call, slot, name, out)) \
    F(lb_status, lb_points_evaluate, (const lb_task *task, lb_value *out), (task, out)) \
    F(lb_status, lb_files_borrow, \
      (struct lb_files *files, lb_diag *diag, lb_loc loc, const char *path, \
       lb_file_content *out), \
      (files, diag, loc, path, out)) \
    V(lb_files_return, (struct lb_files *files, lb_file_content *content), (files, content))
/* clang-format on */

typedef struct lb_host {
    /* What lb_fail, lb_warn and lb_note come to, their words put together. */
    lb_status (*say)(lb_diag *diag, lb_severity severity, lb_status status, lb_loc loc,
                     const char *text);
#define LB_HOST_V(name, parameters, arguments) void(*name) parameters;
#define LB_HOST_F(type, name, parameters, arguments) type(*name) parameters;
    LB_HOST_FUNCTIONS(LB_HOST_V, LB_HOST_F)
#undef LB_HOST_V
#undef LB_HOST_F
} lb_host;

#endif
