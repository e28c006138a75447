/* lang/yaml.c: libyaml's events made a tree. */
#include "lang/yaml.h"

#include <string.h>
#include <yaml.h>

#include "engine/base/text.h"
#include "lang/name_map.h"
#include "lang/place.h"

#define MAX_TAG_DIRECTIVES 16 /* libyaml compares each with all before it */

/* A list or mapping that is being read. */
typedef struct level {
    lb_yaml_node *node;
    lb_yaml_node **children; /* of a mapping: key, value, key, ... */
    size_t count, capacity;
    size_t start; /* code point */
    bool is_flow;
} level;

typedef struct reader {
    lb_diag *diag;
    lb_arena *arena;
    const char *file;
    lb_place_index places;
    lb_status status; /* of the first fault */
    bool is_over;     /* no tree can come of it */
    int64_t visited;
    lb_name_map anchors;
    lb_yaml_node **anchored;
    size_t anchored_count, anchored_capacity;
    level levels[LB_YAML_MAX_DEPTH];
    int32_t depth;
    lb_yaml_node *root;
} reader;

static void note_status(reader *r, lb_status status)
{
    if (r->status == LB_OK)
        r->status = status;
}

static void give_up(reader *r, lb_status status)
{
    note_status(r, status);
    r->is_over = true;
}

static void out_of_memory(reader *r)
{
    give_up(r, lb_fail(r->diag, LB_MEMORY, (lb_loc){.file = r->file}, "no memory"));
}

static lb_loc loc_of(const reader *r, size_t start, size_t end)
{
    lb_place from = lb_place_of(&r->places, start), to = lb_place_of(&r->places, end);
    lb_loc loc = {r->file, from.line, from.column, 0};

    if (from.line == to.line) {
        loc.length = to.column - from.column;
    } else {
        const char *line = r->places.text + from.byte;
        const char *stop = memchr(line, '\n', r->places.bytes - from.byte);
        size_t bytes = stop ? (size_t)(stop - line) : r->places.bytes - from.byte;

        while (bytes > 0 && (line[bytes - 1] == ' ' || line[bytes - 1] == '\r'))
            bytes--;
        loc.length = (int32_t)lb_place_points(line, bytes);
    }
    return loc;
}

/* Where the text ends, for what is missing there: behind the last line that holds something. */
static lb_loc loc_of_end(const reader *r, size_t point)
{
    while (point > 0) {
        lb_place place = lb_place_of(&r->places, point - 1);

        if (!strchr(" \t\r\n", r->places.text[place.byte]))
            break;
        point--;
    }
    return loc_of(r, point, point);
}

static lb_yaml_node *new_node(reader *r, lb_yaml_kind kind, lb_loc loc)
{
    lb_yaml_node *node = lb_arena_alloc(r->arena, 1, sizeof *node);

    if (!node) {
        out_of_memory(r);
        return NULL;
    }
    *node = (lb_yaml_node){.kind = kind, .loc = loc, .inner = loc, .size = 1, .height = 1};
    return node;
}

static void visit(reader *r, int32_t size, lb_loc loc)
{
    r->visited += size;
    if (r->visited > LB_YAML_MAX_NODES && !r->is_over)
        give_up(r, lb_fail(r->diag, LB_LIMIT, loc, "more than %d values, aliases followed",
                           LB_YAML_MAX_NODES));
}

/* Hands a finished or just begun node to the list or mapping around it. */
static void attach(reader *r, lb_yaml_node *node)
{
    level *parent;

    if (r->depth == 0) {
        r->root = node;
        return;
    }
    parent = &r->levels[r->depth - 1];
    if (!lb_grow((void **)&parent->children, &parent->capacity, parent->count,
                 sizeof(lb_yaml_node *))) {
        out_of_memory(r);
        return;
    }
    parent->children[parent->count++] = node;
}

static void add_anchor(reader *r, const char *anchor, lb_yaml_node *node)
{
    const char *name;

    if (!anchor)
        return;
    name = lb_arena_strdup(r->arena, anchor);
    if (!name ||
        !lb_grow((void **)&r->anchored, &r->anchored_capacity, r->anchored_count,
                 sizeof(lb_yaml_node *)) ||
        !lb_name_map_set(&r->anchors, name, strlen(name), (int32_t)r->anchored_count)) {
        out_of_memory(r);
        return;
    }
    r->anchored[r->anchored_count++] = node;
}

