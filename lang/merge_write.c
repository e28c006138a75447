/* lang/merge_write.c: the text of ours with changes written into it. An edit replaces some bytes;
 * whatever is in no edit stays as it is. */
#include <stdlib.h>
#include <string.h>

#include "lang/merge_plan.h"

typedef struct edit {
    size_t begin, end;
    size_t order;
    lb_text text;
    bool is_line; /* begins a line of its own */
} edit;

typedef struct writer {
    lb_merge *merge;
    const char *text; /* of ours */
    size_t bytes;
    lb_merge_mode mode;
    edit *edits;
    size_t count, capacity;
    bool failed;
} writer;

/* Takes the text over. */
static void add_edit(writer *w, size_t begin, size_t end, lb_text *text, bool is_line)
{
    if (text->failed || !lb_grow((void **)&w->edits, &w->capacity, w->count, sizeof *w->edits)) {
        w->failed = true;
        lb_text_clear(text);
        return;
    }
    w->edits[w->count] = (edit){begin, end, w->count, *text, is_line};
    w->count++;
}

static size_t line_start(const writer *w, size_t at)
{
    while (at > 0 && w->text[at - 1] != '\n' && w->text[at - 1] != '\r')
        at--;
    return at;
}

/* Behind the line break at or after `at`; `at` itself where a line begins. */
static size_t line_end(const writer *w, size_t at)
{
    if (at > 0 && line_start(w, at) == at)
        return at;
    while (at < w->bytes && lb_layout_break(w->text, w->bytes, at) == 0)
        at++;
    return at + lb_layout_break(w->text, w->bytes, at);
}

/* The last byte of a node and of the comments below it. */
static size_t last_of(const lb_layout_node *node)
{
    size_t last = node->end, inner;

    if (node->is_flow || node->count == 0)
        return last;
    inner = last_of(node->entries[node->count - 1].value); /* once: they are nested deeply */
    if (inner > last)
        last = inner;
    for (const lb_layout_comment *comment = node->foot; comment; comment = comment->next)
        if (comment->end > last)
            last = comment->end;
    return last;
}

/* The lines of an entry of ours: from its first comment to its last. */
static void region_of(const writer *w, const lb_layout_entry *entry, size_t *begin, size_t *end)
{
    const lb_layout_comment *lead = entry->lead;

    *begin = line_start(w, lead && lead->begin < entry->begin ? lead->begin : entry->begin);
    *end = line_end(w, last_of(entry->value));
}

static bool is_blank_line(const writer *w, size_t at)
{
    while (at < w->bytes && (w->text[at] == ' ' || w->text[at] == '\t'))
        at++;
    return at == w->bytes || lb_layout_break(w->text, w->bytes, at) > 0;
}

/* Where the line above the one that begins at `at` begins. */
static size_t line_before(const writer *w, size_t at)
{
    if (at > 0 && w->text[at - 1] == '\n')
        at--;
    if (at > 0 && w->text[at - 1] == '\r')
        at--;
    return line_start(w, at);
}

/* Takes out the lines of an entry, with blank ones that would be too many: those below the first of
 * a block, else those above if there are some below too. Answers where the lines taken out end. */
static size_t delete_lines(writer *w, size_t begin, size_t end, bool is_first)
{
    lb_text nothing = {0};

    while (is_first && end < w->bytes && is_blank_line(w, end))
        end = line_end(w, end + 1);
    if (!is_first && is_blank_line(w, end))
        while (begin > 0 && is_blank_line(w, line_before(w, begin)))
            begin = line_before(w, begin);
    add_edit(w, begin, end, &nothing, true);
    return end;
}

/* Can its entries be told apart by lines? */
static bool is_by_lines(const lb_layout_node *node, const char *text)
{
    if (node->kind != LB_LAYOUT_MAPPING || node->is_flow || node->count == 0)
        return false;
    for (int32_t i = 0; i < node->count; i++) {
        const lb_layout_entry *entry = &node->entries[i];

        if (!lb_layout_begins_line(text, entry->begin, NULL) || entry->key->is_split ||
            (entry->lead && entry->lead->begin > entry->begin))
            return false;
    }
    return true;
}

