/* lang/merge_plan.c: what becomes of every key, given where it is and what it means on each side.
 */
#include <string.h>

#include "lang/merge_plan.h"
#include "lang/name_map.h"

#define ENTER_DEPTH 1 /* mappings above are sections: both sides may add one and fill it */

/* The entries of a mapping by what their keys mean. */
typedef struct index_of {
    const lb_layout_node *node; /* NULL: no entries */
    lb_name_map map;
} index_of;

typedef struct planner {
    lb_merge *merge;
    index_of base, ours, theirs;
    int32_t *ours_renamed, *theirs_renamed; /* by base entries: where they went; -1: nowhere */
    int32_t *base_of_ours, *base_of_theirs; /* the other way */
    lb_merge_entry **placed;                /* by entries of theirs */
    lb_merge_mapping *mapping;
    int32_t depth;
    const char *path;
} planner;

static bool make_index(const lb_layout_node *node, index_of *out)
{
    *out = (index_of){.node = node};
    for (int32_t i = 0; node && i < node->count; i++) {
        const lb_key *hash = &node->entries[i].key->hash;

        if (!lb_name_map_add(&out->map, (const char *)hash, sizeof *hash, i, NULL))
            return false;
    }
    return true;
}

static int32_t find(const index_of *index, const lb_layout_node *key)
{
    return lb_name_map_find(&index->map, (const char *)&key->hash, sizeof key->hash);
}

static int32_t count_of(const index_of *index)
{
    return index->node ? index->node->count : 0;
}

bool lb_merge_can_enter(lb_merge *merge, const lb_layout_node *node)
{
    index_of index;
    bool can;

    if (node->kind != LB_LAYOUT_MAPPING)
        return false;
    if (!make_index(node, &index))
        merge->failed = true;
    can = !merge->failed && index.map.count == (size_t)node->count; /* merge keys may be several */
    lb_name_map_clear(&index.map);
    return can;
}

static int32_t *new_numbers(planner *p, int32_t count)
{
    int32_t *numbers = lb_arena_alloc(p->merge->arena, (size_t)count + 1, sizeof *numbers);

    if (!numbers) {
        p->merge->failed = true;
        return NULL;
    }
    for (int32_t i = 0; i <= count; i++)
        numbers[i] = -1;
    return numbers;
}

/* Only what is worth a name can be renamed: nodes wherever they are, and what stands in a section.
 */
static bool has_name(const planner *p, const lb_layout_node *value)
{
    if (value->kind != LB_LAYOUT_MAPPING || p->depth == 0)
        return false;
    for (int32_t i = 0; i < value->count; i++) {
        const lb_layout_node *key = value->entries[i].key;

        if (key->kind == LB_LAYOUT_SCALAR && strcmp(key->text, "op") == 0)
            return true;
    }
    return p->depth == 1;
}

/* Entries that are gone from the base, and new ones on a side, which have the same value and no
 * other pair has: renamed. */
static bool find_renames(planner *p, const index_of *side, int32_t *gone_to, int32_t *came_from)
{
    lb_name_map gone = {0};
    bool good = true;

    for (int32_t i = 0; good && i < count_of(&p->base); i++) {
        const lb_layout_entry *entry = &p->base.node->entries[i];
        const lb_key *hash = &entry->value->hash;
        int32_t existing = -1;

        if (find(side, entry->key) >= 0 || !has_name(p, entry->value))
            continue;
        good = lb_name_map_add(&gone, (const char *)hash, sizeof *hash, i, &existing);
        if (good && existing >= 0) /* two alike: nobody can tell */
            gone_to[existing] = -2;
    }
    for (int32_t i = 0; good && i < count_of(side); i++) {
        const lb_layout_entry *entry = &side->node->entries[i];
        int32_t from = -1;

        if (find(&p->base, entry->key) < 0)
            from = lb_name_map_find(&gone, (const char *)&entry->value->hash, sizeof(lb_key));
        if (from < 0)
            continue;
        if (gone_to[from] == -1) {
            gone_to[from] = i;
            came_from[i] = from;
        } else if (gone_to[from] >= 0) {
            came_from[gone_to[from]] = -1;
            gone_to[from] = -2;
        }
    }
    lb_name_map_clear(&gone);
    return good;
}

/* No renaming to a name that the other side gives to something else. */
static void drop_taken_names(planner *p, const index_of *side, const index_of *other,
                             int32_t *gone_to, int32_t *came_from, const int32_t *other_came_from)
{
    for (int32_t i = 0; i < count_of(&p->base); i++) {
        int32_t to = gone_to[i], taken;

        if (to < 0)
            continue;
        taken = find(other, side->node->entries[to].key);
        if (taken >= 0 && other_came_from[taken] != i)
            gone_to[i] = came_from[to] = -1;
    }
}

