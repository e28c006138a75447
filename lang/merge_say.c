/* lang/merge_say.c: conflicts as messages, with the places of all sides. */
#include <string.h>

#include "lang/merge_plan.h"

#define SHOWN_COLUMNS 40 /* of a value in a message */

/* The line and column of bytes [begin, end). */
static lb_loc loc_of(const lb_merge_source *source, size_t begin, size_t end)
{
    lb_place place = lb_place_of_byte(&source->places, begin);

    return (lb_loc){source->file, place.line, place.column,
                    (int32_t)lb_place_points(source->places.text + begin, end - begin)};
}

/* A value on one line, its key otherwise. */
static lb_loc loc_of_value(const lb_merge_source *source, const lb_layout_entry *entry)
{
    const lb_layout_node *value = entry->value;

    if (value->is_split || value->end == value->begin || (!value->is_flow && value->count > 0))
        value = entry->key;
    return loc_of(source, value->begin, value->end);
}

static lb_loc loc_of_key(const lb_merge_source *source, const lb_layout_entry *entry)
{
    return loc_of(source, entry->key->begin, entry->key->end);
}

/* " to 40", or nothing where it would be long. */
static const char *show(lb_merge *merge, const char *before, const lb_layout_node *value)
{
    lb_text text = {0};
    const char *kept = "";

    if (value->width > 0 && value->width <= SHOWN_COLUMNS) {
        lb_text_put(&text, before);
        lb_layout_print_flow(value, &text);
        kept = text.failed ? NULL : lb_arena_strdup(merge->arena, text.bytes);
        lb_text_clear(&text);
    }
    if (!kept)
        merge->failed = true;
    return kept ? kept : "";
}

static const char *name_of(const lb_layout_entry *entry)
{
    return entry->key->word ? entry->key->word : "";
}

void lb_merge_say(lb_merge *merge, const lb_merge_entry *e, const char *path)
{
    lb_loc base = e->base ? loc_of_value(&merge->base, e->base) : LB_NOWHERE;

    if (e->ours && e->theirs && e->base &&
        !lb_key_equal(e->ours->key->hash, e->theirs->key->hash)) {
        lb_fail(merge->diag, LB_INVALID, loc_of_key(&merge->ours, e->ours),
                "'%s' is a new name for '%.60s' here, and theirs has another", path,
                name_of(e->base));
        lb_note(merge->diag, loc_of_key(&merge->base, e->base), "its name before");
        lb_note(merge->diag, loc_of_key(&merge->theirs, e->theirs), "its name there");
    } else if (e->ours && e->theirs && e->base) {
        lb_fail(merge->diag, LB_INVALID, loc_of_value(&merge->ours, e->ours),
                "both sides change '%s'%s", path, show(merge, ", here to ", e->ours->value));
        lb_note(merge->diag, base, "before%s", show(merge, " it was ", e->base->value));
        lb_note(merge->diag, loc_of_value(&merge->theirs, e->theirs), "changed there%s",
                show(merge, " to ", e->theirs->value));
    } else if (e->ours && e->theirs) {
        lb_fail(merge->diag, LB_INVALID, loc_of_value(&merge->ours, e->ours),
                "both sides add '%s'%s", path, show(merge, ", here as ", e->ours->value));
        lb_note(merge->diag, loc_of_value(&merge->theirs, e->theirs), "added there%s",
                show(merge, " as ", e->theirs->value));
    } else if (e->ours) {
        lb_fail(merge->diag, LB_INVALID, loc_of_value(&merge->ours, e->ours),
                "'%s' is changed here and removed by theirs", path);
        lb_note(merge->diag, base, "before the change");
    } else {
        lb_fail(merge->diag, LB_INVALID, loc_of_value(&merge->theirs, e->theirs),
                "'%s' is changed here and removed by ours", path);
        lb_note(merge->diag, base, "before the change");
    }
}

void lb_merge_say_comment(lb_merge *merge, const lb_merge_entry *e, const char *path)
{
    lb_warn(merge->diag, loc_of_key(&merge->ours, e->ours),
            "both sides change a comment at '%s%s%.60s'; ours is kept", path, *path ? "." : "",
            name_of(e->ours));
    lb_note(merge->diag, loc_of_key(&merge->theirs, e->theirs), "theirs is here");
}
