/* tests/engine/api/test_api.c: the library as a program sees it. Pixels follow from the graphs: a
 * solid colour is what it says, premultiplied; colours are dyadic, so that they are exact. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/api/lampblack.h"
#include "engine/base/memory.h"

static char folder[64];

static void enter_folder(void)
{
    strcpy(folder, "/tmp/lampblack-api-XXXXXX");
    cr_assert_not_null(mkdtemp(folder));
    cr_assert_eq(chdir(folder), 0);
}

static void leave_folder(void)
{
    char command[128];

    cr_assert_eq(chdir("/"), 0);
    snprintf(command, sizeof command, "rm -rf %s", folder);
    cr_expect_eq(system(command), 0);
}

TestSuite(api, .init = enter_folder, .fini = leave_folder);

static const char plain[] =
    "lampblack: 1\n"
    "frame: {size: [8, 4], rate: 30000/1001, range: [1, 6]}\n"
    "params: {light: 0.5, tint: \"#ff0000\", shift: [1, 2], glazed: true, label: cone,\n"
    "         drift: {expr: frame * 2}}\n"
    "nodes:\n"
    "  clay: {op: solid, color: [0.5, 0.25, 0.125, 0.5]}\n"
    "  pot: {op: sphere, radius: 1}\n"
    "  lit: {op: exposure, image: clay, stops: {param: light}}\n"
    "  grown: {op: exposure, image: clay, stops: {expr: frame - 1}}\n"
    "  part: {op: crop, image: clay, box: [2, 1, 6, 3]}\n"
    "outputs:\n"
    "  master: {image: grown, file: \"out/a.####.exr\", range: [2, 5]}\n"
    "  still: {image: part, file: b.png, range: [1, 1]}\n";

static lampblack_graph *load(const char *text)
{
    lampblack_options options = {.size = sizeof options, .threads = 2};
    lampblack_graph *graph = NULL;

    cr_assert_eq(lampblack_graph_new(&options, &graph), LAMPBLACK_OK);
    if (lampblack_parse(graph, "kiln.yaml", text, strlen(text)) != LAMPBLACK_OK) {
        char report[4096];

        lampblack_report(graph, report, sizeof report);
        cr_assert_fail("%s", report);
    }
    return graph;
}

/* The text of the last message. */
static const char *last_words(lampblack_graph *graph)
{
    lampblack_message message = {.size = sizeof message};

    if (lampblack_message_at(graph, lampblack_message_count(graph) - 1, &message) != LAMPBLACK_OK)
        return "";
    return message.text;
}

Test(api, tells_what_a_graph_holds)
{
    static const struct {
        const char *name, *type, *value;
    } params[] = {{"light", "a number", "0.5"},     {"tint", "a colour", "#ff0000"},
                  {"shift", "2 numbers", "[1, 2]"}, {"glazed", "true or false", "true"},
                  {"label", "text", "cone"},        {"drift", "a number", NULL}};
    lampblack_graph *graph = load(plain);
    lampblack_frame frame = {.size = sizeof frame};
    lampblack_output output = {.size = sizeof output};
    lampblack_param param = {.size = sizeof param};
    char path[64];

    cr_expect_eq(lampblack_frame_of(graph, &frame), LAMPBLACK_OK);
    cr_expect(frame.width == 8 && frame.height == 4 && frame.rate_num == 30000 &&
              frame.rate_den == 1001 && frame.first == 1 && frame.last == 6 &&
              frame.pixel_aspect == 1);
    cr_expect_str_eq(frame.space, "linear-rec709");
    cr_expect_eq(lampblack_output_count(graph), 2);
    cr_expect_eq(lampblack_output_at(graph, 0, &output), LAMPBLACK_OK);
    cr_expect_str_eq(output.name, "master");
    cr_expect_str_eq(output.file, "out/a.####.exr");
    cr_expect(output.first == 2 && output.last == 5 && output.width == 8 && output.height == 4);
    cr_expect_eq(lampblack_output_at(graph, 2, &output), LAMPBLACK_NOT_FOUND);
    cr_expect_eq(lampblack_output_at(graph, -1, &output), LAMPBLACK_NOT_FOUND);
    cr_expect_eq(lampblack_output_path(graph, "master", 7, path, sizeof path), 14);
    cr_expect_str_eq(path, "out/a.0007.exr");
    cr_expect_eq(lampblack_output_path(graph, "master", 7, path, 6), 14);
    cr_expect_str_eq(path, "out/a");
    cr_expect_eq(lampblack_output_path(graph, "other", 7, path, sizeof path), 0);
    cr_expect_str_empty(path);
    cr_expect_eq(lampblack_param_count(graph), 6);
    for (int32_t i = 0; i < 6; i++) {
        cr_expect_eq(lampblack_param_at(graph, i, &param), LAMPBLACK_OK);
        cr_expect_str_eq(param.name, params[i].name);
        cr_expect_str_eq(param.type, params[i].type, "%s", param.name);
        if (params[i].value)
            cr_expect_str_eq(param.value, params[i].value, "%s", param.name);
        else
            cr_expect_null(param.value);
    }
    cr_expect_eq(lampblack_param_at(graph, 6, &param), LAMPBLACK_NOT_FOUND);
    lampblack_graph_free(&graph);
    cr_expect_null(graph);
}

