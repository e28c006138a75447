/* tests/support/variant.c: a shared object with one operator that passes its input on, built with
 * one thing changed, which VARIANT_... names; tests/engine/graph/test_objects.c says what each
 * comes to. */
#include "engine/graph/object.h"

#if defined VARIANT_OLDER
#undef LB_OBJECT_ABI
#define LB_OBJECT_ABI 2
#elif defined VARIANT_NEWER
#undef LB_OBJECT_ABI
#define LB_OBJECT_ABI 77
#elif defined VARIANT_FEWER /* built when there were two functions fewer */
#undef LB_OBJECT_SIZES
#define LB_OBJECT_SIZES                                                                            \
    .abi = LB_OBJECT_ABI, .op_size = sizeof(lb_op), .layout = LB_OBJECT_LAYOUT,                    \
    .host_size = sizeof(lb_host) - 2 * sizeof(void (*)(void))
#elif defined VARIANT_MORE
#undef LB_OBJECT_SIZES
#define LB_OBJECT_SIZES                                                                            \
    .abi = LB_OBJECT_ABI, .op_size = sizeof(lb_op), .layout = LB_OBJECT_LAYOUT,                    \
    .host_size = sizeof(lb_host) + sizeof(void (*)(void))
#elif defined VARIANT_TABLE
#undef LB_OBJECT_SIZES
#define LB_OBJECT_SIZES                                                                            \
    .abi = LB_OBJECT_ABI, .op_size = sizeof(lb_op) + 8, .layout = LB_OBJECT_LAYOUT,                \
    .host_size = sizeof(lb_host)
#elif defined VARIANT_LAYOUT
#undef LB_OBJECT_LAYOUT
#define LB_OBJECT_LAYOUT 1
#endif

typedef struct record {
    int32_t node;
    double by;
} record;
typedef struct variant_params {
    double by;
    int how;
    const char *file;
    lb_records list;
} variant_params;

/* What stands here is not used by every variant. */
__attribute__((unused)) static const char *const names[] = {"one", "two", NULL};
__attribute__((unused)) static const lb_param fields[] = {
#ifdef VARIANT_REFERENCE
    LB_PARAM(record, node, LB_REF, .kind = LB_KIND_MATERIAL),
#endif
    LB_PARAM(record, by, LB_NUMBER, .initial = {1}),
    {0}};

static const lb_input inputs[] = {
#ifdef VARIANT_TAKES_SCENE
    {"stage", LB_KIND_SCENE, .doc = "A scene."},
#elif defined VARIANT_TAKES_TEXTURE
    {"cloth", LB_KIND_TEXTURE, .doc = "A texture."},
#elif defined VARIANT_LIST_FIRST
    {"images", LB_KIND_IMAGE, .list = true, .doc = "Images."},
#elif defined VARIANT_TWICE
    {"image", LB_KIND_IMAGE, .doc = "An image."},
#elif defined VARIANT_INPUT_NAME
    {"Image", LB_KIND_IMAGE, .doc = "An image."},
#elif defined VARIANT_BOTH
    {"by", LB_KIND_IMAGE, .doc = "An image."},
#endif
    {"image", LB_KIND_IMAGE, .doc = "An image."},
    {0}};

static const lb_param params[] = {
#ifdef VARIANT_CHOICE
    LB_PARAM(variant_params, how, LB_CHOICE),
#elif defined VARIANT_CHOSEN
    LB_PARAM(variant_params, how, LB_CHOICE, .names = names, .initial = {2}),
#elif defined VARIANT_FILE
    LB_PARAM(variant_params, file, LB_FILE),
#elif defined VARIANT_RECORDS
    LB_PARAM(variant_params, list, LB_RECORDS, .fields = fields),
#elif defined VARIANT_REFERENCE
    LB_PARAM(variant_params, list, LB_RECORDS, .fields = fields, .fields_size = sizeof(record)),
#elif defined VARIANT_TYPE
    LB_PARAM(variant_params, by, (lb_type)99),
#elif defined VARIANT_OUTSIDE
    {.name = "by", .offset = sizeof(variant_params) - 4, .type = LB_NUMBER},
#elif defined VARIANT_PIXELS
    LB_PARAM(variant_params, how, LB_INT, .unit = LB_PIXELS),
#elif defined VARIANT_RANGE
    LB_PARAM(variant_params, by, LB_NUMBER, .min = 2, .max = 1),
#endif
    LB_PARAM(variant_params, by, LB_NUMBER, .initial = {1}),
    {0}};

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    lb_status status = lb_task_image(task, &out->image);
    const lb_image *in = task->inputs[0].image;

    for (int32_t i = 0; status == LB_OK && i < lb_image_count(in); i++)
        if (lb_task_wants(task, lb_image_name(in, i)))
            status = lb_task_pass(task, out->image, lb_image_name(in, i), lb_image_plane(in, i));
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

#ifdef VARIANT_POINTS
static const lb_points points = {0};
#endif

static const lb_op variant = {.name = "variant",
                              .summary = "Passes its input on",
                              .group = "probe",
                              .version = 1,
                              .inputs = inputs,
                              .params = params,
                              .params_size = sizeof(variant_params),
#ifdef VARIANT_MAKES_SCENE
                              .result = LB_KIND_SCENE,
#elif defined VARIANT_MAKES_NOTHING
                              .result = LB_KIND_NONE,
#else
                              .result = LB_KIND_IMAGE,
#endif
#ifdef VARIANT_POINTS
                              .points = &points,
#endif
                              .evaluate = evaluate};

#ifdef VARIANT_SAME
LB_OPERATORS(&variant, &variant)
#else
LB_OPERATORS(&variant)
#endif
