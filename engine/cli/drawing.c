/* engine/cli/drawing.c: what is drawn of a graph. */
#include "engine/cli/drawing.h"

#include <string.h>

#include "engine/graph/param.h"

typedef struct maker {
    lb_drawing *drawing;
    int32_t *box_of_unit; /* of a use of a part that is one box; -1: it is none */
    int32_t *box_of_node;
    int32_t *last_line; /* by box: the last line out of it, from 1 */
    int32_t *line_before;
} maker;

/* The outermost use of a part that a node lies in; -1: it lies in none. */
static int32_t part_of(const lb_graph *graph, const lb_node *node)
{
    int32_t part = -1;

    for (int32_t unit = graph->unit_count > 0 ? node->unit : -1; unit >= 0;
         unit = graph->units[unit].parent)
        if (graph->units[unit].part)
            part = unit;
    return part;
}

static int32_t add_box(maker *m, const lb_drawing_box *box)
{
    int32_t at = m->drawing->layers.box_count++;

    m->drawing->boxes[at] = *box;
    return at;
}

static void add_node(maker *m, int32_t index, bool opens_parts)
{
    const lb_graph *graph = m->drawing->graph;
    const lb_node *node = &graph->nodes[index];
    int32_t unit = opens_parts ? -1 : part_of(graph, node);
    lb_drawing_box box = {.name = node->name,
                          .detail = node->op->name,
                          .summary = node->op->summary,
                          .kind = node->op->result,
                          .node = index};

    if (unit >= 0 && m->box_of_unit[unit] >= 0) {
        m->box_of_node[index] = m->box_of_unit[unit];
        return;
    }
    if (unit >= 0) {
        const lb_graph_unit *part = &graph->units[unit];

        box = (lb_drawing_box){.name = part->name,
                               .detail = part->part,
                               .kind = part->result >= 0 ? graph->nodes[part->result].op->result
                                                         : node->op->result,
                               .node = part->result >= 0 ? part->result : index};
    }
    m->box_of_node[index] = add_box(m, &box);
    if (unit >= 0)
        m->box_of_unit[unit] = m->box_of_node[index];
}

static bool same_text(const char *a, const char *b)
{
    return a == b || (a && b && strcmp(a, b) == 0);
}

/* A line, unless there is one like it: nodes within a part may take the same. */
static void add_line(maker *m, const lb_edge_ref *edge, int32_t to, const char *input,
                     bool may_repeat)
{
    lb_drawing *d = m->drawing;
    lb_drawing_line line = {
        .kind = d->graph->nodes[edge->node].op->result, .input = input, .layer = edge->layer};
    int32_t from = m->box_of_node[edge->node], at = d->layers.line_count;

    if (from == to)
        return;
    for (int32_t k = may_repeat ? 0 : m->last_line[from]; k > 0; k = m->line_before[k - 1])
        if (d->layers.lines[k - 1].to == to && same_text(d->lines[k - 1].input, input) &&
            same_text(d->lines[k - 1].layer, edge->layer))
            return;
    d->layers.lines[at] = (lb_layer_line){.from = from, .to = to};
    d->lines[at] = line;
    m->line_before[at] = m->last_line[from];
    m->last_line[from] = ++d->layers.line_count;
}

/* A slot's name where the operator has several inputs; lists and records have many of one name. */
static const char *slot_name(const lb_op *op, int32_t slot)
{
    int32_t count = lb_inputs_count(op->inputs);

    return count > 1 && slot < count && !op->inputs[slot].list ? op->inputs[slot].name : NULL;
}

static void add_lines(maker *m, int32_t index)
{
    const lb_node *node = &m->drawing->graph->nodes[index];
    int32_t to = m->box_of_node[index];
    bool is_itself = m->drawing->boxes[to].detail == node->op->name;

    for (int32_t k = 0; k < node->slot_count; k++)
        if (node->slots[k].node >= 0)
            add_line(m, &node->slots[k], to, is_itself ? slot_name(node->op, k) : NULL, is_itself);
}

/* Marks what outputs need, from the outputs on. */
static lb_status mark_used(maker *m)
{
    const lb_graph *graph = m->drawing->graph;
    size_t room = (size_t)graph->node_count + (size_t)graph->output_count + 1;
    int32_t *stack = lb_arena_alloc(m->drawing->arena, room, sizeof *stack);
    bool *is_seen = lb_arena_alloc(m->drawing->arena, room, sizeof *is_seen);
    int32_t count = 0;

    if (!stack || !is_seen)
        return LB_MEMORY;
    for (int32_t i = 0; i < graph->output_count; i++)
        if (graph->outputs[i].image.node >= 0)
            stack[count++] = graph->outputs[i].image.node;
    for (int32_t i = 0; i < count; i++)
        is_seen[stack[i]] = true;
    while (count > 0) {
        int32_t index = stack[--count];
        const lb_node *node = &graph->nodes[index];

        m->drawing->boxes[m->box_of_node[index]].is_used = true;
        for (int32_t i = 0; i < node->slot_count; i++) {
            int32_t from = node->slots[i].node;

            if (from >= 0 && !is_seen[from]) {
                is_seen[from] = true;
                stack[count++] = from;
            }
        }
    }
    return LB_OK;
}

