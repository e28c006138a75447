/* engine/scene/scene.c: making and sharing trees of items. */
#include "engine/scene/scene.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <string.h>

#include "engine/base/memory.h"
#include "engine/base/text.h"

#define MAX_ITEMS (1 << 24)

const char *const lb_light_type_names[] = {"point", "spot", "directional", "ambient", NULL};
const char *const lb_decay_names[] = {"none", "linear", "quadratic", NULL};
const char *const lb_item_kind_names[] = {"group", "mesh", "light", "camera", NULL};
const char *const lb_interpolation_names[] = {"step", "linear", "cubicspline", NULL};

lb_status lb_scene_new(lb_scene **out)
{
    lb_scene *scene = lb_alloc(1, sizeof *scene);

    *out = scene;
    if (!scene)
        return LB_MEMORY;
    lb_refs_init(&scene->refs);
    return LB_OK;
}

lb_scene *lb_scene_ref(const lb_scene *scene)
{
    lb_scene *shared = (lb_scene *)scene;

    if (shared)
        lb_refs_take(&shared->refs);
    return shared;
}

static void clear_item(lb_item *item)
{
    lb_free(item->name);
    lb_free(item->data_name);
    lb_mesh_unref(&item->mesh);
    lb_material_unref(&item->material);
}

void lb_scene_unref(lb_scene **scene)
{
    lb_scene *old = *scene;

    *scene = NULL;
    if (!old || !lb_refs_drop(&old->refs))
        return;
    for (size_t i = 0; i < old->item_count; i++)
        clear_item(&old->items[i]);
    for (size_t i = 0; i < old->curve_count; i++) {
        lb_free(old->curves[i].times);
        lb_free(old->curves[i].values);
    }
    for (size_t i = 0; i < old->fact_count; i++) {
        lb_free(old->facts[i].where);
        lb_free(old->facts[i].what);
    }
    lb_free(old->items);
    lb_free(old->curves);
    lb_free(old->facts);
    lb_free(old);
}

lb_trs lb_trs_identity(void)
{
    return (lb_trs){{0, 0, 0}, {0, 0, 0, 1}, {1, 1, 1}};
}

lb_status lb_scene_add_item(lb_scene *scene, const char *name, const char *data_name,
                            lb_item_kind kind, int32_t parent, lb_item **out)
{
    lb_item *item;

    *out = NULL;
    if (scene->item_count >= MAX_ITEMS)
        return LB_LIMIT;
    if (parent < -1 || parent >= (int32_t)scene->item_count)
        return LB_INVALID;
    if (!lb_grow((void **)&scene->items, &scene->item_capacity, scene->item_count,
                 sizeof *scene->items))
        return LB_MEMORY;
    item = &scene->items[scene->item_count];
    memset(item, 0, sizeof *item);
    item->name = lb_strdup(name ? name : "");
    item->data_name = lb_strdup(data_name ? data_name : "");
    if (!item->name || !item->data_name) {
        clear_item(item);
        return LB_MEMORY;
    }
    item->kind = kind;
    item->parent = parent;
    item->trs = lb_trs_identity();
    item->matrix = lb_mat4_identity();
    item->visible = true;
    item->light.range = INFINITY;
    scene->item_count++;
    *out = item;
    return LB_OK;
}

lb_status lb_scene_of_item(const char *name, const char *data_name, lb_item_kind kind,
                           lb_scene **out, lb_item **item)
{
    lb_status status;

    *item = NULL;
    if ((status = lb_scene_new(out)))
        return status;
    if ((status = lb_scene_add_item(*out, name, data_name, kind, -1, item)))
        lb_scene_unref(out);
    return status;
}

static int32_t curve_width(lb_curve_target target)
{
    return target == LB_CURVE_ROTATION ? 4 : 3;
}

lb_status lb_scene_add_curve(lb_scene *scene, const lb_curve *curve)
{
    lb_status status = LB_OK;
    size_t at;

    if (curve->key_count < 1 || !curve->times || !curve->values || curve->item < 0 ||
        (size_t)curve->item >= scene->item_count)
        status = LB_INVALID;
    else if (!lb_grow((void **)&scene->curves, &scene->curve_capacity, scene->curve_count,
                      sizeof *scene->curves))
        status = LB_MEMORY;
    if (status) {
        lb_free(curve->times);
        lb_free(curve->values);
        return status;
    }
    /* Kept in the order of the items, those of one item as they came: lb_scene_pose walks both. */
    for (at = scene->curve_count; at > 0 && scene->curves[at - 1].item > curve->item; at--)
        ;
    memmove(&scene->curves[at + 1], &scene->curves[at],
            (scene->curve_count - at) * sizeof *scene->curves);
    scene->curves[at] = *curve;
    scene->curve_count++;
    scene->duration_s = fmax(scene->duration_s, curve->times[curve->key_count - 1]);
    return LB_OK;
}

static lb_status add_fact(lb_scene *scene, lb_fact_kind kind, const char *where, char *what)
{
    char *place = lb_strdup(where ? where : "");

    if (!place || !what ||
        !lb_grow((void **)&scene->facts, &scene->fact_capacity, scene->fact_count,
                 sizeof *scene->facts)) {
        lb_free(place);
        lb_free(what);
        return LB_MEMORY;
    }
    scene->facts[scene->fact_count++] = (lb_fact){kind, place, what};
    return LB_OK;
}