static bool find_all_renames(planner *p)
{
    if (!find_renames(p, &p->ours, p->ours_renamed, p->base_of_ours) ||
        !find_renames(p, &p->theirs, p->theirs_renamed, p->base_of_theirs))
        return false;
    drop_taken_names(p, &p->ours, &p->theirs, p->ours_renamed, p->base_of_ours, p->base_of_theirs);
    drop_taken_names(p, &p->theirs, &p->ours, p->theirs_renamed, p->base_of_theirs,
                     p->base_of_ours);
    return true;
}

static lb_key comment_key(const lb_layout_comment *list)
{
    lb_key sum = {0};

    for (; list; list = list->next) {
        const lb_key both[2] = {sum, lb_key_of(list->text, list->length)};

        sum = lb_key_of(both, sizeof both);
    }
    return sum;
}

/* Comments are merged as values are, but what both changed is no conflict: ours stays, and theirs
 * is told of. */
static bool takes_comment(planner *p, const lb_merge_entry *entry, const lb_layout_comment *base,
                          const lb_layout_comment *ours, const lb_layout_comment *theirs)
{
    lb_key b = comment_key(base), o = comment_key(ours), t = comment_key(theirs);

    if (lb_key_equal(b, t) || lb_key_equal(o, t))
        return false;
    if (lb_key_equal(b, o))
        return true;
    if (entry)
        lb_merge_say_comment(p->merge, entry, p->path);
    return false;
}

static const lb_layout_comment *remark(const lb_layout_entry *entry)
{
    return entry->head ? entry->head : entry->tail;
}

static bool has_same_props(const lb_layout_node *a, const lb_layout_node *b)
{
    return strcmp(a->anchor ? a->anchor : "", b->anchor ? b->anchor : "") == 0 &&
           strcmp(a->tag ? a->tag : "", b->tag ? b->tag : "") == 0;
}

static bool can_enter_all(planner *p, const lb_merge_entry *e)
{
    const lb_layout_node *o = e->ours->value, *t = e->theirs->value;

    return lb_merge_can_enter(p->merge, o) && lb_merge_can_enter(p->merge, t) &&
           has_same_props(o, t) &&
           (!e->base ||
            (lb_merge_can_enter(p->merge, e->base->value) && has_same_props(o, e->base->value)));
}

static const char *path_of(planner *p, const lb_layout_entry *entry)
{
    const lb_layout_node *key = entry->key;
    const char *name = key->kind == LB_LAYOUT_ALIAS ? key->anchor : key->text;
    const char *path = *p->path ? lb_arena_printf(p->merge->arena, "%s.%.60s", p->path, name)
                                : lb_arena_printf(p->merge->arena, "%.60s", name);

    if (!path)
        p->merge->failed = true;
    return path ? path : "";
}

static void conflict(planner *p, lb_merge_entry *e)
{
    e->action = LB_MERGE_CONFLICT;
    p->mapping->has_conflict = true;
    p->merge->conflicts++;
    lb_merge_say(p->merge, e, path_of(p, e->ours ? e->ours : e->theirs));
}

static void enter(planner *p, lb_merge_entry *e)
{
    e->into = lb_merge_plan(p->merge, e->base ? e->base->value : NULL, e->ours->value,
                            e->theirs->value, p->depth + 1, path_of(p, e->ours));
    if (!e->into)
        return;
    if (e->into->is_changed || e->into->has_conflict)
        e->action = LB_MERGE_INTO;
    p->mapping->has_conflict |= e->into->has_conflict;
}

/* An entry that ours and theirs have. */
static void decide_value(planner *p, lb_merge_entry *e)
{
    const lb_layout_node *b = e->base ? e->base->value : NULL;
    const lb_layout_node *o = e->ours->value, *t = e->theirs->value;
    bool new_remarks = b && !lb_key_equal(b->remarks, t->remarks);

    if (lb_layout_is_equal(o, t) || (b && lb_layout_is_equal(b, t))) {
        if (!new_remarks)
            return;
        if (can_enter_all(p, e))
            enter(p, e);
        else if (lb_layout_is_equal(o, t) && lb_key_equal(b->remarks, o->remarks))
            e->action = LB_MERGE_REPLACE;
        return;
    }
    if (can_enter_all(p, e) && (b || p->depth < ENTER_DEPTH))
        enter(p, e);
    else if (b && lb_layout_is_equal(b, o))
        e->action = LB_MERGE_REPLACE;
    else
        conflict(p, e);
}

