/* tests/nodes/scene/scene_run.h: runs operators that make scenes, materials and textures. */
#ifndef LB_TESTS_SCENE_RUN_H
#define LB_TESTS_SCENE_RUN_H

#include "nodes/nodes.h"
#include "tests/support/op_run.h"

#define SCENE_SLOTS 16

/* The operator of that name, as the program finds it. */
static inline const lb_op *scene_op(const char *name)
{
    for (const lb_op *const *op = lb_nodes_registry; *op; op++)
        if (strcmp((*op)->name, name) == 0)
            return *op;
    op_die("there is no such operator", name);
    return NULL;
}

/* What the run has said so far; the text is the next call's. */
static inline const char *scene_messages(op_run *r)
{
    static char text[8192];
    FILE *out = fmemopen(text, sizeof text, "w");

    text[0] = 0;
    if (out) {
        lb_diag_print(r->diag, out, false);
        fclose(out);
    }
    return text;
}

/* check, fingerprint, evaluate with `count` values in the slots. */
static inline lb_status scene_run(op_run *r, const lb_value *values, int32_t count, lb_value *out)
{
    lb_desc descs[SCENE_SLOTS] = {{0}};
    lb_value inputs[SCENE_SLOTS] = {{0}};
    lb_call call = op_call(r);
    lb_hasher *hasher = lb_hasher_new();
    lb_task task;

    for (int32_t i = 0; i < count; i++) {
        inputs[i] = values[i];
        descs[i].kind = values[i].kind;
    }
    call.inputs = descs;
    call.input_count = count > call.input_count ? count : call.input_count;
    task = (lb_task){.call = call, .pool = r->pool, .inputs = inputs};
    *out = (lb_value){.kind = LB_KIND_NONE};
    r->status = r->op->check ? r->op->check(&call) : LB_OK;
    if (r->status == LB_OK && r->op->fingerprint)
        r->status = r->op->fingerprint(&call, hasher);
    lb_hasher_free(&hasher);
    if (r->status == LB_OK && (r->status = r->op->evaluate(&task, out)) == LB_OK)
        out->kind = r->op->result;
    return r->status;
}

/* The same, ending the test if it fails. */
static inline lb_value scene_make(op_run *r, const lb_value *values, int32_t count)
{
    lb_value out;

    if (scene_run(r, values, count, &out) != LB_OK)
        op_die(scene_messages(r), r->op->name);
    return out;
}

#endif
