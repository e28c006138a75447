/* tests/install/use.c: a program of somebody else's, built as C and as C++ against what
 * `cmake --install` put down: use [OPERATORS.so LIGHT]. Its pixels follow from its graph: a solid
 * colour is what it says, and every second pair of rows of a louver lets half of it through (or, if
 * LIGHT is given, so much through its gaps). */
#include <lampblack.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char plain[] = "lampblack: 1\n"
                            "frame: {size: [4, 4], rate: 24, range: [1, 1]}\n"
                            "nodes: {a: {op: solid, color: [0.5, 0.25, 0.125]}}\n"
                            "outputs: {o: {image: a, file: o.exr}}\n";
static const char slats[] = "lampblack: 1\n"
                            "frame: {size: [4, 4], rate: 24, range: [1, 1]}\n"
                            "nodes:\n"
                            "  a: {op: solid, color: [0.5, 0.25, 0.125]}\n"
                            "  b: {op: louver, image: a, pitch: 4, gap: 2, through: 0.5}\n"
                            "outputs: {o: {image: b, file: o.exr}}\n";

int main(int argc, char **argv)
{
    float pixels[4 * 4 * 4], gap = argc > 2 ? (float)atof(argv[2]) : 1.0f;
    const char *text = argc > 1 ? slats : plain;
    lampblack_graph *graph = NULL;
    lampblack_request request;
    lampblack_pixels into;
    char report[2048] = "";
    int result = 1;

    memset(&request, 0, sizeof request);
    memset(&into, 0, sizeof into);
    request.size = sizeof request;
    request.output = "o";
    request.frame = 1;
    into.size = sizeof into;
    into.data = pixels;
    into.floats = 4 * 4 * 4;
    if (strcmp(lampblack_version(), LAMPBLACK_VERSION) != 0 ||
        lampblack_version_number() != LAMPBLACK_VERSION_NUMBER ||
        lampblack_graph_new(NULL, &graph) != LAMPBLACK_OK)
        return 1;
    if ((argc < 2 || lampblack_load_operators(graph, argv[1]) == LAMPBLACK_OK) &&
        lampblack_parse(graph, "use.yaml", text, strlen(text)) == LAMPBLACK_OK &&
        lampblack_evaluate(graph, &request, &into) == LAMPBLACK_OK) {
        const float color[4] = {0.5f, 0.25f, 0.125f, 1};

        result = 0;
        for (int i = 0; i < 64; i++) {
            float light = argc < 2 ? 1.0f : i / 16 < 2 ? gap : 0.5f;

            result = result || pixels[i] != color[i % 4] * light;
        }
    }
    lampblack_report(graph, report, sizeof report);
    fputs(report, stderr);
    lampblack_graph_free(&graph);
    puts(lampblack_version());
    return result;
}
