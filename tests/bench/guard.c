/* tests/bench/guard.c: one small job a primitive, for counting instructions under callgrind; run by
 * itself it only does them. See guard. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "engine/image/sample.h"
#include "tests/bench/ours.h"

#if __has_include(<valgrind/callgrind.h>)
#include <valgrind/callgrind.h>
#else
#define CALLGRIND_START_INSTRUMENTATION
#define CALLGRIND_STOP_INSTRUMENTATION
#define CALLGRIND_ZERO_STATS
#define CALLGRIND_DUMP_STATS_AT(name) ((void)(name))
#endif

#define WIDTH 320
#define HEIGHT 180
#define NODES 200

#define FRAME                                                                                      \
    "lampblack: 1\nframe: {size: [320, 180], rate: 30, range: [1, 10]}\nnodes:\n"                  \
    "  a: {op: given, index: 0}\n"
#define LAYER_NODE "  b: {op: given, index: 1}\n"
#define OUTPUT "outputs:\n  out: {image: last, file: out.exr, range: 1}\n"

static const char over_text[] =
    FRAME LAYER_NODE "  last: {op: composite, source: b, backdrop: a}\n" OUTPUT;
static const char chain_text[] = FRAME LAYER_NODE
    "  n1: {op: exposure, image: a, stops: 0.5}\n"
    "  n2: {op: cdl, image: n1, slope: [1.1, 0.95, 0.9], offset: [0.01, 0.02, 0.015]}\n"
    "  n3: {op: cdl, image: n2, power: [0.9, 0.9, 0.9]}\n"
    "  n4: {op: composite, source: b, backdrop: n3}\n"
    "  n5: {op: exposure, image: n4, stops: -0.3}\n"
    "  n6: {op: cdl, image: n5, saturation: 0.8}\n"
    "  n7: {op: cdl, image: n6, power: [1.1, 1.1, 1.1]}\n"
    "  wash: {op: solid, color: [0.02, 0.01, 0.005]}\n"
    "  last: {op: composite, source: wash, backdrop: n7, operator: lighter}\n" OUTPUT;
static const char scene_text[] =
    FRAME "  skin: {op: uv, image: a}\n"
          "  clay: {op: material, model: blinn, diffuse-map: skin, specular: 0.4, exponent: 40}\n"
          "  ball: {op: sphere, radius: 1.6, segments: 64, material: clay}\n"
          "  lamp: {op: light, type: point, decay: none, intensity: 2, position: [3, 4, 5]}\n"
          "  eye: {op: camera, position: [0, 0, 5], fov: 40}\n"
          "  stage: {op: group, items: [ball, lamp]}\n"
          "  last: {op: render, scene: stage, camera: eye, samples: 4}\n" OUTPUT;

typedef struct guard {
    bench *b;
    lb_image *picture, *layer, *radii, *map;
    bench_graph *over, *chain, *scene, *long_chain;
    char *long_text;
    void *exr;
    size_t exr_count;
} guard;

/* ------------------------------------------------------------------ input */

/* A number from 0 to 1 that looks random: Wang's integer hash. */
static float scatter(uint32_t x)
{
    x = (x ^ 61) ^ (x >> 16);
    x *= 9;
    x ^= x >> 4;
    x *= 0x27d4eb2d;
    x ^= x >> 15;
    return (float)(x >> 8) / 16777216.0f;
}

enum { PICTURE, LAYER, RADII, MAP };

static float pixel(int kind, int c, int x, int y)
{
    float u = (float)x / WIDTH, v = (float)y / HEIGHT;
    float grain = scatter((uint32_t)((y * WIDTH + x) * 4 + c));

    switch (kind) {
    case PICTURE:
        return c == 3 ? 1.0f : 0.2f + 0.6f * u * v + 0.05f * grain;
    case LAYER:
        return c == 3 ? u : u * v;
    case RADII:
        return x < WIDTH / 3 ? -6.0f : 8.0f * v;
    default:
        return 4.0f * (c ? v - 0.5f : u - 0.5f) + 0.5f * grain;
    }
}

static lb_image *make_picture(int kind, const char *channels)
{
    int count = (int)strlen(channels);
    float *pixels = lb_alloc((size_t)count * WIDTH * HEIGHT, sizeof *pixels), *at = pixels;
    lb_image *image;

    if (!pixels)
        return NULL;
    for (int c = 0; c < count; c++)
        for (int y = 0; y < HEIGHT; y++)
            for (int x = 0; x < WIDTH; x++)
                *at++ = pixel(kind, c, x, y);
    image = bench_picture(WIDTH, HEIGHT, channels, pixels);
    lb_free(pixels);
    return image;
}

/* A chain of NODES nodes, every third with an expression. */
static char *make_long_text(void)
{
    size_t room = sizeof FRAME + sizeof OUTPUT + (size_t)NODES * 80, used = 0;
    char *text = lb_alloc(room, 1);

    if (!text)
        return NULL;
    used += (size_t)snprintf(text, room, "%s", FRAME);
    for (int i = 0; i < NODES; i++) {
        char from[16] = "a", to[16] = "last";

        if (i > 0)
            snprintf(from, sizeof from, "n%d", i - 1);
        if (i < NODES - 1)
            snprintf(to, sizeof to, "n%d", i);
        used += (size_t)snprintf(text + used, room - used,
                                 "  %s: {op: exposure, image: %s, stops: %s}\n", to, from,
                                 i % 3 ? "0.1" : "{expr: sin(frame) / 9}");
    }
    snprintf(text + used, room - used, "%s", OUTPUT);
    return text;
}