Test(api, describes_before_it_computes)
{
    lampblack_graph *graph = load(plain);
    lampblack_request request = {.size = sizeof request, .node = "part", .frame = 1};
    lampblack_picture picture = {.size = sizeof picture};
    lampblack_box window = {-1, -2, 3, 4};

    cr_expect_eq(lampblack_describe(graph, &request, &picture), LAMPBLACK_OK);
    cr_expect(picture.display.x1 == 8 && picture.display.y1 == 4 && picture.window.x1 == 8);
    cr_expect(picture.data.x0 == 2 && picture.data.y0 == 1 && picture.data.x1 == 6 &&
                  picture.data.y1 == 3,
              "%d %d %d %d", picture.data.x0, picture.data.y0, picture.data.x1, picture.data.y1);
    cr_expect_eq(picture.channel_count, 4);
    cr_expect_str_eq(picture.channels[0], "A");
    cr_expect_str_eq(picture.channels[3], "R");
    request.window = &window;
    request.scale = 2;
    cr_expect_eq(lampblack_describe(graph, &request, &picture), LAMPBLACK_OK);
    cr_expect(picture.display.x1 == 16 && picture.display.y1 == 8 && picture.data.x0 == 4);
    cr_expect(picture.window.x0 == -1 && picture.window.y0 == -2 && picture.window.x1 == 3 &&
              picture.window.y1 == 4);
    lampblack_graph_free(&graph);
}

/* The window reaches out of the picture on all sides; rows and planes lie apart. */
Test(api, puts_pixels_where_it_is_told)
{
    static const char *const names[] = {"A", "G"};
    static const float color[] = {0.5f, 0.125f}; /* 0.25 times alpha 0.5 */
    lampblack_graph *graph = load(plain);
    lampblack_box window = {-1, -1, 9, 5};
    lampblack_request request = {
        .size = sizeof request, .node = "part", .frame = 1, .window = &window};
    float memory[2 * 6 * 32];
    lampblack_pixels into = {.size = sizeof into,
                             .data = memory,
                             .channels = names,
                             .channel_count = 2,
                             .row_stride = 23,
                             .floats = 5 * 23 + 20};

    for (int planar = 0; planar < 2; planar++) {
        size_t count = sizeof memory / sizeof *memory, written = 0;

        if (planar) {
            into.planar = true;
            into.row_stride = 11;
            into.plane_stride = 70;
            into.floats = 70 + 5 * 11 + 10;
        }
        for (size_t i = 0; i < count; i++)
            memory[i] = -7;
        cr_assert_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_OK, "%s",
                     last_words(graph));
        for (int32_t y = 0; y < 6; y++)
            for (int32_t x = 0; x < 10; x++)
                for (int32_t c = 0; c < 2; c++) {
                    bool inside = x >= 3 && x < 7 && y >= 2 && y < 4;
                    int32_t at = planar ? c * 70 + y * 11 + x : y * 23 + x * 2 + c;

                    cr_expect(memory[at] == (inside ? color[c] : 0), "%d %d %d: %g", x, y, c,
                              (double)memory[at]);
                }
        for (size_t i = 0; i < count; i++)
            written += memory[i] != -7;
        cr_expect_eq(written, 120, "what lies between is left alone: %zu", written);
        into.floats--;
        cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_LIMIT);
    }
    lampblack_graph_free(&graph);
}