static void read_alias(reader *r, const yaml_event_t *event)
{
    const char *name = (const char *)event->data.alias.anchor;
    lb_loc loc = loc_of(r, event->start_mark.index, event->end_mark.index);
    int32_t at = lb_name_map_find(&r->anchors, name, strlen(name));
    lb_yaml_node *node = at >= 0 ? r->anchored[at] : NULL;

    if (node && node->is_open) {
        note_status(
            r, lb_fail(r->diag, LB_INVALID, loc, "alias '*%.60s' stands inside its anchor", name));
        node = NULL;
    } else if (!node) {
        note_status(
            r, lb_fail(r->diag, LB_INVALID, loc, "no anchor '&%.60s' before this alias", name));
    } else if (r->depth + node->height > LB_YAML_MAX_DEPTH) {
        give_up(r, lb_fail(r->diag, LB_LIMIT, loc, "nested more than %d levels deep",
                           LB_YAML_MAX_DEPTH));
        return;
    }
    if (!node && !(node = new_node(r, LB_YAML_BROKEN, loc)))
        return;
    visit(r, node->size, loc);
    attach(r, node);
}

/* Tags of the core schema say what a value is anyway; others have no meaning here. */
static void check_tag(reader *r, const char *tag, const char *const *allowed, lb_loc loc)
{
    static const char prefix[] = "tag:yaml.org,2002:";

    if (!tag || strcmp(tag, "!") == 0)
        return;
    if (strncmp(tag, prefix, sizeof prefix - 1) == 0)
        for (; *allowed; allowed++)
            if (strcmp(tag + sizeof prefix - 1, *allowed) == 0)
                return;
    note_status(r, lb_fail(r->diag, LB_INVALID, loc, "the tag '%.60s' has no meaning here", tag));
}

/* Finds a scalar's characters in the file, if they stand there as they are. */
static void find_exact(const reader *r, const yaml_event_t *event, lb_yaml_node *node)
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

static void find_inner(const reader *r, const yaml_event_t *event, lb_yaml_node *node)
{
    find_exact(r, event, node);
    if (!node->is_exact && node->length > 0 && node->length <= LB_YAML_MAX_SPOTS)
        node->spots = lb_spots_find(r->places.text, r->places.bytes,
                                    lb_place_of(&r->places, event->start_mark.index), node->text,
                                    node->length, r->arena, &node->spot_count);
}

static void read_scalar(reader *r, const yaml_event_t *event)
{
    static const char *const tags[] = {"str", "int", "float", "bool", "null", "merge", NULL};
    const char *tag = (const char *)event->data.scalar.tag;
    lb_loc loc = loc_of(r, event->start_mark.index, event->end_mark.index);
    lb_yaml_node *node = new_node(r, LB_YAML_SCALAR, loc);

    if (!node)
        return;
    node->is_plain = event->data.scalar.style == YAML_PLAIN_SCALAR_STYLE;
    node->length = strlen((const char *)event->data.scalar.value);
    node->text = lb_arena_strndup(r->arena, (const char *)event->data.scalar.value, node->length);
    if (!node->text) {
        out_of_memory(r);
        return;
    }
    if (node->length != event->data.scalar.length) {
        note_status(r, lb_fail(r->diag, LB_INVALID, node->loc, "text holds a NUL character"));
        node->kind = LB_YAML_BROKEN;
    }
    if (!node->is_plain && event->data.scalar.style != YAML_SINGLE_QUOTED_SCALAR_STYLE &&
        event->data.scalar.style != YAML_DOUBLE_QUOTED_SCALAR_STYLE)
        node->loc.length = 1; /* the | or > of a block */
    find_inner(r, event, node);
    check_tag(r, tag, tags, loc);
    node->type = LB_SCALAR_TEXT;
    if (tag ? strcmp(tag, "!") != 0 && strcmp(tag, YAML_STR_TAG) != 0 : node->is_plain)
        node->type = lb_scalar_resolve(node->text, node->length, &node->number);
    visit(r, 1, node->loc);
    add_anchor(r, (const char *)event->data.scalar.anchor, node);
    attach(r, node);
}

static void begin_level(reader *r, const yaml_event_t *event)
{
    static const char *const list_tags[] = {"seq", NULL}, *const mapping_tags[] = {"map", NULL};
    bool is_list = event->type == YAML_SEQUENCE_START_EVENT;
    const char *anchor = (const char *)(is_list ? event->data.sequence_start.anchor
                                                : event->data.mapping_start.anchor);
    const char *tag =
        (const char *)(is_list ? event->data.sequence_start.tag : event->data.mapping_start.tag);
    lb_loc loc = loc_of(r, event->start_mark.index, event->end_mark.index);
    lb_yaml_node *node;

    if (r->depth == LB_YAML_MAX_DEPTH) {
        give_up(r, lb_fail(r->diag, LB_LIMIT, loc, "nested more than %d levels deep",
                           LB_YAML_MAX_DEPTH));
        return;
    }
    if (!(node = new_node(r, is_list ? LB_YAML_LIST : LB_YAML_MAPPING, loc)))
        return;
    node->is_open = true;
    check_tag(r, tag, is_list ? list_tags : mapping_tags, loc);
    visit(r, 1, loc);
    add_anchor(r, anchor, node);
    attach(r, node);
    r->levels[r->depth++] =
        (level){.node = node,
                .start = event->start_mark.index,
                .is_flow = is_list ? event->data.sequence_start.style == YAML_FLOW_SEQUENCE_STYLE
                                   : event->data.mapping_start.style == YAML_FLOW_MAPPING_STYLE};
}

