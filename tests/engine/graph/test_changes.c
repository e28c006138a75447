/* tests/engine/graph/test_changes.c: where two graphs begin to differ. What the answers have to be
 * follows from what was changed in the second graph. */
#include <criterion/criterion.h>
#include <stdlib.h>

#include "engine/base/text.h"
#include "engine/graph/changes.h"
#include "tests/support/fake_ops.h"

typedef struct pair {
    lb_diag *diag;
    lb_graph *graphs[2];
    lb_run *runs[2];
    lb_changes changes;
} pair;

static pair pair_new(void)
{
    pair p = {.diag = lb_diag_new()};

    for (int i = 0; i < 2; i++)
        p.graphs[i] = fake_graph(16, 8, 16);
    return p;
}

static int32_t ramp(lb_graph *graph, const char *name, double gain)
{
    int32_t node = fake_node(graph, name, &fake_ramp, NULL, 0);

    ((ramp_params *)graph->nodes[node].params)->gain = gain;
    return node;
}

static int32_t after(lb_graph *graph, const char *name, const lb_op *op, int32_t input)
{
    return fake_node(graph, name, op, &input, 1);
}

/* Whether the changes between both graphs' last nodes are these: "a b", in this order. */
static void expect(pair *p, int32_t frame, bool same, const char *names)
{
    lb_changes_side sides[2];
    lb_text found = {0};

    for (int i = 0; i < 2; i++) {
        lb_run_options options = {.diag = p->diag};

        cr_assert_eq(lb_run_new(p->graphs[i], &options, &p->runs[i]), LB_OK);
        sides[i] = (lb_changes_side){p->runs[i], {.node = p->graphs[i]->node_count - 1}};
    }
    cr_assert_eq(lb_changes_find(&sides[0], &sides[1], frame, p->diag, &p->changes), LB_OK);
    lb_text_put(&found, "");
    for (int32_t i = 0; i < p->changes.count; i++)
        lb_text_printf(&found, "%s%s", i ? " " : "", p->graphs[1]->nodes[p->changes.nodes[i]].name);
    cr_expect_eq(p->changes.same, same);
    cr_expect_str_eq(found.bytes ? found.bytes : "", names);
    lb_text_clear(&found);
}

static void pair_free(pair *p)
{
    cr_expect_eq(seen.ramps + seen.sums + seen.spreads + seen.blends, 0, "no pixel is made");
    cr_expect_eq(lb_diag_count(p->diag, LB_ERROR), 0);
    lb_changes_clear(&p->changes);
    for (int i = 0; i < 2; i++) {
        lb_run_free(&p->runs[i]);
        lb_graph_free(&p->graphs[i]);
    }
    lb_diag_free(&p->diag);
}

/* ramp -> one -> two, with other names and a node that nobody reads. */
Test(changes, names_do_not_count)
{
    pair p = pair_new();

    after(p.graphs[0], "two", &fake_spread,
          after(p.graphs[0], "one", &fake_sum, ramp(p.graphs[0], "ramp", 2)));
    ramp(p.graphs[1], "idle", 5);
    after(p.graphs[1], "c", &fake_spread,
          after(p.graphs[1], "b", &fake_sum, ramp(p.graphs[1], "a", 2)));
    expect(&p, 1, true, "");
    pair_free(&p);
}

Test(changes, a_parameter)
{
    pair p = pair_new();

    after(p.graphs[0], "two", &fake_spread,
          after(p.graphs[0], "one", &fake_sum, ramp(p.graphs[0], "ramp", 2)));
    after(p.graphs[1], "two", &fake_spread,
          after(p.graphs[1], "one", &fake_sum, ramp(p.graphs[1], "ramp", 3)));
    expect(&p, 1, false, "ramp");
    pair_free(&p);
}

/* A node is put between, and in the other direction taken out: then its reader is the first. */
Test(changes, a_node_between)
{
    pair p = pair_new(), q = pair_new();

    for (int i = 0; i < 2; i++) {
        pair *to = i ? &q : &p;
        int32_t first = ramp(to->graphs[i], "ramp", 1), second = ramp(to->graphs[!i], "ramp", 1);

        after(to->graphs[i], "end", &fake_spread, first);
        after(to->graphs[!i], "end", &fake_spread,
              after(to->graphs[!i], "between", &fake_sum, second));
    }
    expect(&p, 1, false, "between");
    pair_free(&p);
    expect(&q, 1, false, "end");
    pair_free(&q);
}

/* The last node is gone: what is shown now was there before. */
Test(changes, another_node_is_shown)
{
    pair p = pair_new();

    after(p.graphs[0], "end", &fake_sum, ramp(p.graphs[0], "ramp", 1));
    ramp(p.graphs[1], "ramp", 1);
    expect(&p, 1, false, "");
    pair_free(&p);
}

/* The input is a curve: what is read of it at frame 9 is another picture than at 10, but only the
 * reader of other frames is new. */
Test(changes, other_times)
{
    static const lb_op *const ops[] = {&fake_spread, &fake_blend};
    pair p = pair_new(), q = pair_new();
    static lb_binding binding;

    binding = bind_frame(&ramp_table[0]);
    for (int i = 0; i < 2; i++) {
        int32_t node = ramp(p.graphs[i], "ramp", 1);

        p.graphs[i]->nodes[node].bindings = &binding;
        p.graphs[i]->nodes[node].binding_count = 1;
        after(p.graphs[i], "end", &fake_sum, after(p.graphs[i], "reader", ops[i], node));
    }
    expect(&p, 10, false, "reader");
    pair_free(&p);

    /* And when the curve is one in the new graph only, it is. */
    for (int i = 0; i < 2; i++) {
        int32_t node = ramp(q.graphs[i], "ramp", 10);

        q.graphs[i]->nodes[node].bindings = &binding;
        q.graphs[i]->nodes[node].binding_count = i;
        after(q.graphs[i], "end", &fake_blend, node);
    }
    expect(&q, 10, false, "ramp");
    pair_free(&q);
}

Test(changes, no_room)
{
    pair p = pair_new();
    lb_changes_side sides[2];
    int64_t n = 1;

    for (int i = 0; i < 2; i++) {
        lb_run_options options = {.diag = p.diag};

        after(p.graphs[i], "end", &fake_sum, ramp(p.graphs[i], "ramp", i));
        cr_assert_eq(lb_run_new(p.graphs[i], &options, &p.runs[i]), LB_OK);
        sides[i] = (lb_changes_side){p.runs[i], {.node = 1}};
    }
    for (bool failed = true; failed; n++) {
        lb_diag *diag = lb_diag_new();
        lb_changes changes;
        lb_status status;

        lb_memory_fail_at(n);
        status = lb_changes_find(&sides[0], &sides[1], 1, diag, &changes);
        failed = lb_memory_fail_left() == 0;
        lb_memory_fail_at(0);
        cr_expect(status == LB_OK || (failed && status == LB_MEMORY), "allocation %d", (int)n);
        cr_expect(failed || (changes.count == 1 && changes.nodes[0] == 0));
        lb_changes_clear(&changes);
        lb_diag_free(&diag);
    }
    cr_expect(n > 8);
    pair_free(&p);
}