/* All channels of a picture without alpha, by a file that this library wrote before. */
Test(api, writes_and_reads_back)
{
    static const char again[] = "lampblack: 1\n"
                                "frame: {size: [8, 4], rate: 24, range: [1, 1]}\n"
                                "nodes:\n"
                                "  file: {op: image, file: out/a.0003.exr}\n"
                                "  flat: {op: solid, color: [1, 0, 1]}\n"
                                "outputs: {o: {image: flat, file: flat.png}}\n";
    static const char third[] = "lampblack: 1\n"
                                "frame: {size: [8, 4], rate: 24, range: [1, 1]}\n"
                                "nodes: {photo: {op: image, file: flat.png}}\n"
                                "outputs: {o: {image: photo, file: other.png}}\n";
    lampblack_graph *graph = load(plain);
    lampblack_request request = {.size = sizeof request, .output = "master", .frame = 3};
    lampblack_picture picture = {.size = sizeof picture};
    float pixels[8 * 4 * 4];
    lampblack_pixels into = {.size = sizeof into, .data = pixels, .floats = 128};

    cr_assert_eq(lampblack_write(graph, &request), LAMPBLACK_OK, "%s", last_words(graph));
    cr_expect_eq(access("out/a.0003.exr", R_OK), 0);
    lampblack_graph_free(&graph);

    graph = load(again);
    request = (lampblack_request){.size = sizeof request, .node = "file", .frame = 1};
    cr_assert_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_OK, "%s", last_words(graph));
    for (int i = 0; i < 128; i += 4) /* frame 3: two stops up; alpha stays */
        cr_expect(pixels[i] == 1 && pixels[i + 1] == 0.5f && pixels[i + 2] == 0.25f &&
                  pixels[i + 3] == 0.5f);
    request = (lampblack_request){.size = sizeof request, .output = "o", .frame = 1};
    cr_assert_eq(lampblack_write(graph, &request), LAMPBLACK_OK, "%s", last_words(graph));
    lampblack_graph_free(&graph);

    graph = load(third);
    request = (lampblack_request){.size = sizeof request, .node = "photo", .frame = 1};
    cr_expect_eq(lampblack_describe(graph, &request, &picture), LAMPBLACK_OK, "%s",
                 last_words(graph));
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_OK);
    for (int i = 0; i < 128; i += 4)
        cr_expect(pixels[i] == 1 && pixels[i + 1] == 0 && pixels[i + 2] == 1 && pixels[i + 3] == 1);
    lampblack_graph_free(&graph);
}

/* The library's file is the program's, byte for byte. */
Test(api, writes_what_the_program_writes)
{
    lampblack_graph *graph = load(plain);
    lampblack_request request = {.size = sizeof request, .output = "master", .frame = 4};
    FILE *file = fopen("kiln.yaml", "w");

    cr_assert_not_null(file);
    fputs(plain, file);
    fclose(file);
    cr_assert_eq(system(LB_PROGRAM " render kiln.yaml --frames 4 --outputs master --progress none"),
                 0);
    cr_assert_eq(rename("out", "program"), 0);
    cr_assert_eq(lampblack_write(graph, &request), LAMPBLACK_OK, "%s", last_words(graph));
    cr_expect_eq(system("diff -r out program"), 0);
    lampblack_graph_free(&graph);
}