static bool is_merge_key(const lb_yaml_node *key)
{
    return key->kind == LB_YAML_SCALAR && key->is_plain && strcmp(key->text, "<<") == 0;
}

/* Entries of `from` that `map` does not have yet go behind the mapping's own. */
static void merge_mapping(reader *r, lb_yaml_node *node, lb_name_map *names,
                          const lb_yaml_node *from, size_t *capacity)
{
    if (from->kind == LB_YAML_BROKEN)
        return;
    if (from->kind != LB_YAML_MAPPING) {
        note_status(r, lb_fail(r->diag, LB_INVALID, from->loc,
                               "'<<' takes a mapping or a list of mappings"));
        return;
    }
    for (int32_t i = 0; i < from->count && !r->is_over; i++) {
        const lb_yaml_entry *entry = &from->entries[i];
        int32_t existing = -1;

        if (!lb_name_map_add(names, entry->key->text, entry->key->length, node->count, &existing) ||
            !lb_grow((void **)&node->entries, capacity, (size_t)node->count,
                     sizeof *node->entries)) {
            out_of_memory(r);
            return;
        }
        if (existing < 0)
            node->entries[node->count++] = (lb_yaml_entry){entry->key, entry->value, true};
    }
}

static void add_entry(reader *r, lb_yaml_node *node, lb_name_map *names, lb_yaml_node *key,
                      lb_yaml_node *value)
{
    int32_t existing = -1;

    if (key->kind == LB_YAML_BROKEN)
        return;
    if (key->kind != LB_YAML_SCALAR) {
        note_status(r, lb_fail(r->diag, LB_INVALID, key->loc, "a key is one word, not a %s",
                               key->kind == LB_YAML_LIST ? "list" : "mapping"));
        return;
    }
    if (!lb_name_map_add(names, key->text, key->length, node->count, &existing)) {
        out_of_memory(r);
        return;
    }
    if (value->kind == LB_YAML_SCALAR && value->is_plain && value->length == 0)
        value->loc = value->inner = key->loc; /* nothing has no place of its own */
    if (existing < 0) {
        node->entries[node->count++] = (lb_yaml_entry){key, value, false};
        return;
    }
    note_status(r, lb_fail(r->diag, LB_INVALID, key->loc, "'%.60s' is given twice", key->text));
    lb_note(r->diag, node->entries[existing].key->loc, "first here");
}

/* Own entries first, then what merge keys bring (yaml.org/type/merge.html: own keys win, then
 * earlier mappings of a list). */
static void end_mapping(reader *r, level *top)
{
    lb_yaml_node *node = top->node;
    lb_name_map names = {0};
    size_t capacity = top->count / 2;
    lb_yaml_entry *kept = NULL;

    if (capacity > 0 && !(node->entries = lb_alloc(capacity, sizeof *node->entries)))
        out_of_memory(r);
    for (size_t i = 0; i + 1 < top->count && !r->is_over; i += 2)
        if (!is_merge_key(top->children[i]))
            add_entry(r, node, &names, top->children[i], top->children[i + 1]);
    for (size_t i = 0; i + 1 < top->count && !r->is_over; i += 2) {
        const lb_yaml_node *from = top->children[i + 1];

        if (!is_merge_key(top->children[i]))
            continue;
        if (from->kind != LB_YAML_LIST)
            merge_mapping(r, node, &names, from, &capacity);
        for (int32_t k = 0; from->kind == LB_YAML_LIST && k < from->count; k++)
            merge_mapping(r, node, &names, from->items[k], &capacity);
    }
    if (node->count > 0 && !r->is_over) {
        kept = lb_arena_alloc(r->arena, (size_t)node->count, sizeof *kept);
        if (kept)
            memcpy(kept, node->entries, (size_t)node->count * sizeof *kept);
        else
            out_of_memory(r);
    }
    lb_free(node->entries);
    node->entries = kept;
    lb_name_map_clear(&names);
}

static void end_list(reader *r, level *top)
{
    lb_yaml_node *node = top->node;

    if (top->count == 0)
        return;
    if (!(node->items = lb_arena_alloc(r->arena, top->count, sizeof(lb_yaml_node *)))) {
        out_of_memory(r);
        return;
    }
    memcpy(node->items, top->children, top->count * sizeof(lb_yaml_node *));
    node->count = (int32_t)top->count;
}