static bool print_entry(writer *w, lb_layout_entry *entry, size_t indent, bool is_first,
                        lb_text *out)
{
    if (!lb_layout_measure(entry->key, w->merge->arena) ||
        !lb_layout_measure(entry->value, w->merge->arena)) {
        w->failed = true;
        return false;
    }
    if (entry->key && !entry->key->word)
        entry->key->word = entry->key->flow_word;
    lb_layout_print_entry(entry, indent, is_first, out);
    return true;
}

/* One side of an entry, printed; nothing if it is not there. */
static void print_side(writer *w, const lb_merge_entry *e, size_t indent, bool prefers_ours,
                       lb_text *out)
{
    lb_layout_entry *entry;
    bool emptied = false;

    if (!lb_merge_tree_entry(w->merge, e, prefers_ours, &entry, &emptied))
        w->failed = true;
    else if (entry)
        print_entry(w, entry, indent, true, out);
}

/* Both sides between markers, or one of them. */
static void write_conflict(writer *w, const lb_merge_entry *e, size_t indent, size_t at)
{
    size_t begin = at, end = at;
    bool is_ours_as_it_is = e->action == LB_MERGE_CONFLICT;
    lb_text text = {0};

    if (e->ours)
        region_of(w, e->ours, &begin, &end);
    if (w->mode == LB_MERGE_OURS && is_ours_as_it_is)
        return;
    if (w->mode == LB_MERGE_MARKED)
        lb_text_put(&text, LB_MERGE_BEGIN);
    if (w->mode != LB_MERGE_THEIRS) {
        if (!is_ours_as_it_is)
            print_side(w, e, indent, true, &text);
        else
            lb_text_add(&text, w->text + begin, end - begin);
        if (text.length > 0 && text.bytes[text.length - 1] != '\n')
            lb_text_put(&text, "\n");
    }
    if (w->mode == LB_MERGE_MARKED)
        lb_text_put(&text, LB_MERGE_MIDDLE);
    if (w->mode != LB_MERGE_OURS)
        print_side(w, e, indent, false, &text);
    if (w->mode == LB_MERGE_MARKED)
        lb_text_put(&text, LB_MERGE_END);
    add_edit(w, begin, end, &text, true);
}

/* A value on the key's line gives its place to another that fits there. */
static bool replace_value(writer *w, const lb_layout_entry *ours, lb_layout_node *value)
{
    const lb_layout_node *old = ours->value;
    size_t column = lb_place_points(w->text + line_start(w, ours->begin),
                                    old->begin - line_start(w, ours->begin));
    bool is_block = old->kind == LB_LAYOUT_SCALAR && !old->word;
    lb_text text = {0};

    if (old->is_split || is_block || old->end == old->begin || old->begin == ours->key->end ||
        (!old->is_flow && old->count > 0) ||
        line_start(w, old->begin) != line_start(w, ours->begin))
        return false;
    if (!lb_layout_measure(value, w->merge->arena)) {
        w->failed = true;
        return true;
    }
    if (value->width == 0 || value->width == SIZE_MAX || column + value->width > LB_LAYOUT_COLUMNS)
        return false;
    if (value->kind == LB_LAYOUT_SCALAR) {
        lb_layout_props(value, &text);
        lb_text_put(&text, value->word);
    } else {
        lb_layout_print_flow(value, &text);
    }
    add_edit(w, old->begin, old->end, &text, false);
    return true;
}

/* The comments above an entry become those of theirs. */
static void write_lead(writer *w, const lb_merge_entry *e, size_t indent)
{
    size_t begin, end;
    lb_text text = {0};

    region_of(w, e->ours, &begin, &end);
    lb_layout_print_comments(e->theirs->lead, indent, true, &text);
    if (e->theirs->lead && e->theirs->is_after_blank)
        lb_text_put(&text, "\n");
    add_edit(w, begin, line_start(w, e->ours->begin), &text, true);
}

static const lb_layout_comment *remark(const lb_layout_entry *entry)
{
    return entry->head ? entry->head : entry->tail;
}