Test(api, sets_params)
{
    lampblack_graph *graph = NULL;
    lampblack_request request = {.size = sizeof request, .node = "lit", .frame = 1};
    lampblack_param param = {.size = sizeof param};
    lampblack_box window = {0, 0, 1, 1};
    float pixel[4];
    lampblack_pixels into = {.size = sizeof into, .data = pixel, .floats = 4};

    request.window = &window;
    cr_assert_eq(lampblack_graph_new(NULL, &graph), LAMPBLACK_OK);
    cr_expect_eq(lampblack_set(graph, "light", "2"), LAMPBLACK_OK);
    cr_expect_eq(lampblack_parse(graph, "kiln.yaml", plain, sizeof plain - 1), LAMPBLACK_OK);
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_OK);
    cr_expect(pixel[0] == 1 && pixel[1] == 0.5f && pixel[2] == 0.25f && pixel[3] == 0.5f);
    cr_expect_eq(lampblack_param_at(graph, 0, &param), LAMPBLACK_OK);
    cr_expect_str_eq(param.value, "2");
    cr_expect_eq(lampblack_set(graph, "light", "3"), LAMPBLACK_INVALID, "too late");
    cr_expect_eq(lampblack_load(graph, "other.yaml"), LAMPBLACK_INVALID);
    lampblack_graph_free(&graph);
    cr_assert_eq(lampblack_graph_new(NULL, &graph), LAMPBLACK_OK);
    cr_expect_eq(lampblack_set(graph, "dark", "2"), LAMPBLACK_OK);
    cr_expect_eq(lampblack_parse(graph, "kiln.yaml", plain, sizeof plain - 1), LAMPBLACK_INVALID);
    cr_expect_not_null(strstr(last_words(graph), "dark"));
    lampblack_graph_free(&graph);
}

Test(api, chooses_a_version)
{
    static const char text[] = "lampblack: 1\nframe: {size: [64, 36], rate: 25, range: [1, 9]}\n"
                               "params: {light: 0.5}\n"
                               "versions: {tall: {params: {light: 2}, frame: {size: [36, 64]}}}\n"
                               "nodes: {lit: {op: solid, color: [{param: light}, 0, 0]}}\n"
                               "outputs: {o: {image: lit, file: '{version}.####.exr'}}\n";
    lampblack_graph *graph = NULL;
    lampblack_frame frame = {.size = sizeof frame};
    lampblack_output output = {.size = sizeof output};

    cr_assert_eq(lampblack_graph_new(NULL, &graph), LAMPBLACK_OK);
    cr_expect_eq(lampblack_choose_version(graph, "tall"), LAMPBLACK_OK);
    cr_expect_eq(lampblack_parse(graph, "kiln.yaml", text, sizeof text - 1), LAMPBLACK_OK, "%s",
                 last_words(graph));
    cr_expect_eq(lampblack_frame_of(graph, &frame), LAMPBLACK_OK);
    cr_expect(frame.width == 36 && frame.height == 64);
    cr_expect_eq(lampblack_output_at(graph, 0, &output), LAMPBLACK_OK);
    cr_expect_str_eq(output.file, "tall.####.exr");
    cr_expect_eq(lampblack_choose_version(graph, "wide"), LAMPBLACK_INVALID, "too late");
    lampblack_graph_free(&graph);
    cr_assert_eq(lampblack_graph_new(NULL, &graph), LAMPBLACK_OK);
    cr_expect_eq(lampblack_choose_version(graph, "wide"), LAMPBLACK_OK);
    cr_expect_neq(lampblack_parse(graph, "kiln.yaml", text, sizeof text - 1), LAMPBLACK_OK);
    cr_expect_not_null(strstr(last_words(graph), "wide"));
    lampblack_graph_free(&graph);
}

