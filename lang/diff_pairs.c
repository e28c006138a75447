/* lang/diff_pairs.c: which things of two sections are the same thing. */
#include "lang/diff_pairs.h"

#include <string.h>

#include "engine/graph/param.h"

#define MOST_COMPARED 2000000 /* pairs that are looked at for renamed ones */

const lb_op *lb_diff_op(const lb_op *const *ops, const lb_yaml_node *node)
{
    const lb_yaml_node *word = node->kind == LB_YAML_MAPPING ? lb_yaml_find(node, "op") : NULL;

    for (; word && word->kind == LB_YAML_SCALAR && *ops; ops++)
        if (strcmp((*ops)->name, word->text) == 0)
            return *ops;
    return NULL;
}

double lb_pairs_values(const lb_yaml_entry *a, const lb_yaml_entry *b, const lb_op *const *ops,
                       const lb_spelling *spelling)
{
    (void)ops;
    return lb_diff_same(a->value, b->value, NULL, spelling);
}

double lb_pairs_nodes(const lb_yaml_entry *a, const lb_yaml_entry *b, const lb_op *const *ops,
                      const lb_spelling *spelling)
{
    const lb_yaml_node *x = a->value, *y = b->value;
    const lb_op *op = lb_diff_op(ops, y);
    int32_t all = 0, same = 0;

    if (x->kind != LB_YAML_MAPPING || y->kind != LB_YAML_MAPPING || !lb_yaml_find(x, "op") ||
        !lb_yaml_find(y, "op") ||
        !lb_diff_same(lb_yaml_find(x, "op"), lb_yaml_find(y, "op"), NULL, NULL))
        return 0;
    for (int32_t i = 0; i < x->count + y->count; i++) {
        const lb_yaml_entry *entry = i < x->count ? &x->entries[i] : &y->entries[i - x->count];
        const char *key = entry->key->text;
        const lb_yaml_node *old = i < x->count ? entry->value : lb_yaml_find(x, key);
        const lb_yaml_node *new = i < x->count ? lb_yaml_find(y, key) : entry->value;

        if ((i >= x->count && old) || strcmp(key, "op") == 0)
            continue;
        all++;
        if (op && lb_inputs_find(op->inputs, key) >= 0)
            same += lb_diff_same_reference(old, new, spelling);
        else
            same += lb_diff_same(old, new, op ? lb_params_find(op->params, key) : NULL, spelling) ||
                    (old && new &&lb_diff_same_reference(old, new, spelling));
    }
    return all == 0 || same == all ? 1 : (double)same / all;
}

static int32_t index_of(const lb_yaml_node *mapping, const lb_name_map *names, const char *name)
{
    return mapping ? lb_name_map_find(names, name, strlen(name)) : -1;
}

static bool make_map(const lb_yaml_node *mapping, lb_name_map *map)
{
    for (int32_t i = 0; mapping && i < mapping->count; i++)
        if (!lb_name_map_add(map, mapping->entries[i].key->text, mapping->entries[i].key->length, i,
                             NULL))
            return false;
    return true;
}

typedef struct matcher {
    const lb_yaml_node *a, *b;
    int32_t *a_to_b, *b_to_a; /* -1: alone */
    lb_likeness_fn likeness;
    const lb_op *const *ops;
    lb_spelling spelling;
    lb_renames nodes;
    int64_t compared;
} matcher;

static bool join_two(matcher *m, int32_t i, int32_t k)
{
    m->a_to_b[i] = k;
    m->b_to_a[k] = i;
    return lb_renames_add(&m->nodes, m->a->entries[i].key->text, m->b->entries[k].key->text);
}

/* Things that are alone in both: those that are alike enough, the most alike first. What has been
 * found makes others alike that refer to it, so it is done until nothing is found. */
static bool match_renamed(matcher *m, double least)
{
    bool is_found = true;

    while (is_found) {
        is_found = false;
        for (int32_t i = 0; i < m->a->count; i++) {
            int32_t best = -1;
            double most = 0;

            for (int32_t k = 0; m->a_to_b[i] < 0 && k < m->b->count && most < 1; k++) {
                double likeness;

                if (m->b_to_a[k] >= 0 || m->compared++ > MOST_COMPARED)
                    continue;
                likeness = m->likeness(&m->a->entries[i], &m->b->entries[k], m->ops, &m->spelling);
                if (likeness > most) {
                    most = likeness;
                    best = k;
                }
            }
            if (best < 0 || most < least)
                continue;
            if (!join_two(m, i, best))
                return false;
            is_found = true;
        }
    }
    return true;
}

static bool list_pairs(const matcher *m, lb_pairs *out)
{
    int32_t a = m->a ? m->a->count : 0, b = m->b ? m->b->count : 0;

    if (!(out->items = lb_alloc((size_t)a + (size_t)b + 1, sizeof *out->items)))
        return false;
    for (int32_t i = 0; i < a; i++)
        if (m->a_to_b[i] < 0)
            out->items[out->count++] = (lb_pair){&m->a->entries[i], NULL};
    for (int32_t k = 0; k < b; k++)
        out->items[out->count++] =
            (lb_pair){m->b_to_a[k] >= 0 ? &m->a->entries[m->b_to_a[k]] : NULL, &m->b->entries[k]};
    return true;
}

bool lb_pairs_make(const lb_yaml_node *a, const lb_yaml_node *b, lb_likeness_fn likeness,
                   const lb_op *const *ops, const lb_renames *params, lb_pairs *out)
{
    matcher m = {.a = a, .b = b, .likeness = likeness, .ops = ops};
    lb_name_map names = {0};
    bool is_good;

    *out = (lb_pairs){0};
    m.spelling = (lb_spelling){&m.nodes, params};
    m.a_to_b = lb_alloc((size_t)(a ? a->count : 0) + 1, sizeof *m.a_to_b);
    m.b_to_a = lb_alloc((size_t)(b ? b->count : 0) + 1, sizeof *m.b_to_a);
    is_good = m.a_to_b && m.b_to_a && make_map(b, &names);
    for (int32_t k = 0; is_good && b && k < b->count; k++)
        m.b_to_a[k] = -1;
    for (int32_t i = 0; is_good && a && i < a->count; i++) {
        m.a_to_b[i] = index_of(b, &names, a->entries[i].key->text);
        if (m.a_to_b[i] >= 0)
            m.b_to_a[m.a_to_b[i]] = i;
    }
    if (is_good && a && b && likeness)
        is_good = match_renamed(&m, 1) && (likeness != lb_pairs_nodes || match_renamed(&m, 0.6));
    is_good = is_good && list_pairs(&m, out);
    lb_free(m.a_to_b);
    lb_free(m.b_to_a);
    lb_renames_clear(&m.nodes);
    lb_name_map_clear(&names);
    return is_good;
}

void lb_pairs_clear(lb_pairs *pairs)
{
    lb_free(pairs->items);
    *pairs = (lb_pairs){0};
}