lb_status lb_scene_add_fact(lb_scene *scene, lb_fact_kind kind, const char *where,
                            const char *format, ...)
{
    va_list args;
    char *what = NULL;
    int length;

    va_start(args, format);
    length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    if (length >= 0 && (what = lb_alloc((size_t)length + 1, 1))) {
        va_start(args, format);
        vsnprintf(what, (size_t)length + 1, format, args);
        va_end(args);
    }
    return add_fact(scene, kind, where, what);
}

static lb_status append_curve(lb_scene *scene, const lb_curve *curve, int32_t first)
{
    size_t width = (size_t)curve_width(curve->target);
    size_t count = (size_t)curve->key_count;
    size_t values = count * width * (curve->interpolation == LB_CUBICSPLINE ? 3 : 1);
    lb_curve copy = *curve;

    copy.item += first;
    copy.times = lb_alloc(count, sizeof *copy.times);
    copy.values = lb_alloc(values, sizeof *copy.values);
    if (!copy.times || !copy.values) {
        lb_free(copy.times);
        lb_free(copy.values);
        return LB_MEMORY;
    }
    memcpy(copy.times, curve->times, count * sizeof *copy.times);
    memcpy(copy.values, curve->values, values * sizeof *copy.values);
    return lb_scene_add_curve(scene, &copy);
}

lb_status lb_scene_append(lb_scene *scene, const lb_scene *other, int32_t parent)
{
    int32_t first = (int32_t)scene->item_count;
    lb_status status;

    assert(scene != other);
    for (size_t i = 0; i < other->item_count; i++) {
        const lb_item *from = &other->items[i];
        lb_item *to;
        char *name, *data_name;
        int32_t above = from->parent < 0 ? parent : from->parent + first;

        if ((status =
                 lb_scene_add_item(scene, from->name, from->data_name, from->kind, above, &to)))
            return status;
        name = to->name;
        data_name = to->data_name;
        *to = *from;
        to->name = name;
        to->data_name = data_name;
        to->parent = above;
        to->mesh = lb_mesh_ref(from->mesh);
        to->material = lb_material_ref(from->material);
    }
    for (size_t i = 0; i < other->curve_count; i++)
        if ((status = append_curve(scene, &other->curves[i], first)))
            return status;
    for (size_t i = 0; i < other->fact_count; i++) {
        const lb_fact *fact = &other->facts[i];

        if ((status = add_fact(scene, fact->kind, fact->where, lb_strdup(fact->what))))
            return status;
    }
    return LB_OK;
}

lb_status lb_scene_copy(const lb_scene *scene, lb_scene **out)
{
    lb_status status;

    if ((status = lb_scene_new(out)))
        return status;
    if ((status = lb_scene_append(*out, scene, -1)))
        lb_scene_unref(out);
    if (status == LB_OK) {
        (*out)->duration_s = scene->duration_s;
        (*out)->frame_rate = scene->frame_rate;
    }
    return status;
}

/* Meshes and materials that several items share are counted at the first that has them; the
 * search goes over earlier items only as far as is quick, so big scenes may be counted too high. */
#define LOOK_BACK 256

size_t lb_scene_bytes(const lb_scene *scene)
{
    size_t bytes = sizeof *scene + scene->item_capacity * sizeof *scene->items +
                   scene->curve_capacity * sizeof *scene->curves +
                   scene->fact_capacity * sizeof *scene->facts;

    for (size_t i = 0; i < scene->item_count; i++) {
        const lb_item *item = &scene->items[i];
        bool mesh = item->mesh != NULL, material = item->material != NULL;

        for (size_t j = i > LOOK_BACK ? i - LOOK_BACK : 0; j < i; j++) {
            mesh = mesh && scene->items[j].mesh != item->mesh;
            material = material && scene->items[j].material != item->material;
        }
        bytes += strlen(item->name) + strlen(item->data_name) + 2;
        bytes += mesh ? lb_mesh_bytes(item->mesh) : 0;
        bytes += material ? lb_material_bytes(item->material) : 0;
        for (int32_t k = 0; mesh && k < item->mesh->primitive_count; k++)
            if (item->mesh->primitives[k].material)
                bytes += lb_material_bytes(item->mesh->primitives[k].material);
    }
    for (size_t i = 0; i < scene->curve_count; i++) {
        const lb_curve *c = &scene->curves[i];
        size_t width =
            (size_t)curve_width(c->target) * (c->interpolation == LB_CUBICSPLINE ? 3 : 1);

        bytes += (size_t)c->key_count * (1 + width) * sizeof(float);
    }
    return bytes;
}

bool lb_scene_is_animated(const lb_scene *scene)
{
    for (size_t i = 0; i < scene->curve_count; i++)
        if (scene->curves[i].key_count > 1)
            return true;
    return false;
}

int32_t lb_scene_find(const lb_scene *scene, lb_item_kind kind, const char *name)
{
    for (size_t i = 0; i < scene->item_count; i++)
        if (scene->items[i].kind == kind && (!name || strcmp(scene->items[i].name, name) == 0))
            return (int32_t)i;
    for (size_t i = 0; i < scene->item_count; i++)
        if (scene->items[i].kind == kind && strcmp(scene->items[i].data_name, name) == 0)
            return (int32_t)i;
    return -1;
}