Test(api, messages_are_values)
{
    static const char faulty[] = "lampblack: 1\n"
                                 "nodes:\n"
                                 "  clay: {op: solid, colour: [1, 1, 1]}\n"
                                 "  soft: {op: blur, image: clay, sigma: -4}\n"
                                 "outputs: {o: {image: soft, file: o.png}}\n"
                                 "frame: {size: [4, 4], rate: 24, range: [1, 1]}\n";
    lampblack_message message = {.size = sizeof message}, later = {.size = sizeof later};
    lampblack_graph *graph = NULL;
    char report[1024], start[16];
    size_t length;
    int32_t count;

    cr_assert_eq(lampblack_graph_new(NULL, &graph), LAMPBLACK_OK);
    cr_expect_eq(lampblack_parse(graph, "kiln.yaml", faulty, sizeof faulty - 1), LAMPBLACK_INVALID);
    count = lampblack_message_count(graph);
    cr_assert_geq(count, 2);
    cr_expect_eq(lampblack_message_at(graph, 0, &message), LAMPBLACK_OK);
    cr_expect_eq(message.severity, LAMPBLACK_ERROR);
    cr_expect_str_eq(message.file, "kiln.yaml");
    cr_expect(message.line == 3 && message.column == 21 && message.length == 6, "%d:%d:%d",
              message.line, message.column, message.length);
    cr_expect_not_null(strstr(message.text, "'colour'"));
    length = lampblack_report(graph, report, sizeof report);
    cr_expect_eq(length, strlen(report));
    cr_expect_not_null(strstr(report, "kiln.yaml:3:21: error: "));
    cr_expect_not_null(strstr(report, "    3 |   clay: {op: solid, colour: [1, 1, 1]}\n"));
    cr_expect_not_null(strstr(report, "      |                     ^~~~~~\n"));
    cr_expect_eq(lampblack_report(graph, start, sizeof start), length);
    cr_expect_eq(strncmp(start, report, sizeof start - 1), 0);
    cr_expect_eq(strlen(start), sizeof start - 1);
    cr_expect_eq(lampblack_report(graph, NULL, 0), length);
    for (int i = 0; i < 40; i++) { /* what was handed out stays where it is */
        char name[32];

        snprintf(name, sizeof name, "absent%d.so", i);
        cr_expect_eq(lampblack_load_operators(graph, name), LAMPBLACK_INVALID);
    }
    cr_expect_eq(lampblack_load(graph, "a.yaml"), LAMPBLACK_INVALID);
    cr_expect_geq(lampblack_message_count(graph), count + 1);
    cr_expect_eq(lampblack_message_at(graph, 0, &later), LAMPBLACK_OK);
    cr_expect(later.text == message.text && later.file == message.file);
    cr_expect_gt(lampblack_report(graph, report, sizeof report), length);
    cr_expect_eq(lampblack_message_at(graph, 1000, &later), LAMPBLACK_NOT_FOUND);
    lampblack_graph_free(&graph);
    cr_assert_eq(lampblack_graph_new(NULL, &graph), LAMPBLACK_OK);
    cr_expect_eq(lampblack_load(graph, "absent.yaml"), LAMPBLACK_NOT_FOUND);
    cr_expect_not_null(strstr(last_words(graph), "absent.yaml"));
    lampblack_graph_free(&graph);
}

