/* lang/build_reference.c: what nodes refer to: other nodes, what a part hands out, what it was
 * given.
 */
#include <string.h>

#include "lang/build.h"

/* What was found behind a reference. */
typedef struct found_name {
    lb_unit_build *unit;
    lb_named *named;
    lb_meant *meant;
} found_name;

static const found_name nothing;

static found_name find_in(lb_unit_build *unit, const char *name, size_t length)
{
    int32_t at = lb_name_map_find(&unit->body->names, name, length);

    return at < 0 ? nothing : (found_name){unit, &unit->body->named[at], &unit->meant[at]};
}

/* Follows "kit/deep/glow" through the files that are included. An included file that has a fault
 * ends the way: then `unit` alone is NULL. */
static found_name find_name(lb_unit_build *unit, const char *text, size_t length)
{
    const char *slash;
    found_name found;

    while ((slash = memchr(text, '/', length))) {
        found = find_in(unit, text, (size_t)(slash - text));
        if (!found.named || found.named->what != LB_NAMES_INCLUDE)
            return nothing;
        found.named->is_used = true;
        if (!(unit = found.meant->unit)) {
            found.unit = NULL;
            return found;
        }
        length -= (size_t)(slash + 1 - text);
        text = slash + 1;
    }
    return find_in(unit, text, length);
}

bool lb_build_refers(lb_build *build, const lb_yaml_node *scalar)
{
    return find_name(build->unit, scalar->text, strcspn(scalar->text, ".")).named != NULL;
}

static void report_unknown(lb_build *build, const lb_yaml_node *scalar, size_t length)
{
    const lb_body *body = build->unit->body;
    char hint[LB_HINT], name[2 * LB_NAME_MAX + 2];
    const char *slash = memchr(scalar->text, '/', length);
    size_t first = slash ? (size_t)(slash - scalar->text) : length;
    int32_t at = lb_name_map_find(&body->names, scalar->text, first);
    lb_loc loc = lb_yaml_place(scalar, 0, length);

    snprintf(name, sizeof name, "%.*s", (int)(length < sizeof name ? length : sizeof name - 1),
             scalar->text);
    if (body->part && at < 0 &&
        lb_name_map_find(&body->document->body.names, scalar->text, first) >= 0)
        lb_build_fail(build, LB_INVALID, loc,
                      "'%s' is outside of part '%.60s', which sees only its inputs and its own "
                      "nodes; pass it in",
                      name, body->part->name);
    else if (slash && at >= 0 && body->named[at].what == LB_NAMES_USE)
        lb_build_fail(build, LB_INVALID, loc,
                      "'%s' is inside a part; of '%.*s' only the result can be used", name,
                      (int)first, scalar->text);
    else
        lb_build_fail(build, LB_INVALID, loc, "unknown node '%s'%s", name,
                      lb_build_map_hint(build, name, &body->names, hint));
}

/* --- what names come to --- */

static const lb_edge_ref broken = {.node = LB_BROKEN_EDGE};

static lb_edge_ref resolve(lb_build *build, const found_name *found, lb_loc loc);

static const char *op_name(const lb_build *build, int32_t node)
{
    return build->graph->nodes[node].op->name;
}

/* Is what stands at `edge` of the kind that an input takes? Reported where it is given. */
static bool check_kind(lb_build *build, const lb_input *input, const lb_edge_ref *edge)
{
    const lb_op *op = edge->node >= 0 ? build->graph->nodes[edge->node].op : NULL;

    if (!op)
        return edge->node == -1; /* an optional input that is not given */
    if (op->result == input->kind)
        return true;
    lb_build_fail(build, LB_INVALID, edge->loc, "'%s' takes %s; '%s' (%s) makes %s", input->name,
                  lb_kind_text(input->kind), edge->name, op_name(build, edge->node),
                  lb_kind_text(op->result));
    return false;
}

