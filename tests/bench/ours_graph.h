/* tests/bench/ours_graph.h: what ours_scene.c needs of a graph (engine/graph and engine/raster have
 * names in common). */
#ifndef LB_TESTS_BENCH_OURS_GRAPH_H
#define LB_TESTS_BENCH_OURS_GRAPH_H

#include "engine/scene/scene.h"
#include "tests/bench/ours.h"

/* What the scene node of that name makes at `frame`, and the size of frames; lb_scene_unref. */
int bench_graph_scene(bench_graph *graph, const char *node, int frame, int *width, int *height,
                      lb_scene **out);
double bench_graph_time(const bench_graph *graph, double frame); /* seconds */

#endif
