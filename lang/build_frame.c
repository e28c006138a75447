/* lang/build_frame.c: `frame` and `color`. */
#include <math.h>
#include <string.h>

#include "lang/build.h"

#define MAX_SIDE 65536
#define MAX_FRAME 1000000

/* Exactly two whole numbers from `min` to `max`. */
static bool read_pair(lb_build *build, const lb_yaml_node *node, const char *name, double min,
                      double max, int32_t out[2])
{
    if (node->kind != LB_YAML_LIST || node->count != 2) {
        if (lb_build_expect(build, node, LB_YAML_LIST, name))
            lb_build_fail(build, LB_INVALID, node->loc, "'%s' has %d values; it takes two", name,
                          (int)node->count);
        return false;
    }
    for (int32_t i = 0; i < 2; i++) {
        const lb_yaml_node *item = node->items[i];
        char buffer[LB_FOUND];

        if (item->kind == LB_YAML_BROKEN)
            return lb_build_ok(build, LB_INVALID);
        if (item->kind != LB_YAML_SCALAR || item->type != LB_SCALAR_NUMBER ||
            item->number != floor(item->number)) {
            lb_build_fail(build, LB_INVALID, item->loc, "'%s' is %s; it takes whole numbers", name,
                          lb_build_found(item, buffer));
            return false;
        }
        if (!(item->number >= min && item->number <= max)) {
            lb_build_fail(build, LB_INVALID, item->loc, "'%s' is %s; it goes from %.0f to %.0f",
                          name, lb_build_found(item, buffer), min, max);
            return false;
        }
        out[i] = (int32_t)item->number;
    }
    return true;
}

static void read_rate(lb_build *build, const lb_yaml_node *node)
{
    char buffer[LB_FOUND];

    if (!lb_build_expect(build, node, LB_YAML_SCALAR, "rate"))
        return;
    if (!lb_rate_parse(node->text, &build->graph->format.rate))
        lb_build_fail(build, LB_INVALID, node->loc,
                      "'rate' is %s; it takes frames per second, as 25, 23.976 or \"30000/1001\"",
                      lb_build_found(node, buffer));
}

static void read_pixel_aspect(lb_build *build, const lb_yaml_node *node)
{
    char buffer[LB_FOUND];

    if (!lb_build_expect(build, node, LB_YAML_SCALAR, "pixel-aspect"))
        return;
    if (node->type != LB_SCALAR_NUMBER || !(node->number >= 0.1 && node->number <= 10))
        lb_build_fail(build, LB_INVALID, node->loc, "'pixel-aspect' is %s; it goes from 0.1 to 10",
                      lb_build_found(node, buffer));
    else
        build->graph->format.pixel_aspect = node->number;
}

static const char *const frame_keys[] = {"size", "rate", "range", "pixel-aspect", NULL};

static void check_frame(lb_build *build, const lb_yaml_node *frame)
{
    lb_build_check_keys(build, frame, frame_keys, "frame");
    for (int i = 0; i < 3; i++)
        if (!lb_yaml_find(frame, frame_keys[i]))
            lb_build_fail(build, LB_INVALID, frame->loc, "'frame' needs '%s'", frame_keys[i]);
}

/* What is given of it: the version's `frame` after the graph's. */
static void read_frame(lb_build *build, const lb_yaml_node *frame)
{
    lb_format *format = &build->graph->format;
    const lb_yaml_node *node;
    int32_t pair[2] = {0};

    if ((node = lb_yaml_find(frame, "size")) && read_pair(build, node, "size", 1, MAX_SIDE, pair)) {
        format->width = pair[0];
        format->height = pair[1];
    }
    if ((node = lb_yaml_find(frame, "rate")))
        read_rate(build, node);
    if ((node = lb_yaml_find(frame, "range")) &&
        read_pair(build, node, "range", -MAX_FRAME, MAX_FRAME, pair)) {
        if (pair[0] > pair[1])
            lb_build_fail(build, LB_INVALID, node->loc, "'range' ends before it begins");
        else
            format->first = pair[0], format->last = pair[1];
    }
    if ((node = lb_yaml_find(frame, "pixel-aspect")))
        read_pixel_aspect(build, node);
}

static void read_color(lb_build *build, const lb_yaml_node *color)
{
    static const char *const keys[] = {"working", NULL};
    static const lb_space spaces[] = {LB_SPACE_LINEAR_REC709, LB_SPACE_LINEAR_REC2020,
                                      LB_SPACE_ACESCG};
    const char *names[3];
    const lb_yaml_node *node = lb_yaml_find(color, "working");
    char found[LB_FOUND], hint[LB_HINT];

    lb_build_check_keys(build, color, keys, "color");
    if (!node || !lb_build_expect(build, node, LB_YAML_SCALAR, "working"))
        return;
    for (int i = 0; i < 3; i++) {
        names[i] = lb_space_names[spaces[i]];
        if (strcmp(node->text, names[i]) == 0) {
            build->graph->format.working = spaces[i];
            return;
        }
    }
    lb_build_fail(build, LB_INVALID, node->loc, "'working' is %s; it is one of %s, %s, %s%s",
                  lb_build_found(node, found), names[0], names[1], names[2],
                  lb_build_hint(build, node->text, names, 3, hint));
}

/* Numbers in an included file mean the same only if it works in the same space. */
static void check_included(lb_build *build)
{
    const char *name = lb_space_names[build->graph->format.working];

    for (lb_document *d = build->documents->next; d; d = d->next) {
        const lb_yaml_node *color = d->root ? lb_yaml_find(d->root, "color") : NULL;
        const lb_yaml_node *working =
            color && color->kind == LB_YAML_MAPPING ? lb_yaml_find(color, "working") : NULL;

        if (!working || working->kind != LB_YAML_SCALAR || strcmp(working->text, name) == 0)
            continue;
        build->body = &d->body;
        lb_build_fail(build, LB_INVALID, working->loc,
                      "'working' is '%.60s'; the graph that includes the file works in %s",
                      working->text, name);
        build->body = NULL;
    }
}

void lb_build_frame(lb_build *build, const lb_yaml_node *root)
{
    const lb_yaml_node *frame = lb_yaml_find(root, "frame"), *color = lb_yaml_find(root, "color");
    const lb_yaml_node *changed = build->version ? lb_yaml_find(build->version, "frame") : NULL;
    bool is_library = !lb_yaml_find(root, "nodes") && !lb_yaml_find(root, "outputs");

    if (!frame && !is_library) {
        lb_build_fail(build, LB_INVALID, (lb_loc){.file = build->file},
                      "no 'frame': a graph says frame: {size: [1920, 1080], rate: 25, "
                      "range: [1, 100]}");
    } else if (frame && lb_build_expect(build, frame, LB_YAML_MAPPING, "frame")) {
        check_frame(build, frame);
        read_frame(build, frame);
    }
    if (changed && lb_build_expect(build, changed, LB_YAML_MAPPING, "frame")) {
        lb_build_check_keys(build, changed, frame_keys, "frame");
        read_frame(build, changed);
    }
    if (color && lb_build_expect(build, color, LB_YAML_MAPPING, "color"))
        read_color(build, color);
    build->store.working = build->graph->format.working;
    check_included(build);
}