/* What the use of the unit passes to one of the part's inputs; built with the user's names. */
static lb_edge_ref resolve_input(lb_build *build, const found_name *found)
{
    const lb_named *named = found->named;
    const lb_input input = {
        .name = named->name, .kind = named->kind, .optional = named->is_optional};
    const lb_yaml_node *given =
        found->unit->uses ? lb_yaml_find(found->unit->uses, named->name) : NULL;
    lb_edge_ref edge = {.node = named->is_optional ? -1 : LB_BROKEN_EDGE, .loc = named->loc};
    lb_unit_build *before;

    if (named->kind == LB_KIND_NONE)
        return broken;
    if (!found->unit->uses)
        for (int32_t i = 0; i < LB_STAND_IN_COUNT; i++)
            if (lb_stand_in_ops[i].result == named->kind)
                edge.node = build->stand_ins + i;
    if (!given)
        return edge;
    before = lb_build_enter(build, found->unit->parent);
    if (!lb_build_input(build, given, &input, found->unit->body->part->name, &edge))
        edge.node = LB_BROKEN_EDGE;
    else if (!check_kind(build, &input, &edge)) {
        lb_note(build->diag, named->loc, "the part declares it here");
        edge.node = LB_BROKEN_EDGE;
    }
    lb_build_enter(build, before);
    return edge;
}

/* What a use of the unit's part stands for: the part's result. */
static lb_edge_ref resolve_result(lb_build *build, lb_unit_build *unit)
{
    lb_unit_build *before;
    const lb_yaml_node *result = unit ? unit->body->part->result : NULL;
    lb_edge_ref edge = broken;

    if (!result)
        return broken;
    before = lb_build_enter(build, unit);
    if (lb_build_reference(build, result, "result", &edge) && edge.node == -1) {
        lb_build_fail(build, LB_INVALID, result->loc, "the result is an input that may be missing");
        edge.node = LB_BROKEN_EDGE;
    }
    lb_build_enter(build, before);
    if (edge.node >= 0)
        build->graph->units[unit->index].result = edge.node;
    return edge;
}

/* Once for each name; broken while it is being worked out, which is a cycle. */
static lb_edge_ref resolve(lb_build *build, const found_name *found, lb_loc loc)
{
    lb_meant *meant = found->meant;

    if (found->named->what == LB_NAMES_NODE)
        return (lb_edge_ref){.node = meant->node};
    if (meant->state == LB_STATE_OPEN || build->handed_on >= LB_MAX_HANDED_ON) {
        lb_build_fail(build, meant->state == LB_STATE_OPEN ? LB_INVALID : LB_LIMIT, loc,
                      meant->state == LB_STATE_OPEN
                          ? "'%.60s' stands for itself: its part hands on what it is given"
                          : "'%.60s' is handed on through too many parts",
                      found->named->name);
        return broken;
    }
    if (meant->state == LB_STATE_NEW) {
        meant->state = LB_STATE_OPEN;
        build->handed_on++;
        meant->edge = found->named->what == LB_NAMES_USE ? resolve_result(build, meant->unit)
                                                         : resolve_input(build, found);
        build->handed_on--;
        meant->state = LB_STATE_DONE;
    }
    return meant->edge;
}

/* --- references --- */

/* The name behind a reference; false: reported. `length` is that of the name without a layer. */
static bool find_reference(lb_build *build, const lb_yaml_node *scalar, const char *owner,
                           found_name *out, size_t *length)
{
    char found[LB_FOUND];

    if (scalar->kind == LB_YAML_BROKEN)
        return lb_build_ok(build, LB_INVALID);
    if (scalar->kind != LB_YAML_SCALAR || scalar->type == LB_SCALAR_NULL) {
        lb_build_fail(build, LB_INVALID, scalar->loc, "'%.60s' is %s; it takes a node's name",
                      owner, lb_build_found(scalar, found));
        return false;
    }
    *length = strcspn(scalar->text, ".");
    *out = find_name(build->unit, scalar->text, *length);
    if (!out->named) {
        report_unknown(build, scalar, *length);
        return false;
    }
    if (!out->unit)
        return lb_build_ok(build, LB_INVALID); /* told where the file is included */
    out->named->is_used = true;
    if (out->named->what == LB_NAMES_INCLUDE) {
        lb_build_fail(build, LB_INVALID, scalar->loc,
                      "'%.60s' is an included file; name one of its nodes, %.60s/NODE",
                      out->named->name, out->named->name);
        return false;
    }
    return true;
}

