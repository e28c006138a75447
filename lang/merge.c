/* lang/merge.c: read three texts, plan, write, read again, compare. */
#include "lang/merge.h"

#include <string.h>

#include "lang/lang.h"
#include "lang/merge_plan.h"
#include "lang/name_map.h"
#include "lang/yaml.h"

static lb_status no_memory(lb_merge *merge)
{
    return lb_fail(merge->diag, LB_MEMORY, (lb_loc){.file = merge->ours.file}, "no memory");
}

static bool has_mark(const lb_merge_side *side)
{
    return side->bytes >= 3 && memcmp(side->text, "\xEF\xBB\xBF", 3) == 0; /* byte order */
}

static bool is_blank(const lb_merge_side *side)
{
    for (size_t i = 0; i < side->bytes; i++)
        if (!strchr(" \t\r\n", side->text[i]) || side->text[i] == 0)
            return false;
    return true;
}

static lb_status read_side(lb_merge *merge, const lb_merge_side *side, lb_merge_source *out)
{
    const char *text = side->bytes ? side->text : "";
    size_t bytes = side->bytes;
    lb_yaml_node *tree;
    lb_status status;

    if (has_mark(side))
        text += 3, bytes -= 3;
    if (merge->diag && !(out->file = lb_diag_add_source(merge->diag, side->path, text, bytes)))
        return no_memory(merge);
    if (bytes > LB_LANG_MAX_BYTES)
        return lb_fail(merge->diag, LB_LIMIT, (lb_loc){.file = out->file},
                       "a graph has at most %zu MiB", LB_LANG_MAX_BYTES >> 20);
    if ((status = lb_yaml_read(merge->diag, out->file, text, bytes, merge->arena, &tree)) != LB_OK)
        return status;
    if ((status = lb_layout_read(text, bytes, merge->arena, &out->layout)) == LB_LIMIT)
        return lb_fail(merge->diag, LB_LIMIT, (lb_loc){.file = out->file}, "more than %d comments",
                       LB_LAYOUT_MAX_COMMENTS);
    if (status != LB_OK || !lb_layout_measure(out->layout.root.value, merge->arena) ||
        !lb_place_index_make(text, bytes, &out->places))
        return no_memory(merge);
    return LB_OK;
}

static bool count_anchors(const lb_layout_node *node, lb_name_map *names, int32_t *twice)
{
    int32_t existing = -1;

    if (node->anchor && node->kind != LB_LAYOUT_ALIAS) {
        if (!lb_name_map_add(names, node->anchor, strlen(node->anchor), 0, &existing))
            return false;
        *twice += existing >= 0;
    }
    for (int32_t i = 0; i < node->count; i++)
        if ((node->entries[i].key && !count_anchors(node->entries[i].key, names, twice)) ||
            !count_anchors(node->entries[i].value, names, twice))
            return false;
    return true;
}

/* Anchors that have been defined before; -1: no memory. */
static int32_t repeated_anchors(const lb_layout_node *node)
{
    lb_name_map names = {0};
    int32_t twice = 0;

    if (!count_anchors(node, &names, &twice))
        twice = -1;
    lb_name_map_clear(&names);
    return twice;
}

/* Is this text good, and what the trees' merge is? */
static lb_status check(lb_merge *merge, const lb_layout_node *expected, const lb_text *made)
{
    const char *file = merge->diag
                           ? lb_diag_add_source(merge->diag, "the merged text",
                                                made->bytes ? made->bytes : "", made->length)
                           : NULL;
    lb_layout layout;
    lb_yaml_node *tree;
    lb_status status;
    int32_t twice, ours, theirs;

    status = lb_yaml_read(merge->diag, file, made->bytes, made->length, merge->arena, &tree);
    if (status == LB_OK)
        status = lb_layout_read(made->bytes, made->length, merge->arena, &layout);
    if (status == LB_MEMORY)
        return no_memory(merge);
    if (status != LB_OK || !lb_layout_is_equal(layout.root.value, expected))
        return lb_fail(merge->diag, LB_UNSUPPORTED, (lb_loc){.file = merge->ours.file},
                       "the changes of both sides do not go together; merge them by hand");
    twice = repeated_anchors(layout.root.value);
    ours = repeated_anchors(merge->ours.layout.root.value);
    theirs = repeated_anchors(merge->theirs.layout.root.value);
    if (twice < 0 || ours < 0 || theirs < 0)
        return no_memory(merge);
    if (twice > (ours > theirs ? ours : theirs))
        return lb_fail(merge->diag, LB_UNSUPPORTED, (lb_loc){.file = merge->ours.file},
                       "both sides add an anchor of the same name; merge them by hand");
    return LB_OK;
}

static lb_status write_side(lb_merge *merge, const lb_merge_mapping *mapping, lb_merge_mode mode,
                            lb_text *out)
{
    bool emptied = false;
    const lb_layout_node *expected =
        lb_merge_tree(merge, mapping, mode != LB_MERGE_THEIRS, &emptied);

    if (!expected || !lb_merge_write(merge, mapping, mode, out))
        return no_memory(merge);
    return check(merge, expected, out);
}

