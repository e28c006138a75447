/* lang/layout.c: libyaml's events made a tree of spellings, and what its nodes mean. */
#include "lang/layout.h"

#include <string.h>
#include <yaml.h>

#include "lang/scalar.h"
#include "lang/yaml.h"

/* A list or mapping that is being read. */
typedef struct level {
    lb_layout_node *node;
    lb_layout_entry *entries; /* on the heap while they grow */
    size_t count, capacity;
    lb_layout_node *key; /* of a mapping: the key whose value comes next */
    size_t line;
} level;

typedef struct reader {
    lb_arena *arena;
    lb_place_index places;
    lb_layout_marks marks;
    size_t dash_at, block_at; /* marks that nobody had yet */
    level levels[LB_YAML_MAX_DEPTH];
    int32_t depth;
    lb_layout_node *root;
    lb_status status;
} reader;

static void fail(reader *r, lb_status status)
{
    if (r->status == LB_OK)
        r->status = status;
}

static const char *keep_string(reader *r, const yaml_char_t *text)
{
    const char *kept = text ? lb_arena_strdup(r->arena, (const char *)text) : NULL;

    if (text && !kept)
        fail(r, LB_MEMORY);
    return kept;
}

/* The short spelling of a tag, whatever handle it was written with. */
static const char *keep_tag(reader *r, const yaml_char_t *tag)
{
    static const char prefix[] = "tag:yaml.org,2002:";
    const char *kept;

    if (!tag)
        return NULL;
    if (strncmp((const char *)tag, prefix, sizeof prefix - 1) != 0)
        return keep_string(r, tag);
    kept = lb_arena_printf(r->arena, "!!%s", (const char *)tag + sizeof prefix - 1);
    if (!kept)
        fail(r, LB_MEMORY);
    return kept;
}

static lb_layout_node *new_node(reader *r, lb_layout_kind kind, const yaml_event_t *event)
{
    lb_layout_node *node = lb_arena_alloc(r->arena, 1, sizeof *node);

    if (!node) {
        fail(r, LB_MEMORY);
        return NULL;
    }
    node->kind = kind;
    node->begin = lb_place_of(&r->places, event->start_mark.index).byte;
    node->end = lb_place_of(&r->places, event->end_mark.index).byte;
    node->is_split = event->end_mark.line > event->start_mark.line;
    return node;
}

/* The dash of the item that begins at `byte`: items come in the order of their dashes. */
static size_t take_dash(reader *r, size_t byte)
{
    const lb_layout_marks *marks = &r->marks;

    if (r->dash_at < marks->dash_count && marks->dashes[r->dash_at] <= byte)
        return marks->dashes[r->dash_at++];
    return byte;
}

/* Puts a finished or just begun node into the list or mapping around it. */
static void attach(reader *r, lb_layout_node *node)
{
    level *top;
    lb_layout_entry entry = {.value = node, .begin = node->begin};
    bool is_mapping;

    if (r->depth == 0) {
        r->root = node;
        return;
    }
    top = &r->levels[r->depth - 1];
    is_mapping = top->node->kind == LB_LAYOUT_MAPPING;
    if (is_mapping && !top->key) {
        top->key = node;
        return;
    }
    if (is_mapping) {
        entry.key = top->key;
        entry.begin = top->key->begin;
        top->key = NULL;
    } else if (!top->node->is_flow) {
        entry.begin = take_dash(r, node->begin);
    }
    if (node->kind == LB_LAYOUT_SCALAR && node->begin == node->end && node->length == 0)
        node->begin = node->end = entry.key ? entry.key->end : entry.begin;
    lb_layout_begins_line(r->places.text, entry.begin, &entry.is_after_blank);
    if (!lb_grow((void **)&top->entries, &top->capacity, top->count, sizeof entry)) {
        fail(r, LB_MEMORY);
        return;
    }
    top->entries[top->count++] = entry;
}

/* The lines of a block scalar as they stand in the source. */
static void find_raw(reader *r, lb_layout_node *node)
{
    size_t at = node->end;

    if (node->style != LB_LAYOUT_LITERAL && node->style != LB_LAYOUT_FOLDED)
        return;
    if (r->block_at < r->marks.block_count)
        at = r->marks.blocks[r->block_at++];
    while (at < node->end && lb_layout_break(r->places.text, r->places.bytes, at) == 0)
        at++;
    at += lb_layout_break(r->places.text, r->places.bytes, at);
    node->raw = r->places.text + at;
    node->raw_length = node->end > at ? node->end - at : 0;
}

