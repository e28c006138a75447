/* examples/library/frame/frame.c: frame GRAPH OUTPUT FRAME FILE.ppm [OPERATORS.so]
 *
 * Computes one frame at half size into memory of its own, tells the mean of each channel and writes
 * a small picture of it, clamped and with a gamma of 2. */
#include <lampblack.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void tell_progress(void *user, const char *node, int32_t done, int32_t total)
{
    (void)user;
    fprintf(stderr, "%d/%d %s\n", (int)done, (int)total, node ? node : "done");
}

static void tell_messages(lampblack_graph *graph)
{
    char text[4096];

    lampblack_report(graph, text, sizeof text);
    fputs(text, stderr);
}

static int write_picture(const char *path, const float *pixels, int32_t width, int32_t height)
{
    FILE *file = fopen(path, "wb");

    if (!file)
        return 1;
    fprintf(file, "P6\n%d %d\n255\n", (int)width, (int)height);
    for (size_t i = 0; i < (size_t)width * (size_t)height * 3; i++)
        fputc((int)(sqrtf(fminf(fmaxf(pixels[i], 0), 1)) * 255 + 0.5f), file);
    return fclose(file) != 0;
}

int main(int argc, char **argv)
{
    static const char *const channels[] = {"R", "G", "B"};
    lampblack_graph *graph = NULL;
    lampblack_request request;
    lampblack_picture picture;
    lampblack_pixels into;
    int failed = 1;

    if (argc < 5 || lampblack_graph_new(NULL, &graph) != LAMPBLACK_OK)
        return 2;
    memset(&request, 0, sizeof request); /* zero is every field's usual value */
    memset(&picture, 0, sizeof picture);
    memset(&into, 0, sizeof into);
    request.size = sizeof request;
    request.output = argv[2];
    request.frame = atoi(argv[3]);
    request.scale = 0.5;
    request.progress = tell_progress;
    picture.size = sizeof picture;
    if ((argc < 6 || lampblack_load_operators(graph, argv[5]) == LAMPBLACK_OK) &&
        lampblack_load(graph, argv[1]) == LAMPBLACK_OK &&
        lampblack_describe(graph, &request, &picture) == LAMPBLACK_OK) {
        int32_t width = picture.window.x1 - picture.window.x0;
        int32_t height = picture.window.y1 - picture.window.y0;

        into.size = sizeof into;
        into.channels = channels;
        into.channel_count = 3;
        into.floats = (size_t)width * (size_t)height * 3;
        into.data = (float *)malloc(into.floats * sizeof(float));
        if (into.data && lampblack_evaluate(graph, &request, &into) == LAMPBLACK_OK) {
            double sum[3] = {0, 0, 0};

            for (size_t i = 0; i < into.floats; i++)
                sum[i % 3] += into.data[i];
            for (int c = 0; c < 3; c++)
                printf("%s %.9g\n", channels[c], sum[c] / ((double)width * height));
            failed = write_picture(argv[4], into.data, width, height);
        }
    }
    tell_messages(graph);
    free(into.data);
    lampblack_graph_free(&graph);
    return failed;
}