/* What stands between markers must not be taken for a graph. */
static lb_status write_marked(lb_merge *merge, const lb_merge_mapping *mapping, lb_text *out)
{
    lb_yaml_node *tree;
    lb_status status;

    lb_text_clear(out);
    if (!lb_merge_write(merge, mapping, LB_MERGE_MARKED, out))
        return no_memory(merge);
    status = lb_yaml_read(NULL, NULL, out->bytes, out->length, merge->arena, &tree);
    if (status == LB_MEMORY)
        return no_memory(merge);
    return status != LB_OK
               ? LB_OK
               : lb_fail(merge->diag, LB_UNSUPPORTED, (lb_loc){.file = merge->ours.file},
                         "the conflicts cannot be marked; merge by hand");
}

static lb_status merge_mappings(lb_merge *merge, const lb_layout_node *base, lb_text *out)
{
    lb_merge_mapping *mapping = lb_merge_plan(merge, base, merge->ours.layout.root.value,
                                              merge->theirs.layout.root.value, 0, "");
    lb_status status;

    if (!mapping)
        return no_memory(merge);
    if ((status = write_side(merge, mapping, LB_MERGE_OURS, out)) != LB_OK || !merge->conflicts)
        return status;
    lb_text_clear(out);
    if ((status = write_side(merge, mapping, LB_MERGE_THEIRS, out)) != LB_OK)
        return status;
    return write_marked(merge, mapping, out);
}

static void put_lines(lb_text *out, const lb_layout *layout)
{
    lb_text_add(out, layout->text, layout->bytes);
    if (layout->bytes > 0 && layout->text[layout->bytes - 1] != '\n')
        lb_text_put(out, "\n");
}

/* Something that is no mapping is one thing. */
static lb_status merge_whole(lb_merge *merge, const lb_layout_node *base, lb_text *out)
{
    const lb_layout *ours = &merge->ours.layout, *theirs = &merge->theirs.layout;
    const lb_layout_node *o = ours->root.value, *t = theirs->root.value;

    if (lb_layout_is_equal(o, t) || (base && lb_layout_is_equal(base, t))) {
        lb_text_add(out, ours->text, ours->bytes);
    } else if (base && lb_layout_is_equal(base, o)) {
        lb_text_add(out, theirs->text, theirs->bytes);
    } else {
        merge->conflicts = 1;
        lb_fail(merge->diag, LB_INVALID, (lb_loc){.file = merge->ours.file},
                "both sides change the whole file");
        lb_note(merge->diag, (lb_loc){.file = merge->theirs.file}, "theirs");
        lb_text_put(out, LB_MERGE_BEGIN);
        put_lines(out, ours);
        lb_text_put(out, LB_MERGE_MIDDLE);
        put_lines(out, theirs);
        lb_text_put(out, LB_MERGE_END);
    }
    return out->failed ? no_memory(merge) : LB_OK;
}

static bool is_same_text(const lb_layout *a, const lb_layout *b)
{
    return a->bytes == b->bytes && memcmp(a->text, b->text, a->bytes) == 0;
}

static lb_status merge_read(lb_merge *merge, bool has_base, lb_text *out)
{
    const lb_layout *ours = &merge->ours.layout, *theirs = &merge->theirs.layout;
    const lb_layout_node *base = has_base ? merge->base.layout.root.value : NULL;
    bool can_enter;

    if (has_base && is_same_text(ours, &merge->base.layout)) {
        lb_text_add(out, theirs->text, theirs->bytes);
        return out->failed ? no_memory(merge) : LB_OK;
    }
    can_enter = lb_merge_can_enter(merge, ours->root.value) &&
                lb_merge_can_enter(merge, theirs->root.value) &&
                (!base || lb_merge_can_enter(merge, base));
    if (merge->failed)
        return no_memory(merge);
    return can_enter ? merge_mappings(merge, base, out) : merge_whole(merge, base, out);
}

lb_status lb_lang_merge(lb_diag *diag, const lb_merge_side *base, const lb_merge_side *ours,
                        const lb_merge_side *theirs, lb_text *out, int32_t *conflicts)
{
    lb_merge *merge = lb_alloc(1, sizeof *merge);
    bool has_base = !is_blank(base);
    lb_text body = {0};
    lb_status status;

    *conflicts = 0;
    if (!merge || !(merge->arena = lb_arena_new())) {
        lb_free(merge);
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    }
    merge->diag = diag;
    status = has_base ? read_side(merge, base, &merge->base) : LB_OK;
    if (status == LB_OK)
        status = read_side(merge, ours, &merge->ours);
    if (status == LB_OK)
        status = read_side(merge, theirs, &merge->theirs);
    if (status == LB_OK)
        status = merge_read(merge, has_base, &body);
    if (status == LB_OK) {
        *conflicts = merge->conflicts;
        if (has_mark(ours))
            lb_text_put(out, "\xEF\xBB\xBF");
        lb_text_add(out, body.bytes ? body.bytes : "", body.length);
        if (out->failed)
            status = no_memory(merge);
    }
    if (status != LB_OK)
        lb_text_clear(out);
    lb_text_clear(&body);
    lb_place_index_clear(&merge->base.places);
    lb_place_index_clear(&merge->ours.places);
    lb_place_index_clear(&merge->theirs.places);
    lb_arena_free(&merge->arena);
    lb_free(merge);
    return status;
}
