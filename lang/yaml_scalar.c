/* lang/yaml_scalar.c: scalars, and where their characters stand in the file. */
#include <string.h>

#include "lang/yaml_reader.h"

/* Finds a scalar's characters in the file, if they stand there as they are. */
static void find_exact(const lb_yaml_reader *r, const yaml_event_t *event, lb_yaml_node *node)
{
    bool is_quoted = event->data.scalar.style == YAML_SINGLE_QUOTED_SCALAR_STYLE ||
                     event->data.scalar.style == YAML_DOUBLE_QUOTED_SCALAR_STYLE;
    size_t points = lb_place_points(node->text, node->length);
    size_t end = event->end_mark.index;
    lb_place place;

    if ((!is_quoted && !node->is_plain) || end < points + 2 * is_quoted ||
        memchr(node->text, '\n', node->length))
        return;
    place = lb_place_of(&r->places, end - points - is_quoted);
    if (place.byte + node->length > r->places.bytes ||
        memcmp(r->places.text + place.byte, node->text, node->length) != 0)
        return;
    node->is_exact = true;
    node->inner = (lb_loc){r->file, place.line, place.column, (int32_t)points};
    node->loc = node->inner; /* behind an anchor or a tag */
    node->loc.column -= is_quoted;
    node->loc.length += 2 * is_quoted;
}

static void find_inner(const lb_yaml_reader *r, const yaml_event_t *event, lb_yaml_node *node)
{
    find_exact(r, event, node);
    if (!node->is_exact && node->length > 0 && node->length <= LB_YAML_MAX_SPOTS)
        node->spots = lb_spots_find(r->places.text, r->places.bytes,
                                    lb_place_of(&r->places, event->start_mark.index), node->text,
                                    node->length, r->arena, &node->spot_count);
}

void lb_yaml_read_scalar(lb_yaml_reader *r, const yaml_event_t *event)
{
    static const char *const tags[] = {"str", "int", "float", "bool", "null", "merge", NULL};
    const char *tag = (const char *)event->data.scalar.tag;
    lb_loc loc = lb_yaml_loc(r, event->start_mark.index, event->end_mark.index);
    lb_yaml_node *node = lb_yaml_new(r, LB_YAML_SCALAR, loc);

    if (!node)
        return;
    node->is_plain = event->data.scalar.style == YAML_PLAIN_SCALAR_STYLE;
    node->length = strlen((const char *)event->data.scalar.value);
    node->bytes = (int64_t)node->length;
    node->text = lb_arena_strndup(r->arena, (const char *)event->data.scalar.value, node->length);
    if (!node->text) {
        lb_yaml_no_memory(r);
        return;
    }
    if (node->length != event->data.scalar.length) {
        lb_yaml_note(r, lb_fail(r->diag, LB_INVALID, node->loc, "text holds a NUL character"));
        node->kind = LB_YAML_BROKEN;
    }
    if (!node->is_plain && event->data.scalar.style != YAML_SINGLE_QUOTED_SCALAR_STYLE &&
        event->data.scalar.style != YAML_DOUBLE_QUOTED_SCALAR_STYLE)
        node->loc.length = 1; /* the | or > of a block */
    find_inner(r, event, node);
    lb_yaml_check_tag(r, tag, tags, loc);
    node->type = LB_SCALAR_TEXT;
    if (tag ? strcmp(tag, "!") != 0 && strcmp(tag, YAML_STR_TAG) != 0 : node->is_plain)
        node->type = lb_scalar_resolve(node->text, node->length, &node->number);
    lb_yaml_visit(r, node, node->loc);
    lb_yaml_add_anchor(r, (const char *)event->data.scalar.anchor, node);
    lb_yaml_attach(r, node);
}

/* The end of what stands on the first line of [begin, end). */
static lb_loc place_spots(const lb_yaml_node *scalar, size_t begin, size_t end)
{
    lb_loc loc = scalar->loc;
    int32_t line = 0, column = 0;

    lb_spots_place(scalar->spots, scalar->spot_count, scalar->text, begin, begin == scalar->length,
                   &loc.line, &loc.column);
    loc.length = 0;
    for (; end > begin; end--) {
        lb_spots_place(scalar->spots, scalar->spot_count, scalar->text, end, true, &line, &column);
        if (line == loc.line)
            break;
    }
    if (line == loc.line && column > loc.column)
        loc.length = column - loc.column;
    return loc;
}

lb_loc lb_yaml_place(const lb_yaml_node *scalar, size_t begin, size_t end)
{
    lb_loc loc = scalar->inner;

    if (scalar->spot_count > 0)
        return place_spots(scalar, begin, end);
    if (!scalar->is_exact)
        return scalar->loc;
    loc.column += (int32_t)lb_place_points(scalar->text, begin);
    loc.length = (int32_t)lb_place_points(scalar->text + begin, end - begin);
    return loc;
}
