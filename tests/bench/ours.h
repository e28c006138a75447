/* tests/bench/ours.h: Lampblack behind plain C functions, for report.py and guard.c. Numbers that
 * come back are an lb_status, 0 for good; messages go to standard error. */
#ifndef LB_TESTS_BENCH_OURS_H
#define LB_TESTS_BENCH_OURS_H

#include "engine/image/image.h"
#include "engine/media/media.h"

/* A pool of threads and where messages go. NULL: no memory. */
typedef struct bench {
    lb_pool *pool;
    lb_diag *diag;
} bench;
bench *bench_new(int threads);
void bench_free(bench *b);
/* Prints what was reported since the last time and hands `status` on. */
int bench_status(bench *b, lb_status status);

/* `pixels` holds a plane of width * height floats for each letter of `channels` ("RGBA"), in that
 * order. NULL: no memory. */
lb_image *bench_picture(int width, int height, const char *channels, const float *pixels);
/* The reverse, of the display window; what is missing is 0. */
void bench_pixels(const lb_image *image, const char *channels, float *pixels);
void bench_picture_free(lb_image *image);

/* Each works on all channels of `in` and gives its result in *out (bench_picture_free); with `out`
 * NULL it is let go. Nothing is copied. */
int bench_gaussian(bench *b, const lb_image *in, double sigma, lb_image **out);
int bench_disc(bench *b, const lb_image *in, double radius, lb_image **out);
/* `radii` is an image with one channel R. */
int bench_defocus(bench *b, const lb_image *in, const lb_image *radii, double most, lb_image **out);
/* `map` has channels R and G: how far to look to the right and down. */
int bench_warp(bench *b, const lb_image *in, const lb_image *map, int filter, lb_image **out);
/* lb_composite_row with source-over, row by row on the pool, into a new picture. */
int bench_over(bench *b, const lb_image *source, const lb_image *backdrop, lb_image **out);
/* Bytes in use now, and the most since the last frame of a graph began; gives back what waits. */
size_t bench_memory_used(void);
size_t bench_memory_peak(void);
void bench_memory_trim(void);

/* Moves pixels through the threads: pixels copied (scale 0), or
 * out = a + scale * b ("triad"); `streaming` writes past the cache. */
int bench_stream(bench *b, float *out, const float *a, const float *b_or_null, float scale,
                 size_t count, int streaming);

/* A file in memory; *bytes is freed with bench_bytes_free. `name` decides the format. */
int bench_encode(bench *b, const lb_image *in, const char *name, int depth, int compression,
                 int view, void **bytes, size_t *count);
int bench_decode(bench *b, const char *name, const void *bytes, size_t count, lb_image **out);
void bench_bytes_free(void *bytes);

/* Graphs. Besides the built-in operators there is `given`, whose parameter `index` chooses one of
 * the pictures that bench_give was handed (lent): an input that costs nothing to make. */
#define BENCH_GIVEN 8
void bench_give(int index, const lb_image *image);
typedef struct bench_graph bench_graph;
/* `path` is for messages and names the folder of files; `text` NULL: read it. `set` is NULL or
 * "name=value". */
bench_graph *bench_graph_new(bench *b, const char *path, const char *text, double scale,
                             size_t cache_bytes, const char *set);
void bench_graph_free(bench_graph *graph);
/* Every output at `frame`; *out is the first one's picture; NULL: let go. */
int bench_graph_frame(bench_graph *graph, int frame, lb_image **out);
/* The picture of one node. */
int bench_graph_node_frame(bench_graph *graph, const char *node, int frame, lb_image **out);
/* What a `render` of that scene node with 180 degrees of shutter draws, through the scene's first
 * camera; for rival_gl_scene_new. NULL: it cannot be had. */
struct rival_scene;
struct rival_scene *bench_scene_new(bench_graph *graph, const char *node, int frame);
void bench_scene_free(struct rival_scene *scene);
/* Plans `frame` and makes nothing. */
int bench_graph_plan(bench_graph *graph, int frame);
/* The first output, encoded as the graph says, of a picture that bench_graph_frame made. */
int bench_graph_encode(bench_graph *graph, int output, const lb_image *image, void **bytes,
                       size_t *count);
int bench_graph_nodes(const bench_graph *graph);
const char *bench_graph_node(const bench_graph *graph, int node, const char **op);
/* Of all frames so far; the peak is of the last. */
double bench_graph_seconds(const bench_graph *graph, int node, double *peak_bytes);
int bench_graph_outputs(const bench_graph *graph);
const char *bench_graph_output(const bench_graph *graph, int output);

#endif