/* The comment beside an entry becomes that of theirs. */
static void write_remark(writer *w, const lb_merge_entry *e)
{
    const lb_layout_comment *old = remark(e->ours), *new = remark(e->theirs);
    const lb_layout_node *value = e->ours->value;
    bool is_below =
        (value->kind == LB_LAYOUT_SCALAR && !value->word) || (!value->is_flow && value->count > 0);
    size_t begin, end;
    lb_text text = {0};

    if (old) {
        begin = old->begin;
        end = old->end;
    } else {
        begin = is_below || value->end == value->begin ? e->ours->key->end : value->end;
        while (begin < w->bytes && lb_layout_break(w->text, w->bytes, begin) == 0)
            begin++;
        end = begin;
    }
    while (begin > 0 && (!old || !new) && (w->text[begin - 1] == ' ' || w->text[begin - 1] == '\t'))
        begin--;
    if (new && !old)
        lb_text_put(&text, "  ");
    if (new)
        lb_text_add(&text, new->text, new->length);
    add_edit(w, begin, end, &text, false);
}

static void write_mapping(writer *w, const lb_merge_mapping *mapping);

/* The whole entry anew, but for the comments above it. */
static void reprint(writer *w, const lb_merge_entry *e, lb_layout_entry *entry, size_t indent)
{
    lb_layout_entry bare = *entry;
    size_t begin, end;
    lb_text text = {0};

    region_of(w, e->ours, &begin, &end);
    bare.lead = NULL;
    if (print_entry(w, &bare, indent, true, &text))
        add_edit(w, line_start(w, e->ours->begin), end, &text, true);
}

static void write_change(writer *w, const lb_merge_entry *e, size_t indent)
{
    const lb_merge_mapping *into = e->action == LB_MERGE_INTO ? e->into : NULL;
    lb_layout_entry *entry;
    lb_text text = {0};
    bool emptied = false;

    if (!lb_merge_tree_entry(w->merge, e, w->mode != LB_MERGE_THEIRS, &entry, &emptied)) {
        w->failed = true;
        return;
    }
    if (e->takes_lead)
        write_lead(w, e, indent);
    if (into && is_by_lines(e->ours->value, w->text) && entry->value->count > 0) {
        write_mapping(w, into);
    } else if (e->action != LB_MERGE_KEEP && !replace_value(w, e->ours, entry->value)) {
        reprint(w, e, entry, indent);
        return;
    }
    if (e->takes_key) {
        if (!lb_layout_measure(entry->key, w->merge->arena)) {
            w->failed = true;
            return;
        }
        lb_layout_props(entry->key, &text);
        lb_text_put(&text, entry->key->flow_word);
        add_edit(w, e->ours->key->begin, e->ours->key->end, &text, false);
    }
    if (e->takes_remark)
        write_remark(w, e);
}

/* What stands behind the last entry; `at` is where its lines end. */
static void write_foot(writer *w, const lb_merge_mapping *mapping, size_t at)
{
    const lb_layout_comment *last = mapping->ours->foot;
    size_t begin = at;
    lb_text text = {0};

    for (; last; last = last->next) {
        if (last == mapping->ours->foot)
            begin = line_start(w, last->begin);
        at = line_end(w, last->end);
    }
    lb_layout_print_comments(mapping->theirs->foot, (size_t)mapping->ours->column, begin != at,
                             &text);
    add_edit(w, begin, at, &text, true);
}

static void write_mapping(writer *w, const lb_merge_mapping *mapping)
{
    size_t indent = (size_t)mapping->ours->column, at, end;
    bool is_first = true, is_top = true; /* with and without what theirs adds */

    region_of(w, &mapping->ours->entries[0], &at, &end);
    for (const lb_merge_entry *e = mapping->first; e && !w->failed; e = e->next) {
        bool holds_conflict =
            e->action == LB_MERGE_CONFLICT ||
            (e->into && e->into->has_conflict && !is_by_lines(e->ours->value, w->text));
        size_t begin = at;

        if (e->ours)
            region_of(w, e->ours, &begin, &end);
        if (holds_conflict) {
            write_conflict(w, e, indent, at);
        } else if (e->action == LB_MERGE_DROP) {
            end = delete_lines(w, begin, end, is_top);
        } else if (e->action == LB_MERGE_ADD) {
            lb_text text = {0};
            lb_layout_entry *entry;
            bool emptied = false;

            if (!lb_merge_tree_entry(w->merge, e, true, &entry, &emptied) ||
                !print_entry(w, entry, indent, is_first, &text))
                w->failed = true;
            add_edit(w, at, at, &text, true);
        } else {
            write_change(w, e, indent);
        }
        if (e->ours) {
            at = end;
            is_top &= e->action == LB_MERGE_DROP;
        }
        is_first &= e->action == LB_MERGE_DROP;
    }
    if (mapping->takes_foot)
        write_foot(w, mapping, at);
}

