/* frame GRAPH.yaml [OUTPUT FRAME [OPERATORS.so]]: lists a graph's outputs, or computes a frame of
 * one into its own memory, telling how far it is, and prints it as PPM with a gamma of 2. */
#include <lampblack.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static void tell(void *user, const char *node, int32_t done, int32_t total)
{
    (void)user;
    fprintf(stderr, "%d of %d: %s\n", (int)done, (int)total, node ? node : "done");
}

static lampblack_status list_outputs(lampblack_graph *graph)
{
    lampblack_output out = {.size = sizeof out};

    for (int32_t i = 0; lampblack_output_at(graph, i, &out) == LAMPBLACK_OK; i++)
        printf("%s: frames %d to %d, %d x %d\n", out.name, (int)out.first, (int)out.last,
               (int)out.width, (int)out.height);
    return LAMPBLACK_OK;
}

static lampblack_status print_frame(lampblack_graph *graph, const char *output, int frame)
{
    static const char *const rgb[] = {"R", "G", "B"};
    lampblack_request ask = {
        .size = sizeof ask, .output = output, .frame = frame, .progress = tell};
    lampblack_pixels into = {.size = sizeof into, .channels = rgb, .channel_count = 3};
    lampblack_picture picture = {.size = sizeof picture};
    lampblack_status status = lampblack_describe(graph, &ask, &picture);

    if (status != LAMPBLACK_OK)
        return status;
    into.floats = (size_t)picture.width * (size_t)picture.height * 3;
    if (!(into.data = malloc(into.floats * sizeof *into.data)))
        return LAMPBLACK_MEMORY;
    if ((status = lampblack_evaluate(graph, &ask, &into)) == LAMPBLACK_OK)
        printf("P6\n%d %d\n255\n", (int)picture.width, (int)picture.height);
    for (size_t i = 0; status == LAMPBLACK_OK && i < into.floats; i++)
        putchar((int)(sqrtf(fminf(fmaxf(into.data[i], 0), 1)) * 255 + 0.5f));
    free(into.data);
    return status;
}

int main(int argc, char **argv)
{
    lampblack_graph *graph = NULL;
    lampblack_status status = argc < 2 ? LAMPBLACK_INVALID : lampblack_graph_new(NULL, &graph);
    char report[4096] = "";

    if (status == LAMPBLACK_OK && argc > 4)
        status = lampblack_load_operators(graph, argv[4]);
    if (status == LAMPBLACK_OK && (status = lampblack_load(graph, argv[1])) == LAMPBLACK_OK)
        status = argc > 3 ? print_frame(graph, argv[2], atoi(argv[3])) : list_outputs(graph);
    lampblack_report(graph, report, sizeof report);
    fprintf(stderr, "%s%s\n", report, lampblack_status_text(status));
    lampblack_graph_free(&graph);
    return status != LAMPBLACK_OK || fflush(stdout) != 0;
}
