/* engine/cli/graph.c: lampblack graph GRAPH. */
#include <stdio.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/cli/cli.h"
#include "engine/cli/drawing.h"

#define THUMBNAIL_WIDTH 160
#define THUMBNAIL_HEIGHT 120 /* at most */

typedef struct graph_options {
    const char *graph, *svg, *dot;
    bool thumbnails, parts;
    lb_frames frames;
    lb_settings settings;
    lb_texts objects;
    int32_t threads;
    size_t memory;
} graph_options;

/* ---- Thumbnails ---- */

/* RFC 4648, section 4; the caller's (lb_free). NULL: no memory. */
static char *base64(const unsigned char *bytes, size_t count)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    char *text = count < SIZE_MAX / 2 ? lb_alloc((count + 2) / 3 * 4 + 1, 1) : NULL, *to = text;

    for (size_t i = 0; text && i < count; i += 3) {
        uint32_t left = (uint32_t)(count - i);
        uint32_t three = (uint32_t)bytes[i] << 16 | (uint32_t)(left > 1 ? bytes[i + 1] : 0) << 8 |
                         (uint32_t)(left > 2 ? bytes[i + 2] : 0);

        *to++ = digits[three >> 18];
        *to++ = digits[three >> 12 & 63];
        *to++ = left > 1 ? digits[three >> 6 & 63] : '=';
        *to++ = left > 2 ? digits[three & 63] : '=';
    }
    return text;
}

typedef struct thumbnails {
    lb_session *session;
    lb_drawing *drawing;
    lb_run *run;
    lb_write_options write;
} thumbnails;