static void end_level(reader *r, const yaml_event_t *event)
{
    level *top = &r->levels[--r->depth];
    lb_yaml_node *node = top->node;

    for (size_t i = 0; i < top->count; i++) {
        const lb_yaml_node *child = top->children[i];

        node->size += child->size; /* bounded: visit() counted them all */
        if (child->height + 1 > node->height)
            node->height = child->height + 1;
    }
    if (node->kind == LB_YAML_MAPPING)
        end_mapping(r, top);
    else
        end_list(r, top);
    if (top->is_flow)
        node->loc = loc_of(r, top->start, event->end_mark.index);
    else
        node->loc.length = 1;
    node->is_open = false;
    lb_free(top->children);
    top->children = NULL;
}

/* libyaml's complaint in our form. */
static void report_syntax(reader *r, const yaml_parser_t *parser)
{
    const char *problem = parser->problem ? parser->problem : "it cannot be read";
    size_t at = parser->problem_mark.index;
    lb_place place = lb_place_of(&r->places, at);
    bool at_end = place.byte >= r->places.bytes;
    lb_loc loc = at_end ? loc_of_end(r, at) : loc_of(r, at, at + 1);

    if (parser->error == YAML_MEMORY_ERROR) {
        out_of_memory(r);
        return;
    }
    if (parser->error == YAML_READER_ERROR) {
        /* Marked at the start of the text; the offset counts bytes. */
        size_t byte =
            parser->problem_offset < r->places.bytes ? parser->problem_offset : r->places.bytes;

        at = lb_place_points(r->places.text, byte);
        give_up(r, lb_fail(r->diag, LB_INVALID, loc_of(r, at, at + 1),
                           "character U+%04X is not allowed in YAML",
                           (unsigned)parser->problem_value));
        return;
    }
    if (!at_end && r->places.text[place.byte] == '\t' && strstr(problem, "cannot start any token"))
        problem = "a tab cannot indent; use spaces";
    give_up(r, lb_fail(r->diag, LB_INVALID, loc, "not YAML: %s%s", problem,
                       at_end ? " at the end of the file" : ""));
    if (parser->context && parser->context_mark.index < at)
        lb_note(r->diag, loc_of(r, parser->context_mark.index, parser->context_mark.index + 1),
                "%s that begins here", parser->context);
}

static bool handle_event(reader *r, const yaml_event_t *event)
{
    switch (event->type) {
    case YAML_ALIAS_EVENT:
        read_alias(r, event);
        break;
    case YAML_SCALAR_EVENT:
        read_scalar(r, event);
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
            give_up(r, lb_fail(r->diag, LB_INVALID,
                               loc_of(r, event->start_mark.index, event->end_mark.index),
                               "a second document begins here; a graph is one document"));
        break;
    default:
        break;
    }
    return event->type != YAML_STREAM_END_EVENT && !r->is_over;
}

/* The bytes libyaml must not see: bad UTF-8 (it loses the place) and floods of directives. */
static bool check_bytes(reader *r)
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
        give_up(r, lb_fail(r->diag, LB_INVALID, loc_of(r, before, before + 1),
                           "this is not UTF-8 text"));
        return false;
    }
    for (size_t at = 0; at < bytes; at++) {
        if ((at == 0 || text[at - 1] == '\n' || text[at - 1] == '\r') && bytes - at >= 4 &&
            memcmp(text + at, "%TAG", 4) == 0 && ++directives > MAX_TAG_DIRECTIVES) {
            size_t point = lb_place_points(text, at);

            give_up(r, lb_fail(r->diag, LB_LIMIT, loc_of(r, point, point + 4),
                               "more than %d tag directives", MAX_TAG_DIRECTIVES));
            return false;
        }
    }
    return true;
}

static void read_events(reader *r)
{
    yaml_parser_t parser;
    bool more = true;

    if (!yaml_parser_initialize(&parser)) {
        out_of_memory(r);
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
    reader *r = lb_alloc(1, sizeof *r);
    lb_status status;

    *out = NULL;
    if (!r)
        return lb_fail(diag, LB_MEMORY, (lb_loc){.file = file}, "no memory");
    *r = (reader){.diag = diag, .arena = arena, .file = file};
    if (!lb_place_index_make(text, bytes, &r->places))
        out_of_memory(r);
    else if (check_bytes(r))
        read_events(r);
    if (!r->is_over && !r->root)
        give_up(r, lb_fail(diag, LB_INVALID, (lb_loc){.file = file},
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

lb_yaml_node *lb_yaml_find(const lb_yaml_node *mapping, const char *key)
{
    for (int32_t i = 0; i < mapping->count; i++)
        if (strcmp(mapping->entries[i].key->text, key) == 0)
            return mapping->entries[i].value;
    return NULL;
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