static void decide(planner *p, lb_merge_entry *e)
{
    if (e->ours && e->theirs) {
        bool ours_moved = e->base && !lb_key_equal(e->base->key->hash, e->ours->key->hash);
        bool theirs_moved = e->base && !lb_key_equal(e->base->key->hash, e->theirs->key->hash);

        if (ours_moved && theirs_moved && !lb_key_equal(e->ours->key->hash, e->theirs->key->hash)) {
            conflict(p, e);
            return;
        }
        e->takes_key = theirs_moved && !ours_moved;
        decide_value(p, e);
        if (e->base && e->action != LB_MERGE_CONFLICT) {
            e->takes_lead = takes_comment(p, e, e->base->lead, e->ours->lead, e->theirs->lead);
            e->takes_remark =
                takes_comment(p, e, remark(e->base), remark(e->ours), remark(e->theirs));
        }
    } else if (e->ours && e->base) {
        if (lb_key_equal(e->ours->hash, e->base->hash))
            e->action = LB_MERGE_DROP;
        else
            conflict(p, e);
    } else if (e->theirs && e->base) {
        conflict(p, e); /* ours removed what theirs changed or renamed */
    } else if (e->theirs) {
        e->action = LB_MERGE_ADD;
    }
    if (e->action != LB_MERGE_KEEP || e->takes_key || e->takes_lead || e->takes_remark)
        p->mapping->is_changed = true;
}

static lb_merge_entry *new_entry(planner *p, lb_merge_entry ***end)
{
    lb_merge_entry *entry = lb_arena_alloc(p->merge->arena, 1, sizeof *entry);

    if (!entry) {
        p->merge->failed = true;
        return NULL;
    }
    entry->next = **end;
    **end = entry;
    *end = &entry->next;
    return entry;
}

/* What ours has, in its order. */
static void plan_ours(planner *p)
{
    lb_merge_entry **end = &p->mapping->first;

    for (int32_t i = 0; i < count_of(&p->ours) && !p->merge->failed; i++) {
        const lb_layout_entry *ours = &p->ours.node->entries[i];
        int32_t base = find(&p->base, ours->key), theirs = find(&p->theirs, ours->key);
        lb_merge_entry *entry = new_entry(p, &end);

        if (!entry)
            return;
        if (base < 0)
            base = p->base_of_ours[i];
        if (theirs < 0 && base >= 0)
            theirs = find(&p->theirs, p->base.node->entries[base].key);
        if (theirs < 0 && base >= 0 && p->theirs_renamed[base] >= 0)
            theirs = p->theirs_renamed[base];
        entry->ours = ours;
        if (base >= 0)
            entry->base = &p->base.node->entries[base];
        if (theirs >= 0 && !p->placed[theirs]) {
            entry->theirs = &p->theirs.node->entries[theirs];
            p->placed[theirs] = entry;
        }
        decide(p, entry);
    }
}

/* What only theirs has goes behind what it stands behind there. */
static void plan_theirs(planner *p)
{
    lb_merge_entry *before = NULL;

    for (int32_t i = 0; i < count_of(&p->theirs) && !p->merge->failed; i++) {
        const lb_layout_entry *theirs = &p->theirs.node->entries[i];
        lb_merge_entry **end = before ? &before->next : &p->mapping->first, *entry;
        int32_t base = find(&p->base, theirs->key);

        if (p->placed[i]) {
            before = p->placed[i];
            continue;
        }
        if (base < 0)
            base = p->base_of_theirs[i];
        if (base >= 0 && lb_key_equal(p->base.node->entries[base].hash, theirs->hash))
            continue; /* ours removed what theirs left alone */
        if (!(entry = new_entry(p, &end)))
            return;
        entry->theirs = theirs;
        entry->base = base >= 0 ? &p->base.node->entries[base] : NULL;
        before = entry;
        decide(p, entry);
    }
}

lb_merge_mapping *lb_merge_plan(lb_merge *merge, const lb_layout_node *base,
                                const lb_layout_node *ours, const lb_layout_node *theirs,
                                int32_t depth, const char *path)
{
    planner p = {.merge = merge, .depth = depth, .path = path};
    bool good;

    p.mapping = lb_arena_alloc(merge->arena, 1, sizeof *p.mapping);
    good = p.mapping && make_index(base, &p.base) && make_index(ours, &p.ours) &&
           make_index(theirs, &p.theirs) && (p.ours_renamed = new_numbers(&p, count_of(&p.base))) &&
           (p.theirs_renamed = new_numbers(&p, count_of(&p.base))) &&
           (p.base_of_ours = new_numbers(&p, ours->count)) &&
           (p.base_of_theirs = new_numbers(&p, theirs->count)) &&
           (p.placed = lb_arena_alloc(merge->arena, (size_t)theirs->count + 1, sizeof *p.placed));
    if (good)
        good = find_all_renames(&p);
    if (!good) {
        merge->failed = true;
    } else {
        p.mapping->base = base;
        p.mapping->ours = ours;
        p.mapping->theirs = theirs;
        plan_ours(&p);
        plan_theirs(&p);
        if (base && takes_comment(&p, NULL, base->foot, ours->foot, theirs->foot))
            p.mapping->takes_foot = p.mapping->is_changed = true;
    }
    lb_name_map_clear(&p.base.map);
    lb_name_map_clear(&p.ours.map);
    lb_name_map_clear(&p.theirs.map);
    return merge->failed ? NULL : p.mapping;
}
