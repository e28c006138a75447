/* tests/nodes/thread_nodes.c: every operator on pictures, on several threads at once, from several
 * threads at once. For ThreadSanitizer; the bits are compared too. */
#include <pthread.h>

#include "tests/support/op_run.h"

extern const lb_op lb_op_blur, lb_op_cdl, lb_op_colorspace, lb_op_composite, lb_op_crop,
    lb_op_defocus, lb_op_exposure, lb_op_glow, lb_op_gradient, lb_op_shimmer, lb_op_solid,
    lb_op_text, lb_op_transform;

static op_run on_noise(const lb_op *op, int32_t threads, int count)
{
    op_run r = op_new(op, threads);

    for (int i = 0; i < count; i++)
        op_connect(&r, i,
                   op_noise_image((lb_box){0, 0, 64, 48}, (lb_box){-6, 2, 70, 50},
                                  "A B G R depth.Z", (uint32_t)i));
    return r;
}

static void add_stop(op_run *r, double red)
{
    const lb_param *fields = lb_params_find(r->op->params, "stops")->fields;
    lb_datum color = {.kind = LB_DATUM_NUMBERS, .count = 4, .numbers = {red, 0.5, 0.25, 1}};

    op_store_datum(r, fields, op_record(r, "stops"), "color", &color);
}

#define CASES 13

static op_run make(int which, int32_t threads)
{
    op_run r;

    switch (which) {
    case 0:
        return op_new(&lb_op_solid, threads);
    case 1:
        r = op_new(&lb_op_gradient, threads);
        add_stop(&r, 0);
        add_stop(&r, 1);
        return r;
    case 2:
        r = op_new(&lb_op_text, threads);
        op_text(&r, "text", "Kiln\nHours");
        op_set(&r, "size", 20);
        return r;
    case 3:
        return on_noise(&lb_op_blur, threads, 1);
    case 4:
        r = on_noise(&lb_op_glow, threads, 2);
        op_set(&r, "threshold", 0.2);
        return r;
    case 5:
        return on_noise(&lb_op_shimmer, threads, 2);
    case 6:
        r = on_noise(&lb_op_defocus, threads, 1);
        op_set(&r, "focus", 4);
        op_set(&r, "f-number", 1);
        op_set(&r, "max-radius", 6);
        return r;
    case 7:
        r = on_noise(&lb_op_transform, threads, 1);
        op_set(&r, "rotate", 20);
        return r;
    case 8:
        r = on_noise(&lb_op_crop, threads, 1);
        op_set4(&r, "box", 4, 3.5, 4.5, 40, 30);
        return r;
    case 9:
        return on_noise(&lb_op_composite, threads, 3);
    case 10:
        r = on_noise(&lb_op_cdl, threads, 1);
        op_set(&r, "power", 1.5);
        return r;
    case 11:
        r = on_noise(&lb_op_exposure, threads, 1);
        op_set(&r, "stops", 0.3);
        return r;
    default:
        r = on_noise(&lb_op_colorspace, threads, 1);
        op_text(&r, "to", "srgb");
        return r;
    }
}

/* All of them with that many threads; the pictures are the caller's. */
static void run_all(int32_t threads, lb_image *images[CASES])
{
    for (int i = 0; i < CASES; i++) {
        op_run r = make(i, threads);

        if (!(images[i] = op_run_all(&r))) {
            lb_diag_print(r.diag, stderr, false);
            op_die("failed", r.op->name);
        }
        op_free(&r);
    }
}

static void *beside(void *images)
{
    run_all(2, images);
    return NULL;
}

int main(void)
{
    lb_image *alone[CASES], *shared[3][CASES];
    pthread_t threads[3];
    int wrong = 0;

    run_all(1, alone);
    for (int t = 0; t < 3; t++)
        if (pthread_create(&threads[t], NULL, beside, shared[t]) != 0)
            op_die("no thread", "main");
    for (int t = 0; t < 3; t++)
        pthread_join(threads[t], NULL);
    for (int t = 0; t < 3; t++)
        for (int i = 0; i < CASES; i++) {
            if (!op_same(alone[i], shared[t][i])) {
                fprintf(stderr, "case %d is not the same\n", i);
                wrong++;
            }
            lb_image_unref(&shared[t][i]);
        }
    for (int i = 0; i < CASES; i++)
        lb_image_unref(&alone[i]);
    return wrong ? 1 : 0;
}