static lb_status add_thumbnail(const thumbnails *t, lb_drawing_box *box, const lb_image *image)
{
    void *bytes = NULL;
    size_t count = 0;
    lb_status status = lb_media_encode(t->session->pool, t->session->diag, LB_NOWHERE, "a.png",
                                       image, &t->write, &bytes, &count);

    if (status == LB_OK && !(box->thumbnail = base64(bytes, count)))
        status = lb_fail(t->session->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    box->thumbnail_width = lb_box_width(lb_image_display(image));
    box->thumbnail_height = lb_box_height(lb_image_display(image));
    lb_free(bytes);
    return status;
}

/* All pictures of the frame that outputs need, made together. */
static lb_status make_thumbnails(const thumbnails *t, int32_t frame)
{
    const lb_graph *graph = t->drawing->graph;
    size_t most = (size_t)graph->node_count + 1;
    lb_want *wants = lb_arena_alloc(t->drawing->arena, most, sizeof *wants);
    lb_value *values = lb_arena_alloc(t->drawing->arena, most, sizeof *values);
    int32_t *boxes = lb_arena_alloc(t->drawing->arena, most, sizeof *boxes);
    lb_box window = lb_format_window(lb_run_format(t->run));
    int32_t count = 0;
    lb_status status;

    if (!wants || !values || !boxes)
        return lb_fail(t->session->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    for (int32_t i = 0; i < t->drawing->layers.box_count; i++) {
        const lb_drawing_box *box = &t->drawing->boxes[i];

        if (box->node < 0 || box->kind != LB_KIND_IMAGE || !box->is_used)
            continue;
        wants[count] = (lb_want){.ref = {.node = box->node, .loc = graph->nodes[box->node].loc},
                                 .window = &window};
        boxes[count++] = i;
    }
    status = lb_run_frame(t->run, frame, wants, count, values, NULL);
    for (int32_t i = 0; i < count && status == LB_OK; i++)
        status = add_thumbnail(t, &t->drawing->boxes[boxes[i]], values[i].image);
    for (int32_t i = 0; i < count; i++)
        lb_value_unref(&values[i]);
    return status;
}

static lb_status add_thumbnails(lb_session *session, const graph_options *options,
                                lb_drawing *drawing)
{
    const lb_format *format = &drawing->graph->format;
    double scale = (double)THUMBNAIL_WIDTH / format->width;
    lb_run_options run = {.diag = session->diag};
    thumbnails t = {.session = session,
                    .drawing = drawing,
                    .write = {.depth = LB_DEPTH_8,
                              .view = LB_VIEW_SRGB,
                              .working = format->working,
                              .rate = format->rate}};
    int32_t frame = options->frames.list ? options->frames.list[0] : format->first;
    lb_status status;

    if (options->frames.count > 1)
        return lb_session_usage(session, "--frame takes one frame");
    if (frame < format->first || frame > format->last)
        return lb_session_usage(session, "the graph's frames are %d to %d", (int)format->first,
                                (int)format->last);
    if (format->height * scale > THUMBNAIL_HEIGHT)
        scale = (double)THUMBNAIL_HEIGHT / format->height;
    run.scale = scale < 1 ? scale : 1;
    lb_session_keep_memory(options->memory);
    if ((status = lb_session_threads(session, options->threads)) != LB_OK)
        return status;
    run.pool = session->pool;
    if ((status = lb_run_new(drawing->graph, &run, &t.run)) == LB_OK)
        status = make_thumbnails(&t, frame);
    lb_run_free(&t.run);
    return status;
}

/* ---- The command ---- */

static lb_status put(lb_session *session, const char *path, lb_text *text)
{
    if (!path || strcmp(path, "-") == 0 || text->failed)
        return lb_session_print(session, text);
    return lb_file_write(session->diag, LB_NOWHERE, path, text->bytes, text->length);
}

static lb_status draw(lb_session *session, const graph_options *options, lb_drawing *drawing)
{
    lb_text dot = {0}, svg = {0};
    lb_status status = LB_OK;

    if (options->dot) {
        lb_drawing_dot(drawing, &dot);
        status = put(session, options->dot, &dot);
    }
    if (status == LB_OK && options->thumbnails)
        status = add_thumbnails(session, options, drawing);
    if (status == LB_OK && (options->svg || !options->dot)) {
        status = lb_drawing_svg(drawing, &svg);
        if (status == LB_LIMIT)
            lb_fail(session->diag, status, LB_NOWHERE, "the graph is too large for a picture");
        else if (status != LB_OK)
            lb_fail(session->diag, status, LB_NOWHERE, "no memory");
        else
            status = put(session, options->svg, &svg);
    }
    lb_text_clear(&dot);
    lb_text_clear(&svg);
    return status;
}

static lb_status run_graph(lb_session *session, const void *words)
{
    const graph_options *options = words;
    lb_graph *graph = NULL;
    lb_drawing drawing = {0};
    lb_status status;

    if (options->thumbnails && options->dot && !options->svg)
        return lb_session_usage(session, "--thumbnails are for --svg");
    if (options->frames.list && !options->thumbnails)
        return lb_session_usage(session, "--frame is for --thumbnails");
    if ((status = lb_session_operators(session, &options->objects)) != LB_OK ||
        (status = lb_session_graph(session, options->graph, &options->settings, &graph)) != LB_OK)
        return status;
    if ((status = lb_drawing_make(graph, options->parts, &drawing)) != LB_OK)
        lb_fail(session->diag, status, LB_NOWHERE, "no memory");
    else
        status = draw(session, options, &drawing);
    lb_drawing_clear(&drawing);
    return status;
}

static const lb_operand operands[] = {
    LB_OPERAND(graph_options, graph, "GRAPH", .min = 1, .max = 1, .offer = LB_OFFER_GRAPH,
               .doc = "The graph file."),
    {0},
};

static const lb_option options[] = {
    LB_OPTION(graph_options, svg, "--svg", LB_OPTION_TEXT, .argument = "FILE", .expects = "a file",
              .offer = LB_OFFER_FILE,
              .doc = "Writes the picture as SVG; to standard output when nothing is given."),
    LB_OPTION(graph_options, dot, "--dot", LB_OPTION_TEXT, .argument = "FILE", .expects = "a file",
              .offer = LB_OFFER_FILE,
              .doc = "Writes the graph in the DOT language, - for standard output."),
    LB_OPTION(graph_options, parts, "--parts", LB_OPTION_FLAG,
              .doc = "Shows what is inside of parts; else each use of one is a box."),
    LB_OPTION(graph_options, thumbnails, "--thumbnails", LB_OPTION_FLAG,
              .doc = "Shows in each box what its node makes."),
    LB_OPTION(graph_options, frames, "--frame", LB_OPTION_FRAMES, .argument = "N",
              .expects = "a frame", .doc = "Of that frame; the first when not given."),
    LB_OPTION_SET(graph_options),
    LB_OPTION_OPERATORS(graph_options),
    LB_OPTION_THREADS(graph_options),
    LB_OPTION_MEMORY(graph_options),
    {0},
};

static const lb_example examples[] = {
    {"lampblack graph kiln.yaml --svg kiln.svg", NULL},
    {"lampblack graph kiln.yaml --svg kiln.svg --thumbnails --frame 3",
     "With what each node makes of frame 3:"},
    {"lampblack graph kiln.yaml --dot -", "For another program that draws graphs:"},
    {0},
};

const lb_command lb_command_graph = {
    .name = "graph",
    .summary = "a picture of a graph",
    .doc =
        "Nodes are boxes with their name and their operator, and stand below what they take; "
        "outputs have a double line, and what no output needs a broken one. Lines tell by colour "
        "and stroke what goes along them: pictures, scenes, materials or textures. The picture is "
        "light or dark as the system of its reader.",
    .no = "the graph has errors",
    .operands = operands,
    .options = options,
    .examples = examples,
    .options_size = sizeof(graph_options),
    .run = run_graph,
};