static int compare_edits(const void *a, const void *b)
{
    const edit *x = a, *y = b;

    if (x->begin != y->begin)
        return x->begin < y->begin ? -1 : 1;
    return x->order < y->order ? -1 : 1;
}

/* Line breaks as ours has them. */
static void put_text(lb_text *out, const lb_text *text, bool has_returns)
{
    for (size_t at = 0; at < text->length;) {
        const char *stop = memchr(text->bytes + at, '\n', text->length - at);
        size_t end = stop ? (size_t)(stop - text->bytes) : text->length;

        lb_text_add(out, text->bytes + at, end - at);
        if (stop && has_returns && !(end > at && text->bytes[end - 1] == '\r'))
            lb_text_put(out, "\r");
        if (stop)
            lb_text_put(out, "\n");
        at = end + (stop != NULL);
    }
}

static void apply(writer *w, lb_text *out)
{
    const char *first = memchr(w->text, '\n', w->bytes);
    bool has_returns = first && first > w->text && first[-1] == '\r';
    size_t at = 0;

    if (w->count > 0)
        qsort(w->edits, w->count, sizeof *w->edits, compare_edits);
    for (size_t i = 0; i < w->count; i++) {
        const edit *e = &w->edits[i];

        if (e->begin < at) { /* two changes of the same bytes: the check will see it */
            continue;
        }
        lb_text_add(out, w->text + at, e->begin - at);
        if (e->is_line && e->text.length > 0 && out->length > 0 &&
            !strchr("\r\n", out->bytes[out->length - 1]))
            lb_text_put(out, has_returns ? "\r\n" : "\n");
        put_text(out, &e->text, has_returns);
        at = e->end;
    }
    lb_text_add(out, w->text + at, w->bytes - at);
}

/* A text whose root is no mapping of lines is printed as a whole. */
static void print_whole(writer *w, const lb_merge_mapping *mapping, lb_text *out)
{
    lb_layout merged = w->merge->ours.layout;
    bool emptied = false;

    if (mapping->has_conflict && w->mode == LB_MERGE_MARKED) {
        lb_text_put(out, LB_MERGE_BEGIN);
        lb_text_add(out, w->text, w->bytes);
        if (out->length > 0 && out->bytes[out->length - 1] != '\n')
            lb_text_put(out, "\n");
        lb_text_put(out, LB_MERGE_MIDDLE);
        lb_text_add(out, w->merge->theirs.layout.text, w->merge->theirs.layout.bytes);
        if (out->bytes[out->length - 1] != '\n')
            lb_text_put(out, "\n");
        lb_text_put(out, LB_MERGE_END);
        return;
    }
    merged.root.value = lb_merge_tree(w->merge, mapping, w->mode != LB_MERGE_THEIRS, &emptied);
    if (merged.root.value && lb_layout_measure(merged.root.value, w->merge->arena))
        lb_layout_print(&merged, out);
    else
        w->failed = true;
}

bool lb_merge_write(lb_merge *merge, const lb_merge_mapping *mapping, lb_merge_mode mode,
                    lb_text *out)
{
    writer w = {.merge = merge,
                .text = merge->ours.layout.text,
                .bytes = merge->ours.layout.bytes,
                .mode = mode};
    bool emptied = false;
    const lb_layout_node *tree = lb_merge_tree(merge, mapping, mode != LB_MERGE_THEIRS, &emptied);

    if (!tree) {
        w.failed = true;
    } else if (is_by_lines(mapping->ours, w.text) && tree->count > 0) {
        write_mapping(&w, mapping);
        if (!w.failed)
            apply(&w, out);
    } else {
        print_whole(&w, mapping, out);
    }
    for (size_t i = 0; i < w.count; i++)
        lb_text_clear(&w.edits[i].text);
    lb_free(w.edits);
    return !w.failed && !out->failed;
}