static bool read_layer(lb_build *build, const lb_yaml_node *scalar, size_t length, lb_edge_ref *out)
{
    if (!scalar->text[length])
        return true;
    if (!scalar->text[length + 1])
        lb_build_fail(build, LB_INVALID, scalar->loc, "'%.60s' names no layer", scalar->text);
    else if (out->layer)
        lb_build_fail(build, LB_INVALID, scalar->loc,
                      "'%s' is one layer already ('%.60s'), so it has no others", out->name,
                      out->layer);
    else
        out->layer = scalar->text + length + 1;
    return out->layer == scalar->text + length + 1;
}

/* From a name that was found to what it comes to here. */
static bool settle(lb_build *build, const lb_yaml_node *scalar, const found_name *found,
                   size_t length, lb_edge_ref *out)
{
    lb_edge_ref edge = resolve(build, found, scalar->loc);
    char *name;

    out->node = edge.node;
    out->layer = edge.layer;
    if (edge.node == LB_BROKEN_EDGE)
        return lb_build_ok(build, LB_INVALID); /* told where that stands */
    if (!(name = lb_build_alloc(build, length + 1, 1)))
        return false;
    memcpy(name, scalar->text, length);
    out->name = name;
    if (read_layer(build, scalar, length, out))
        return true;
    out->node = LB_BROKEN_EDGE;
    return false;
}

bool lb_build_reference(lb_build *build, const lb_yaml_node *scalar, const char *owner,
                        lb_edge_ref *out)
{
    found_name found;
    size_t length = 0;

    *out = (lb_edge_ref){.node = LB_BROKEN_EDGE, .loc = scalar->loc};
    return find_reference(build, scalar, owner, &found, &length) &&
           settle(build, scalar, &found, length, out);
}

/* What can be told of an input of a part whatever is passed to it. */
static bool check_handed_on(lb_build *build, const lb_yaml_node *scalar, const lb_named *named,
                            const lb_input *input, const char *owner)
{
    bool is_good = named->kind == LB_KIND_NONE; /* its declaration is at fault */

    if (is_good)
        return lb_build_ok(build, LB_INVALID);
    if (named->kind != input->kind)
        lb_build_fail(build, LB_INVALID, scalar->loc, "'%s' takes %s; the input '%.60s' is %s",
                      input->name, lb_kind_text(input->kind), named->name,
                      lb_kind_text(named->kind));
    else if (named->is_optional && !input->optional && !input->list)
        lb_build_fail(build, LB_INVALID, scalar->loc,
                      "'%.60s' needs its input '%s', and '%.60s' may be missing", owner,
                      input->name, named->name);
    else
        return true;
    lb_note(build->diag, named->loc, "the part declares it here");
    return false;
}

bool lb_build_input(lb_build *build, const lb_yaml_node *scalar, const lb_input *input,
                    const char *owner, lb_edge_ref *out)
{
    found_name found;
    size_t length = 0;

    *out = (lb_edge_ref){.node = LB_BROKEN_EDGE, .loc = scalar->loc};
    if (!find_reference(build, scalar, input->name, &found, &length))
        return false;
    if (found.named->what == LB_NAMES_INPUT &&
        !check_handed_on(build, scalar, found.named, input, owner))
        return false;
    return settle(build, scalar, &found, length, out);
}

void lb_build_uses(lb_build *build)
{
    for (lb_unit_build *unit = build->units; unit && !build->is_over; unit = unit->next) {
        if (unit->body->part && !unit->uses)
            resolve_result(build, unit); /* of a part that nothing uses */
        for (int32_t i = 0; i < unit->body->named_count && !build->is_over; i++) {
            const found_name found = {unit, &unit->body->named[i], &unit->meant[i]};
            lb_unit_build *before = lb_build_enter(build, unit);

            if (found.named->what == LB_NAMES_USE || found.named->what == LB_NAMES_INPUT)
                resolve(build, &found, found.named->loc);
            lb_build_enter(build, before);
        }
    }
    build->unit = NULL;
}
