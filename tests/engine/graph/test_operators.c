/* tests/engine/graph/test_operators.c: operators of a shared object, built from the example. What
 * other files do is in tests/install/run. */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/graph/operators.h"
#include "engine/graph/run.h"
#include "lang/lang.h"
#include "nodes/nodes.h"

#define LB_LOUVER LB_OBJECTS "/louver.so"

static size_t count_of(const lb_op *const *list)
{
    size_t count = 0;

    while (list[count])
        count++;
    return count;
}

Test(operators, are_added_in_order)
{
    lb_operators *operators = NULL;
    lb_diag *diag = lb_diag_new();
    const lb_op *const *list;
    bool found = false;

    cr_assert_eq(lb_operators_new(lb_nodes_registry, &operators), LB_OK);
    cr_expect_eq(count_of(lb_operators_list(operators)), count_of(lb_nodes_registry));
    cr_assert_eq(lb_operators_load(operators, diag, LB_NOWHERE, LB_LOUVER), LB_OK);
    list = lb_operators_list(operators);
    cr_expect_eq(count_of(list), count_of(lb_nodes_registry) + 1);
    for (size_t i = 0; list[i]; i++) {
        found = found || strcmp(list[i]->name, "louver") == 0;
        cr_expect(i == 0 || strcmp(list[i - 1]->name, list[i]->name) < 0, "%s", list[i]->name);
    }
    cr_expect(found);
    cr_expect_eq(lb_operators_load(operators, diag, LB_NOWHERE, LB_LOUVER), LB_INVALID);
    cr_expect_eq(count_of(lb_operators_list(operators)), count_of(lb_nodes_registry) + 1);
    lb_operators_free(&operators);
    lb_diag_free(&diag);
    cr_expect_eq(lb_memory_used(), 0);
}

/* What a frame of it is known by, from the object at `path`; and one pixel below its gap. */
static lb_key key_of(const char *path, float *pixel)
{
    static const char text[] = "lampblack: 1\n"
                               "frame: {size: [4, 4], rate: 24, range: [1, 1]}\n"
                               "nodes:\n"
                               "  a: {op: solid, color: [0.5, 0.25, 0.125]}\n"
                               "  b: {op: louver, image: a, pitch: 4, gap: 2, through: 0.5}\n"
                               "outputs: {o: {image: b, file: o.exr}}\n";
    lb_operators *operators = NULL;
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = NULL;
    lb_run *run = NULL;
    lb_run_options options = {.diag = diag, .scale = 1};
    lb_want want = {0};
    lb_value value = {0};
    lb_key key = {0};

    cr_assert_eq(lb_operators_new(lb_nodes_registry, &operators), LB_OK);
    cr_assert_eq(lb_operators_load(operators, diag, LB_NOWHERE, path), LB_OK);
    cr_assert_eq(lb_lang_parse(diag, "a.yaml", text, sizeof text - 1, lb_operators_list(operators),
                               NULL, 0, &graph),
                 LB_OK);
    want.ref = graph->outputs[0].image;
    cr_assert_eq(lb_run_new(graph, &options, &run), LB_OK);
    cr_assert_eq(lb_run_frame(run, 1, &want, 1, &value, &key), LB_OK);
    *pixel = lb_plane_at(lb_image_find(value.image, "G"), 1, 3);
    lb_value_unref(&value);
    lb_run_free(&run);
    lb_graph_free(&graph);
    lb_operators_free(&operators);
    lb_diag_free(&diag);
    return key;
}

/* One byte more at the end of the file changes nothing that it does, but it is another file. */
Test(operators, file_is_part_of_the_key)
{
    char path[] = "/tmp/lampblack-object-XXXXXX", command[1024];
    int fd = mkstemp(path);
    lb_key first, again, other;
    float pixel;

    cr_assert_geq(fd, 0);
    close(fd);
    first = key_of(LB_LOUVER, &pixel);
    cr_expect(pixel == 0.125f);
    again = key_of(LB_LOUVER, &pixel);
    cr_expect(lb_key_equal(first, again));
    snprintf(command, sizeof command, "cp %s %s", LB_LOUVER, path);
    cr_assert_eq(system(command), 0);
    again = key_of(path, &pixel);
    cr_expect(lb_key_equal(first, again), "a copy makes the same");
    snprintf(command, sizeof command, "printf x >>%s", path);
    cr_assert_eq(system(command), 0);
    other = key_of(path, &pixel);
    cr_expect(pixel == 0.125f);
    cr_expect(!lb_key_equal(first, other));
    unlink(path);
}

Test(operators, survive_failing_allocations)
{
    bool failed = true;

    for (int64_t n = 1; failed && n < 100; n++) {
        lb_operators *operators = NULL;
        lb_status status;

        lb_memory_fail_at(n);
        status = lb_operators_new(lb_nodes_registry, &operators);
        if (status == LB_OK)
            status = lb_operators_load(operators, NULL, LB_NOWHERE, LB_LOUVER);
        failed = lb_memory_fail_left() == 0;
        lb_memory_fail_at(0);
        cr_expect_eq(status, failed ? LB_MEMORY : LB_OK, "allocation %d", (int)n);
        lb_operators_free(&operators);
        cr_expect_eq(lb_memory_used(), 0);
    }
    cr_expect(!failed);
}