/* Each row is one thing wrong in a request that is else good. */
Test(api, refuses_in_words)
{
    static const lampblack_box empty = {3, 3, 3, 5}, far = {0, 0, 1 << 25, 4};
    static const char *const unknown[] = {"R", "depth.Z"}, *const none[] = {NULL};
    float pixels[128];
    const lampblack_request good = {.size = sizeof good, .output = "master", .frame = 2};
    const lampblack_pixels fit = {.size = sizeof fit, .data = pixels, .floats = 128};
    struct {
        lampblack_request request;
        lampblack_pixels into;
        lampblack_status status;
        const char *words;
    } rows[20];
    int count = 0;
    lampblack_graph *graph = load(plain);
    lampblack_options options = {.size = sizeof options, .threads = -1};
    lampblack_graph *none_made = NULL;

#define ROW(wanted, said, ...)                                                                     \
    do {                                                                                           \
        lampblack_request request = good;                                                          \
        lampblack_pixels into = fit;                                                               \
        __VA_ARGS__;                                                                               \
        rows[count].request = request;                                                             \
        rows[count].into = into;                                                                   \
        rows[count].status = wanted;                                                               \
        rows[count++].words = said;                                                                \
    } while (0)
    ROW(LAMPBLACK_INVALID, "size is not set", request.size = 0);
    ROW(LAMPBLACK_INVALID, "not both", request.node = "clay");
    ROW(LAMPBLACK_INVALID, "not both", request.output = NULL);
    ROW(LAMPBLACK_NOT_FOUND, "no output 'pot'", request.output = "pot");
    ROW(LAMPBLACK_NOT_FOUND, "no node 'urn'", request.output = NULL; request.node = "urn.x");
    ROW(LAMPBLACK_INVALID, "has no layer 'x'", request.output = NULL; request.node = "clay.x");
    ROW(LAMPBLACK_INVALID, "'pot' makes", request.output = NULL; request.node = "pot");
    ROW(LAMPBLACK_INVALID, "'scale'", request.scale = 1000);
    ROW(LAMPBLACK_INVALID, "'scale'", request.scale = NAN);
    ROW(LAMPBLACK_INVALID, "the window", request.window = &empty);
    ROW(LAMPBLACK_INVALID, "the window", request.window = &far);
    ROW(LAMPBLACK_INVALID, "where the pixels go", into.size = 3);
    ROW(LAMPBLACK_INVALID, "where the pixels go", into.data = NULL);
    ROW(LAMPBLACK_LIMIT, "128 floats; there is room for 127", into.floats = 127);
    ROW(LAMPBLACK_INVALID, "row stride", into.row_stride = 31);
    ROW(LAMPBLACK_LIMIT, "too large", into.row_stride = SIZE_MAX / 2);
    ROW(LAMPBLACK_INVALID, "plane stride", into.planar = true; into.plane_stride = 31);
    ROW(LAMPBLACK_NOT_FOUND, "no channel 'depth.Z'; it has A, B, G, R", into.channels = unknown;
        into.channel_count = 2);
    ROW(LAMPBLACK_INVALID, "channel", into.channels = unknown; into.channel_count = 0);
    ROW(LAMPBLACK_INVALID, "name is NULL", into.channels = none; into.channel_count = 1);
    for (int i = 0; i < count; i++) {
        cr_expect_eq(lampblack_evaluate(graph, &rows[i].request, &rows[i].into), rows[i].status,
                     "row %d", i);
        cr_expect(strstr(last_words(graph), rows[i].words) || i > 0, "row %d: %s", i,
                  last_words(graph));
    }
    cr_expect_eq(lampblack_evaluate(graph, &good, &fit), LAMPBLACK_OK);
    cr_expect_eq(lampblack_evaluate(graph, NULL, &fit), LAMPBLACK_INVALID);
    cr_expect_eq(lampblack_evaluate(graph, &good, NULL), LAMPBLACK_INVALID);
    cr_expect_eq(lampblack_evaluate(NULL, &good, &fit), LAMPBLACK_INVALID);
    cr_expect_eq(lampblack_describe(graph, &good, NULL), LAMPBLACK_INVALID);
    cr_expect_eq(lampblack_write(graph, &(lampblack_request){.size = sizeof good, .node = "clay"}),
                 LAMPBLACK_INVALID);
    cr_expect_eq(lampblack_graph_new(&options, &none_made), LAMPBLACK_INVALID);
    cr_expect_eq(lampblack_graph_new(NULL, NULL), LAMPBLACK_INVALID);
    cr_expect_eq(lampblack_load(NULL, "a.yaml"), LAMPBLACK_INVALID);
    cr_expect_eq(lampblack_report(NULL, NULL, 0), 0);
    lampblack_graph_free(&none_made);
    lampblack_graph_free(NULL);
    lampblack_graph_free(&graph);
}

/* A program that was compiled with another version of the header. */
Test(api, structs_may_grow)
{
    struct {
        lampblack_frame frame;
        char more[24];
    } later = {.frame.size = sizeof later, .more = "not yet known"};
    struct {
        lampblack_request request;
        const char *more;
    } request = {.request = {.size = sizeof request, .node = "clay", .frame = 1}};
    struct {
        size_t size;
        int32_t width, height, after;
    } earlier = {.size = 2 * sizeof(size_t), .after = 77};
    lampblack_picture picture = {.size = sizeof picture};
    lampblack_graph *graph = load(plain);

    cr_expect_eq(lampblack_frame_of(graph, &later.frame), LAMPBLACK_OK);
    cr_expect_eq(later.frame.size, sizeof later);
    cr_expect(later.more[0] == 0 && later.more[12] == 0, "what is not known is zero");
    cr_expect_eq(lampblack_frame_of(graph, (lampblack_frame *)&earlier), LAMPBLACK_OK);
    cr_expect(earlier.width == 8 && earlier.height == 4 && earlier.after == 77);
    cr_expect_eq(lampblack_describe(graph, &request.request, &picture), LAMPBLACK_OK);
    request.more = "wanted";
    cr_expect_eq(lampblack_describe(graph, &request.request, &picture), LAMPBLACK_INVALID);
    lampblack_graph_free(&graph);
}