static void read_scalar(reader *r, const yaml_event_t *event)
{
    static const lb_layout_style styles[] = {
        [YAML_SINGLE_QUOTED_SCALAR_STYLE] = LB_LAYOUT_SINGLE,
        [YAML_DOUBLE_QUOTED_SCALAR_STYLE] = LB_LAYOUT_DOUBLE,
        [YAML_LITERAL_SCALAR_STYLE] = LB_LAYOUT_LITERAL,
        [YAML_FOLDED_SCALAR_STYLE] = LB_LAYOUT_FOLDED,
    };
    lb_layout_node *node = new_node(r, LB_LAYOUT_SCALAR, event);

    if (!node)
        return;
    if (event->data.scalar.style != YAML_PLAIN_SCALAR_STYLE)
        node->style = styles[event->data.scalar.style];
    node->anchor = keep_string(r, event->data.scalar.anchor);
    node->tag = keep_tag(r, event->data.scalar.tag);
    node->text = keep_string(r, event->data.scalar.value);
    if (!node->text)
        return;
    node->length = strlen(node->text);
    find_raw(r, node);
    attach(r, node);
}

static void read_alias(reader *r, const yaml_event_t *event)
{
    lb_layout_node *node = new_node(r, LB_LAYOUT_ALIAS, event);

    if (!node || !(node->anchor = keep_string(r, event->data.alias.anchor)))
        return;
    attach(r, node);
}

static void begin_level(reader *r, const yaml_event_t *event)
{
    bool is_list = event->type == YAML_SEQUENCE_START_EVENT;
    lb_layout_node *node = new_node(r, is_list ? LB_LAYOUT_LIST : LB_LAYOUT_MAPPING, event);

    if (!node)
        return;
    node->anchor = keep_string(r, is_list ? event->data.sequence_start.anchor
                                          : event->data.mapping_start.anchor);
    node->tag =
        keep_tag(r, is_list ? event->data.sequence_start.tag : event->data.mapping_start.tag);
    node->is_flow = is_list ? event->data.sequence_start.style == YAML_FLOW_SEQUENCE_STYLE
                            : event->data.mapping_start.style == YAML_FLOW_MAPPING_STYLE;
    if (r->depth == LB_YAML_MAX_DEPTH) {
        fail(r, LB_INVALID);
        return;
    }
    attach(r, node); /* its dash comes before those of its members */
    r->levels[r->depth++] = (level){.node = node, .line = event->start_mark.line};
}

/* The column of a block's entries. */
static int32_t column_of(const reader *r, size_t byte)
{
    size_t start = byte;

    while (start > 0 && r->places.text[start - 1] != '\n' && r->places.text[start - 1] != '\r')
        start--;
    return (int32_t)lb_place_points(r->places.text + start, byte - start);
}

static void end_level(reader *r, const yaml_event_t *event)
{
    level *top = &r->levels[--r->depth];
    lb_layout_node *node = top->node;

    if (top->count > 0 &&
        !(node->entries = lb_arena_alloc(r->arena, top->count, sizeof *node->entries))) {
        fail(r, LB_MEMORY);
    } else if (top->count > 0) {
        memcpy(node->entries, top->entries, top->count * sizeof *node->entries);
        node->count = (int32_t)top->count;
    }
    if (node->is_flow) {
        node->end = lb_place_of(&r->places, event->end_mark.index).byte;
    } else if (node->count > 0) {
        const lb_layout_entry *last = &node->entries[node->count - 1];

        node->end = last->value->end > last->begin ? last->value->end : last->begin + 1;
        node->column = column_of(r, node->entries[0].begin);
    }
    node->is_split = event->end_mark.line > top->line;
    lb_free(top->entries);
    top->entries = NULL;
}

static void handle_event(reader *r, const yaml_event_t *event)
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
    default:
        break;
    }
}

static void read_events(reader *r)
{
    yaml_parser_t parser;
    bool more = true;

    if (!yaml_parser_initialize(&parser)) {
        fail(r, LB_MEMORY);
        return;
    }
    yaml_parser_set_encoding(&parser, YAML_UTF8_ENCODING);
    yaml_parser_set_input_string(&parser, (const unsigned char *)r->places.text, r->places.bytes);
    while (more && r->status == LB_OK) {
        yaml_event_t event;

        if (!yaml_parser_parse(&parser, &event)) {
            fail(r, parser.error == YAML_MEMORY_ERROR ? LB_MEMORY : LB_INVALID);
            break;
        }
        more = event.type != YAML_STREAM_END_EVENT;
        handle_event(r, &event);
        yaml_event_delete(&event);
    }
    yaml_parser_delete(&parser);
    while (r->depth > 0)
        lb_free(r->levels[--r->depth].entries);
}

