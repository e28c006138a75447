/* lang/yaml.c: libyaml's events made a tree. */
#include "lang/yaml.h"

#include <string.h>

#include "engine/base/text.h"
#include "lang/yaml_reader.h"

#define MAX_TAG_DIRECTIVES 16 /* libyaml compares each with all before it */

/* Where the text ends, for what is missing there: behind the last line that holds something. */
static lb_loc loc_of_end(const lb_yaml_reader *r, size_t point)
{
    size_t byte = lb_place_of(&r->places, point).byte;

    for (; byte > 0 && strchr(" \t\r\n", r->places.text[byte - 1]); byte--)
        point--;
    return lb_yaml_loc(r, point, point);
}

static void begin_level(lb_yaml_reader *r, const yaml_event_t *event)
{
    static const char *const list_tags[] = {"seq", NULL}, *const mapping_tags[] = {"map", NULL};
    bool is_list = event->type == YAML_SEQUENCE_START_EVENT;
    const char *anchor = (const char *)(is_list ? event->data.sequence_start.anchor
                                                : event->data.mapping_start.anchor);
    const char *tag =
        (const char *)(is_list ? event->data.sequence_start.tag : event->data.mapping_start.tag);
    lb_loc loc = lb_yaml_loc(r, event->start_mark.index, event->end_mark.index);
    lb_yaml_node *node;

    if (r->depth == LB_YAML_MAX_DEPTH) {
        lb_yaml_give_up(r, lb_fail(r->diag, LB_LIMIT, loc, "nested more than %d levels deep",
                                   LB_YAML_MAX_DEPTH));
        return;
    }
    if (!(node = lb_yaml_new(r, is_list ? LB_YAML_LIST : LB_YAML_MAPPING, loc)))
        return;
    node->is_open = true;
    lb_yaml_check_tag(r, tag, is_list ? list_tags : mapping_tags, loc);
    lb_yaml_visit(r, node, loc);
    lb_yaml_add_anchor(r, anchor, node);
    lb_yaml_attach(r, node);
    r->levels[r->depth++] = (lb_yaml_level){
        .node = node,
        .start = event->start_mark.index,
        .is_flow = is_list ? event->data.sequence_start.style == YAML_FLOW_SEQUENCE_STYLE
                           : event->data.mapping_start.style == YAML_FLOW_MAPPING_STYLE};
}

static void end_list(lb_yaml_reader *r, lb_yaml_level *top)
{
    lb_yaml_node *node = top->node;

    if (top->count == 0)
        return;
    if (!(node->items = lb_arena_alloc(r->arena, top->count, sizeof(lb_yaml_node *)))) {
        lb_yaml_no_memory(r);
        return;
    }
    memcpy(node->items, top->children, top->count * sizeof(lb_yaml_node *));
    node->count = (int32_t)top->count;
}

static void end_level(lb_yaml_reader *r, const yaml_event_t *event)
{
    lb_yaml_level *top = &r->levels[--r->depth];
    lb_yaml_node *node = top->node;

    for (size_t i = 0; i < top->count; i++) {
        const lb_yaml_node *child = top->children[i];

        node->size += child->size; /* bounded: lb_yaml_visit() counted them all */
        node->bytes += child->bytes;
        if (child->height + 1 > node->height)
            node->height = child->height + 1;
    }
    if (node->kind == LB_YAML_MAPPING)
        lb_yaml_end_mapping(r, top);
    else
        end_list(r, top);
    if (top->is_flow)
        node->loc = lb_yaml_loc(r, top->start, event->end_mark.index);
    else
        node->loc.length = 1;
    node->is_open = false;
    lb_free(top->children);
    top->children = NULL;
}

/* libyaml's complaint in our form. */
static void report_syntax(lb_yaml_reader *r, const yaml_parser_t *parser)
{
    const char *problem = parser->problem ? parser->problem : "it cannot be read";
    size_t at = parser->problem_mark.index;
    lb_place place = lb_place_of(&r->places, at);
    bool at_end = place.byte >= r->places.bytes;
    lb_loc loc = at_end ? loc_of_end(r, at) : lb_yaml_loc(r, at, at + 1);

    if (parser->error == YAML_MEMORY_ERROR) {
        lb_yaml_no_memory(r);
        return;
    }
    if (parser->error == YAML_READER_ERROR) {
        /* Marked at the start of the text; the offset counts bytes. */
        size_t byte =
            parser->problem_offset < r->places.bytes ? parser->problem_offset : r->places.bytes;

        at = lb_place_points(r->places.text, byte);
        lb_yaml_give_up(r, lb_fail(r->diag, LB_INVALID, lb_yaml_loc(r, at, at + 1),
                                   "character U+%04X is not allowed in YAML",
                                   (unsigned)parser->problem_value));
        return;
    }
    if (!at_end && r->places.text[place.byte] == '\t' && strstr(problem, "cannot start any token"))
        problem = "a tab cannot indent; use spaces";
    lb_yaml_give_up(r, lb_fail(r->diag, LB_INVALID, loc, "not YAML: %s%s", problem,
                               at_end ? " at the end of the file" : ""));
    if (parser->context && parser->context_mark.index < at)
        lb_note(r->diag, lb_yaml_loc(r, parser->context_mark.index, parser->context_mark.index + 1),
                "%s that begins here", parser->context);
}