typedef struct witness {
    char told[256];
    int calls, polls;
    bool stop; /* once something began */
} witness;

static void tell(void *user, const char *node, int32_t done, int32_t total)
{
    witness *w = user;
    size_t at = strlen(w->told);

    w->calls++;
    snprintf(w->told + at, sizeof w->told - at, "%d/%d %s; ", (int)done, (int)total,
             node ? node : "end");
}

static bool ask(void *user)
{
    witness *w = user;

    w->polls++;
    return w->stop && w->calls > 0;
}

static bool always(void *user)
{
    (void)user;
    return true;
}

Test(api, progress_and_cancel)
{
    static const char chain[] = "lampblack: 1\n"
                                "frame: {size: [2048, 2048], rate: 24, range: [1, 1]}\n"
                                "nodes:\n"
                                "  a: {op: gradient, type: linear, from: [0, 0], to: [64, 0],\n"
                                "      stops: [{at: 0, color: \"#000000\"}, {at: 1, color: "
                                "\"#ff7a1f\"}]}\n"
                                "  unused: {op: solid}\n"
                                "  b: {op: blur, image: a, sigma: 3}\n"
                                "  c: {op: defocus, image: b, radius: 150}\n"
                                "  d: {op: defocus, image: c, radius: 151}\n"
                                "  e: {op: defocus, image: d, radius: 152}\n"
                                "outputs: {o: {image: e, file: o.exr}}\n";
    lampblack_graph *graph = load(chain);
    lampblack_output output = {.size = sizeof output};
    lampblack_box window = {0, 0, 4, 4};
    float pixels[64], again[64];
    lampblack_pixels into = {.size = sizeof into, .data = pixels, .floats = 64};
    witness w = {0};
    lampblack_request request = {.size = sizeof request,
                                 .node = "b",
                                 .frame = 1,
                                 .window = &window,
                                 .progress = tell,
                                 .progress_user = &w,
                                 .cancel = ask,
                                 .cancel_user = &w};

    cr_expect_eq(lampblack_output_at(graph, 0, &output), LAMPBLACK_OK);
    cr_expect(output.first == 1 && output.last == 1, "of the graph, if it has none of its own");
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_OK, "%s", last_words(graph));
    cr_expect_str_eq(w.told, "0/2 a; 1/2 b; 2/2 end; ");
    cr_expect_gt(w.polls, 0);

    w = (witness){.stop = true};
    request.node = "e";
    request.window = NULL;
    into = (lampblack_pixels){.size = sizeof into, .floats = (size_t)2048 * 2048 * 4};
    into.data = malloc(into.floats * sizeof(float));
    cr_assert_not_null(into.data);
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_CANCELLED);
    cr_expect_eq(strncmp(w.told, "0/5 a; ", 7), 0, "%s", w.told);
    cr_expect_null(strstr(w.told, "end"), "%s", w.told);
    free(into.data);
    into.data = NULL;

    request.cancel = always;
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_INVALID);
    into = (lampblack_pixels){.size = sizeof into, .data = again, .floats = 64};
    request.window = &window;
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_CANCELLED);

    /* It can be used as before. */
    request =
        (lampblack_request){.size = sizeof request, .node = "b", .frame = 1, .window = &window};
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_OK);
    cr_expect_eq(memcmp(pixels, again, sizeof pixels), 0);
    lampblack_graph_free(&graph);
}

typedef struct count {
    int calls, wrong;
    int32_t done, total, first_total;
} count;

static void note(void *user, const char *node, int32_t done, int32_t total)
{
    count *c = user;

    c->wrong += done < c->done || done > total || (!node && done != total);
    c->first_total = c->calls++ ? c->first_total : total;
    c->done = done;
    c->total = total;
}

/* A gradient and a blur of 1024 x 1024 take pictures of 16 MiB each; with 28 MiB for all they are
 * made in parts: more pieces of work, told as such, and never fewer done than before. */