/* Sums a tree from its leaves. */
static bool sum_all(lb_layout_node *node)
{
    for (int32_t i = 0; i < node->count; i++) {
        const lb_layout_entry *entry = &node->entries[i];

        if ((entry->key && !sum_all(entry->key)) || !sum_all(entry->value))
            return false;
    }
    return lb_layout_sum(node);
}

lb_status lb_layout_read(const char *text, size_t bytes, lb_arena *arena, lb_layout *out)
{
    reader *r = lb_alloc(1, sizeof *r);
    lb_status status;

    *out = (lb_layout){.text = text, .bytes = bytes};
    if (!r)
        return LB_MEMORY;
    r->arena = arena;
    if (!lb_place_index_make(text, bytes, &r->places)) {
        lb_free(r);
        return LB_MEMORY;
    }
    r->status = lb_layout_scan(&r->places, arena, &r->marks);
    if (r->status == LB_OK)
        read_events(r);
    if (r->status == LB_OK && !r->root)
        r->status = LB_INVALID;
    if (r->status == LB_OK) {
        out->root = (lb_layout_entry){.value = r->root, .begin = r->root->begin};
        lb_layout_begins_line(text, r->root->begin, &out->root.is_after_blank);
        out->comment_count = (int32_t)r->marks.comment_count;
        lb_layout_attach(out, &r->marks);
        if (!sum_all(r->root))
            r->status = LB_MEMORY;
    }
    status = r->status;
    lb_place_index_clear(&r->places);
    lb_free(r);
    return status;
}

bool lb_layout_is_equal(const lb_layout_node *a, const lb_layout_node *b)
{
    return lb_key_equal(a->hash, b->hash);
}

static void hash_scalar(lb_hasher *hasher, const lb_layout_node *node)
{
    bool is_text = node->tag ? strcmp(node->tag, "!") == 0 || strcmp(node->tag, "!!str") == 0
                             : node->style != LB_LAYOUT_PLAIN;
    double number;

    lb_hash_u64(hasher,
                is_text ? LB_SCALAR_TEXT : lb_scalar_resolve(node->text, node->length, &number));
    /* A merge key is more than its text. */
    lb_hash_u64(hasher, node->style == LB_LAYOUT_PLAIN && strcmp(node->text, "<<") == 0);
    lb_hash_string(hasher, node->text);
}

static void hash_members(lb_hasher *hasher, lb_layout_node *node)
{
    lb_key sum = {0};

    for (int32_t i = 0; i < node->count; i++) {
        lb_layout_entry *entry = &node->entries[i];
        const lb_key both[2] = {entry->key ? entry->key->hash : (lb_key){0}, entry->value->hash};

        entry->hash = lb_key_of(both, sizeof both);
        if (node->kind == LB_LAYOUT_LIST)
            lb_hash_key(hasher, entry->hash);
        sum.high += entry->hash.high;
        sum.low += entry->hash.low;
    }
    if (node->kind == LB_LAYOUT_MAPPING)
        lb_hash_key(hasher, sum); /* whatever the order */
}

static void hash_comments(lb_hasher *hasher, const lb_layout_comment *list, bool *any)
{
    for (; list; list = list->next) {
        lb_hash_key(hasher, lb_key_of(list->text, list->length));
        *any = true;
    }
    lb_hash_u64(hasher, 0);
}

static void hash_remarks(lb_hasher *hasher, lb_layout_node *node)
{
    node->has_comments = false;
    for (int32_t i = 0; i < node->count; i++) {
        const lb_layout_entry *entry = &node->entries[i];

        hash_comments(hasher, entry->lead, &node->has_comments);
        hash_comments(hasher, entry->head ? entry->head : entry->tail, &node->has_comments);
        lb_hash_key(hasher, entry->value->remarks);
        node->has_comments |= entry->value->has_comments;
    }
    hash_comments(hasher, node->foot, &node->has_comments);
}

bool lb_layout_sum(lb_layout_node *node)
{
    lb_hasher *hasher = lb_hasher_new();

    if (!hasher)
        return false;
    lb_hash_u64(hasher, node->kind);
    lb_hash_string(hasher, node->anchor);
    lb_hash_string(hasher, node->tag);
    if (node->kind == LB_LAYOUT_SCALAR)
        hash_scalar(hasher, node);
    else
        hash_members(hasher, node);
    node->hash = lb_hasher_key(hasher);
    lb_hasher_reset(hasher);
    hash_remarks(hasher, node);
    node->remarks = node->has_comments ? lb_hasher_key(hasher) : (lb_key){0};
    lb_hasher_free(&hasher);
    return true;
}