static bool handle_event(lb_yaml_reader *r, const yaml_event_t *event)
{
    switch (event->type) {
    case YAML_ALIAS_EVENT:
        lb_yaml_read_alias(r, event);
        break;
    case YAML_SCALAR_EVENT:
        lb_yaml_read_scalar(r, event);
        break;
    case YAML_SEQUENCE_START_EVENT:
    case YAML_MAPPING_START_EVENT:
        begin_level(r, event);
        break;
    case YAML_SEQUENCE_END_EVENT:
    case YAML_MAPPING_END_EVENT:
        end_level(r, event);
        break;
    case YAML_DOCUMENT_START_EVENT:
        if (r->root)
            lb_yaml_give_up(r,
                            lb_fail(r->diag, LB_INVALID,
                                    lb_yaml_loc(r, event->start_mark.index, event->end_mark.index),
                                    "a second document begins here; a graph is one document"));
        break;
    default:
        break;
    }
    return event->type != YAML_STREAM_END_EVENT && !r->is_over;
}

/* The bytes libyaml must not see: bad UTF-8 (it loses the place) and floods of directives. */
static bool check_bytes(lb_yaml_reader *r)
{
    const char *text = r->places.text;
    size_t bytes = r->places.bytes;
    int32_t directives = 0;

    if (!lb_utf8_is_valid(text, bytes)) {
        size_t at = 0, before = 0;

        while (at < bytes) {
            before = at;
            lb_utf8_next(text, bytes, &at);
            if (!lb_utf8_is_valid(text + before, at - before))
                break;
        }
        before = lb_place_points(text, before);
        lb_yaml_give_up(r, lb_fail(r->diag, LB_INVALID, lb_yaml_loc(r, before, before + 1),
                                   "this is not UTF-8 text"));
        return false;
    }
    for (size_t at = 0; at < bytes; at++) {
        if ((at == 0 || text[at - 1] == '\n' || text[at - 1] == '\r') && bytes - at >= 4 &&
            memcmp(text + at, "%TAG", 4) == 0 && ++directives > MAX_TAG_DIRECTIVES) {
            size_t point = lb_place_points(text, at);

            lb_yaml_give_up(r, lb_fail(r->diag, LB_LIMIT, lb_yaml_loc(r, point, point + 4),
                                       "more than %d tag directives", MAX_TAG_DIRECTIVES));
            return false;
        }
    }
    return true;
}

static void read_events(lb_yaml_reader *r)
{
    yaml_parser_t parser;
    bool more = true;

    if (!yaml_parser_initialize(&parser)) {
        lb_yaml_no_memory(r);
        return;
    }
    yaml_parser_set_encoding(&parser, YAML_UTF8_ENCODING);
    yaml_parser_set_input_string(&parser, (const unsigned char *)r->places.text, r->places.bytes);
    while (more) {
        yaml_event_t event;

        if (!yaml_parser_parse(&parser, &event)) {
            report_syntax(r, &parser);
            break;
        }
        more = handle_event(r, &event);
        yaml_event_delete(&event);
    }
    yaml_parser_delete(&parser);
}

lb_status lb_yaml_read(lb_diag *diag, const char *file, const char *text, size_t bytes,
                       lb_arena *arena, lb_yaml_node **out)
{
    lb_yaml_reader *r = lb_alloc(1, sizeof *r);
    lb_status status;

    *out = NULL;
    if (!r)
        return lb_fail(diag, LB_MEMORY, (lb_loc){.file = file}, "no memory");
    *r = (lb_yaml_reader){.diag = diag, .arena = arena, .file = file};
    if (!lb_place_index_make(text, bytes, &r->places))
        lb_yaml_no_memory(r);
    else if (check_bytes(r))
        read_events(r);
    if (!r->is_over && !r->root)
        lb_yaml_give_up(r, lb_fail(diag, LB_INVALID, (lb_loc){.file = file},
                                   "the file is empty; a graph begins with 'lampblack: 1'"));
    while (r->depth > 0)
        lb_free(r->levels[--r->depth].children);
    if (!r->is_over)
        *out = r->root;
    status = r->status;
    lb_free(r->anchored);
    lb_name_map_clear(&r->anchors);
    lb_place_index_clear(&r->places);
    lb_free(r);
    return status;
}
