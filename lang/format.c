/* lang/format.c: read, print, read again, compare. */
#include "lang/format.h"

#include <string.h>

#include "lang/lang.h"
#include "lang/layout.h"

bool lb_lang_same_tree(const lb_yaml_node *a, const lb_yaml_node *b)
{
    if (a->kind != b->kind || a->type != b->type || a->count != b->count)
        return false;
    if (a->kind == LB_YAML_SCALAR)
        return a->length == b->length && memcmp(a->text, b->text, a->length) == 0;
    for (int32_t i = 0; i < a->count; i++) {
        if (a->kind == LB_YAML_LIST && !lb_lang_same_tree(a->items[i], b->items[i]))
            return false;
        if (a->kind == LB_YAML_MAPPING &&
            (a->entries[i].merged != b->entries[i].merged ||
             !lb_lang_same_tree(a->entries[i].key, b->entries[i].key) ||
             !lb_lang_same_tree(a->entries[i].value, b->entries[i].value)))
            return false;
    }
    return true;
}

static lb_status no_memory(lb_diag *diag, const char *file)
{
    return lb_fail(diag, LB_MEMORY, (lb_loc){.file = file}, "no memory");
}

/* Is the new text the same to a reader, with as many comments? */
static lb_status check(lb_diag *diag, const char *file, const lb_yaml_node *tree,
                       const lb_layout *layout, const lb_text *made, lb_arena *arena)
{
    lb_yaml_node *again = NULL;
    lb_layout laid;
    lb_status status = lb_yaml_read(NULL, NULL, made->bytes, made->length, arena, &again);

    if (status == LB_OK)
        status = lb_layout_read(made->bytes, made->length, arena, &laid);
    if (status == LB_MEMORY)
        return no_memory(diag, file);
    if (status != LB_OK || !lb_lang_same_tree(tree, again) ||
        laid.comment_count != layout->comment_count)
        return lb_fail(diag, LB_UNSUPPORTED, (lb_loc){.file = file},
                       "this cannot be laid out anew without changing what it means");
    return LB_OK;
}

static lb_status format(lb_diag *diag, const char *file, const char *text, size_t bytes,
                        lb_arena *arena, lb_text *out)
{
    lb_yaml_node *tree = NULL;
    lb_layout layout;
    lb_status status = lb_yaml_read(diag, file, text, bytes, arena, &tree);

    if (status != LB_OK)
        return status;
    if ((status = lb_layout_read(text, bytes, arena, &layout)) == LB_LIMIT)
        return lb_fail(diag, LB_LIMIT, (lb_loc){.file = file}, "more than %d comments",
                       LB_LAYOUT_MAX_COMMENTS);
    if (status != LB_OK || !lb_layout_measure(layout.root.value, arena))
        return no_memory(diag, file);
    lb_layout_print(&layout, out);
    if (out->failed)
        return no_memory(diag, file);
    return check(diag, file, tree, &layout, out, arena);
}

lb_status lb_lang_format(lb_diag *diag, const char *path, const char *text, size_t bytes,
                         lb_text *out)
{
    static const char mark[] = "\xEF\xBB\xBF"; /* byte order */
    lb_arena *arena = lb_arena_new();
    const char *file = NULL;
    lb_status status;

    if (bytes == 0)
        text = "";
    if (bytes >= 3 && memcmp(text, mark, 3) == 0)
        text += 3, bytes -= 3;
    if (diag)
        file = lb_diag_add_source(diag, path, text, bytes);
    if (!arena || (diag && !file))
        status = no_memory(diag, file);
    else if (bytes > LB_LANG_MAX_BYTES)
        status = lb_fail(diag, LB_LIMIT, (lb_loc){.file = file}, "a graph has at most %zu MiB",
                         LB_LANG_MAX_BYTES >> 20);
    else
        status = format(diag, file, text, bytes, arena, out);
    if (status != LB_OK)
        lb_text_clear(out);
    lb_arena_free(&arena);
    return status;
}