/* ------------------------------------------------------------------- jobs */

static int gaussian_2(guard *g)
{
    return bench_gaussian(g->b, g->picture, 2, NULL);
}

static int gaussian_10(guard *g)
{
    return bench_gaussian(g->b, g->picture, 10, NULL);
}

static int gaussian_50(guard *g)
{
    return bench_gaussian(g->b, g->picture, 50, NULL);
}

static int disc_10(guard *g)
{
    return bench_disc(g->b, g->picture, 10, NULL);
}

static int defocus_8(guard *g)
{
    return bench_defocus(g->b, g->picture, g->radii, 8, NULL);
}

static int warp_bilinear(guard *g)
{
    return bench_warp(g->b, g->picture, g->map, LB_FILTER_BILINEAR, NULL);
}

static int warp_bicubic(guard *g)
{
    return bench_warp(g->b, g->picture, g->map, LB_FILTER_CUBIC, NULL);
}

static int source_over(guard *g)
{
    return bench_graph_frame(g->over, 1, NULL);
}

static int chain_8(guard *g)
{
    return bench_graph_frame(g->chain, 1, NULL);
}

static int encode(guard *g, const char *name, lb_depth depth, lb_compression compression)
{
    void *bytes = NULL;
    size_t count;
    int status = bench_encode(g->b, g->picture, name, (int)depth, (int)compression,
                              (int)LB_VIEW_SRGB, &bytes, &count);

    bench_bytes_free(bytes);
    return status;
}

static int exr_write(guard *g)
{
    return encode(g, "a.exr", LB_DEPTH_HALF, LB_COMPRESSION_ZIP);
}

static int exr_read(guard *g)
{
    return bench_decode(g->b, "a.exr", g->exr, g->exr_count, NULL);
}

static int png_8_write(guard *g)
{
    return encode(g, "a.png", LB_DEPTH_8, LB_COMPRESSION_NONE);
}

static int png_16_write(guard *g)
{
    return encode(g, "a.png", LB_DEPTH_16, LB_COMPRESSION_NONE);
}

static int raster(guard *g)
{
    return bench_graph_frame(g->scene, 1, NULL);
}

static int read_graph(guard *g)
{
    bench_graph *graph = bench_graph_new(g->b, "long.yaml", g->long_text, 1, 0, NULL);

    bench_graph_free(graph);
    return graph ? 0 : 1;
}

static int plan_graph(guard *g)
{
    return bench_graph_plan(g->long_chain, 2);
}

static const struct job {
    const char *name;
    int (*run)(guard *g);
} jobs[] = {
    {"source-over", source_over},   {"chain-8", chain_8},
    {"gaussian-2", gaussian_2},     {"gaussian-10", gaussian_10},
    {"gaussian-50", gaussian_50},   {"disc-10", disc_10},
    {"defocus-8", defocus_8},       {"warp-bilinear", warp_bilinear},
    {"warp-bicubic", warp_bicubic}, {"exr-write", exr_write},
    {"exr-read", exr_read},         {"png-8-write", png_8_write},
    {"png-16-write", png_16_write}, {"raster", raster},
    {"read-graph", read_graph},     {"plan-graph", plan_graph},
};

static bool begin(guard *g)
{
    g->b = bench_new(1); /* one thread: counts of several would depend on who did what */
    g->picture = make_picture(PICTURE, "RGBA");
    g->layer = make_picture(LAYER, "RGBA");
    g->radii = make_picture(RADII, "R");
    g->map = make_picture(MAP, "RG");
    g->long_text = make_long_text();
    if (!g->b || !g->picture || !g->layer || !g->radii || !g->map || !g->long_text)
        return false;
    bench_give(0, g->picture);
    bench_give(1, g->layer);
    g->over = bench_graph_new(g->b, "over.yaml", over_text, 1, 0, NULL);
    g->chain = bench_graph_new(g->b, "chain.yaml", chain_text, 1, 0, NULL);
    g->scene = bench_graph_new(g->b, "scene.yaml", scene_text, 1, 0, NULL);
    g->long_chain = bench_graph_new(g->b, "long.yaml", g->long_text, 1, 0, NULL);
    return g->over && g->chain && g->scene && g->long_chain &&
           bench_encode(g->b, g->picture, "a.exr", LB_DEPTH_HALF, LB_COMPRESSION_ZIP, LB_VIEW_RAW,
                        &g->exr, &g->exr_count) == 0;
}

static void end(guard *g)
{
    bench_graph_free(g->over);
    bench_graph_free(g->chain);
    bench_graph_free(g->scene);
    bench_graph_free(g->long_chain);
    bench_picture_free(g->picture);
    bench_picture_free(g->layer);
    bench_picture_free(g->radii);
    bench_picture_free(g->map);
    bench_bytes_free(g->exr);
    lb_free(g->long_text);
    bench_free(g->b);
}

int main(void)
{
    guard g = {0};
    int status = begin(&g) ? 0 : 1;

    for (size_t i = 0; i < sizeof jobs / sizeof *jobs && status == 0; i++) {
        if ((status = jobs[i].run(&g)) != 0) /* once before, so that blocks are there */
            break;
        CALLGRIND_ZERO_STATS;
        CALLGRIND_START_INSTRUMENTATION;
        status = jobs[i].run(&g);
        CALLGRIND_STOP_INSTRUMENTATION;
        CALLGRIND_DUMP_STATS_AT(jobs[i].name);
    }
    end(&g);
    if (status != 0)
        fputs("bench-guard: a job failed\n", stderr);
    return status == 0 ? 0 : 1;
}