static lb_status make_room(maker *m)
{
    lb_drawing *d = m->drawing;
    size_t boxes = (size_t)d->graph->node_count + (size_t)d->graph->output_count + 1;
    size_t lines = (size_t)d->graph->output_count + 1;
    size_t units = (size_t)d->graph->unit_count + 1;

    for (int32_t i = 0; i < d->graph->node_count; i++)
        lines += (size_t)d->graph->nodes[i].slot_count;
    d->boxes = lb_arena_alloc(d->arena, boxes, sizeof *d->boxes);
    d->lines = lb_arena_alloc(d->arena, lines, sizeof *d->lines);
    d->layers.boxes = lb_arena_alloc(d->arena, boxes, sizeof *d->layers.boxes);
    d->layers.lines = lb_arena_alloc(d->arena, lines, sizeof *d->layers.lines);
    m->box_of_unit = lb_arena_alloc(d->arena, units, sizeof *m->box_of_unit);
    m->box_of_node = lb_arena_alloc(d->arena, boxes, sizeof *m->box_of_node);
    m->last_line = lb_arena_alloc(d->arena, boxes, sizeof *m->last_line);
    m->line_before = lb_arena_alloc(d->arena, lines, sizeof *m->line_before);
    if (!d->boxes || !d->lines || !d->layers.boxes || !d->layers.lines || !m->box_of_unit ||
        !m->box_of_node || !m->last_line || !m->line_before)
        return LB_MEMORY;
    memset(m->box_of_unit, 0xff, units * sizeof *m->box_of_unit);
    return LB_OK;
}

lb_status lb_drawing_make(const lb_graph *graph, bool opens_parts, lb_drawing *out)
{
    maker m = {.drawing = out};
    lb_status status;

    *out = (lb_drawing){.arena = lb_arena_new(), .graph = graph};
    if (!out->arena)
        return LB_MEMORY;
    if ((status = make_room(&m)) != LB_OK)
        return status;
    for (int32_t i = 0; i < graph->node_count; i++)
        add_node(&m, i, opens_parts);
    for (int32_t i = 0; i < graph->node_count; i++)
        add_lines(&m, i);
    for (int32_t i = 0; i < graph->output_count; i++) {
        const lb_output *output = &graph->outputs[i];
        const char *slash = strrchr(output->file, '/');
        lb_drawing_box box = {.name = output->name,
                              .detail = slash ? slash + 1 : output->file,
                              .node = -1,
                              .is_used = true};

        add_line(&m, &output->image, add_box(&m, &box), NULL, false);
    }
    return mark_used(&m);
}

void lb_drawing_clear(lb_drawing *drawing)
{
    for (int32_t i = 0; drawing->boxes && i < drawing->layers.box_count; i++)
        lb_free(drawing->boxes[i].thumbnail);
    lb_arena_free(&drawing->arena);
    *drawing = (lb_drawing){0};
}

/* ---- DOT ---- */

static void put_quoted(lb_text *out, const char *text)
{
    for (; *text; text++) {
        if (*text == '"' || *text == '\\')
            lb_text_put(out, "\\");
        lb_text_add(out, text, 1);
    }
}

void lb_drawing_dot(const lb_drawing *drawing, lb_text *out)
{
    static const char *const styles[] = {[LB_KIND_IMAGE] = "solid",
                                         [LB_KIND_SCENE] = "bold",
                                         [LB_KIND_MATERIAL] = "dashed",
                                         [LB_KIND_TEXTURE] = "dotted"};

    lb_text_put(out, "digraph lampblack {\n  node [shape=box];\n");
    for (int32_t i = 0; i < drawing->layers.box_count; i++) {
        const lb_drawing_box *box = &drawing->boxes[i];

        lb_text_printf(out, "  %s%d [label=\"", box->node < 0 ? "o" : "n", (int)i);
        put_quoted(out, box->name);
        lb_text_put(out, "\\n");
        put_quoted(out, box->detail);
        lb_text_printf(out, "\"%s];\n",
                       box->node < 0  ? ", peripheries=2"
                       : box->is_used ? ""
                                      : ", style=dashed");
    }
    for (int32_t i = 0; i < drawing->layers.line_count; i++) {
        const lb_layer_line *line = &drawing->layers.lines[i];
        const lb_drawing_line *what = &drawing->lines[i];

        lb_text_printf(out, "  n%d -> %s%d [style=%s", (int)line->from,
                       drawing->boxes[line->to].node < 0 ? "o" : "n", (int)line->to,
                       styles[what->kind]);
        if (what->layer || what->input) {
            lb_text_put(out, ", label=\"");
            put_quoted(out, what->input ? what->input : "");
            lb_text_put(out, what->layer ? "." : "");
            put_quoted(out, what->layer ? what->layer : "");
            lb_text_put(out, "\"");
        }
        lb_text_put(out, "];\n");
    }
    lb_text_put(out, "}\n");
}