Test(api, progress_of_frames_in_parts)
{
    static const char text[] = "lampblack: 1\n"
                               "frame: {size: [1024, 1024], rate: 24, range: [1, 1]}\n"
                               "nodes:\n"
                               "  a: {op: gradient, type: linear, from: [0, 0], to: [64, 0],\n"
                               "      stops: [{at: 0, color: \"#000000\"}, {at: 1, color: "
                               "\"#ff7a1f\"}]}\n"
                               "  b: {op: blur, image: a, sigma: 8}\n"
                               "outputs: {o: {image: b, file: o.exr}}\n";
    lampblack_options options = {.size = sizeof options, .threads = 2, .keeps_nothing = true};
    lampblack_graph *graph = NULL;
    count c = {0};
    lampblack_request request = {
        .size = sizeof request, .output = "o", .frame = 1, .progress = note, .progress_user = &c};
    lampblack_pixels into = {.size = sizeof into, .floats = (size_t)1024 * 1024 * 4};

    into.data = malloc(into.floats * sizeof(float));
    cr_assert_not_null(into.data);
    cr_assert_eq(lampblack_graph_new(&options, &graph), LAMPBLACK_OK);
    cr_assert_eq(lampblack_parse(graph, "kiln.yaml", text, sizeof text - 1), LAMPBLACK_OK);
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_OK);
    cr_expect(c.calls == 3 && c.wrong == 0 && c.total == 2 && c.done == 2, "%d calls, %d of %d",
              c.calls, c.done, c.total);
    c = (count){0};
    lampblack_memory_trim();
    lampblack_memory_limit((size_t)28 << 20);
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_OK, "%s", last_words(graph));
    lampblack_memory_limit(0);
    cr_expect(c.calls > 3 && c.wrong == 0 && c.first_total == 2 && c.total > 2 && c.done == c.total,
              "%d calls, %d wrong, %d of %d", c.calls, c.wrong, c.done, c.total);
    free(into.data);
    lampblack_graph_free(&graph);
}

Test(api, one_account_of_memory)
{
    lampblack_graph *graph = load(plain);
    lampblack_request request = {.size = sizeof request, .output = "master", .frame = 2};
    float pixels[128];
    lampblack_pixels into = {.size = sizeof into, .data = pixels, .floats = 128};
    size_t before = lampblack_memory_used();

    cr_expect_gt(before, 0);
    lampblack_memory_limit(before + 100);
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_MEMORY);
    lampblack_memory_limit(0);
    cr_expect_eq(lampblack_evaluate(graph, &request, &into), LAMPBLACK_OK);
    lampblack_graph_free(&graph);
    lampblack_memory_trim();
    cr_expect_eq(lampblack_memory_used(), 0);
}

/* Every allocation of this thread fails once. */
Test(api, survives_failing_allocations)
{
    lampblack_options options = {.size = sizeof options, .threads = 1, .cache_folder = "cache"};
    lampblack_request request = {.size = sizeof request, .output = "master", .frame = 2};
    lampblack_picture picture = {.size = sizeof picture};
    float pixels[128];
    lampblack_pixels into = {.size = sizeof into, .data = pixels, .floats = 128};
    bool failed = true;
    int64_t n = 0;

    while (failed && ++n < 5000) {
        lampblack_graph *graph = NULL;
        lampblack_status status;

        lb_memory_fail_at(n);
        status = lampblack_graph_new(&options, &graph);
        if (status == LAMPBLACK_OK)
            status = lampblack_set(graph, "light", "1");
        if (status == LAMPBLACK_OK)
            status = lampblack_parse(graph, "kiln.yaml", plain, sizeof plain - 1);
        if (status == LAMPBLACK_OK)
            status = lampblack_describe(graph, &request, &picture);
        if (status == LAMPBLACK_OK)
            status = lampblack_evaluate(graph, &request, &into);
        failed = lb_memory_fail_left() == 0;
        lb_memory_fail_at(0);
        if (!failed)
            cr_expect_eq(status, LAMPBLACK_OK);
        if (status == LAMPBLACK_OK)
            cr_expect(pixels[0] == 0.5f && pixels[127] == 0.5f, "allocation %d", (int)n);
        else
            cr_expect_eq(status, LAMPBLACK_MEMORY, "allocation %d: %d %s", (int)n, (int)status,
                         graph ? last_words(graph) : "");
        lampblack_graph_free(&graph);
    }
    cr_expect_gt(n, 50);
    cr_expect_lt(n, 5000);
    cr_expect_eq(lampblack_memory_used(), 0);
}
