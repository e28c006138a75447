/* engine/scene/fbx_tree.c: the tree of models and what each one carries. */
#include <string.h>

#include "engine/scene/amend.h"
#include "engine/scene/fbx_read.h"

/* What hangs on a model. */
typedef struct {
    const fbx_object *geometry, *camera, *light;
    bool has_children;
} cargo;

static void read_cargo(fbx *g, const fbx_object *model, cargo *out)
{
    char where[FBX_WHERE];

    *out = (cargo){0};
    for (size_t i = 0; i < model->down_count; i++) {
        const fbx_link *link = fbx_down(g, model, i);
        fbx_object *child = &g->objects[link->child];
        const fbx_object **slot = NULL;

        if (link->property) {
            if (strcmp(link->property, "LookAtProperty") == 0 ||
                strcmp(link->property, "UpVectorProperty") == 0)
                fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, model, link->property),
                         "It is turned towards '%.60s' in the file; that is not read, and its own "
                         "rotation counts.",
                         child->name);
            continue;
        }
        if (fbx_is_class(child, "Model"))
            out->has_children = true;
        else if (fbx_is_class(child, "Geometry") && strcmp(child->kind, "Mesh") == 0)
            slot = &out->geometry;
        else if (fbx_is_class(child, "NodeAttribute") && strcmp(child->kind, "Camera") == 0)
            slot = &out->camera;
        else if (fbx_is_class(child, "NodeAttribute") && strcmp(child->kind, "Light") == 0)
            slot = &out->light;
        else if (fbx_is_class(child, "NodeAttribute"))
            child->used = true; /* a mark (Null, LimbNode): there is nothing to see */
        if (slot && *slot)
            fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, child, NULL),
                     "The model '%.60s' has one already.", model->name);
        else if (slot)
            *slot = child;
        if (slot)
            child->used = true;
    }
}

/* The turn that brings -z and +y (`side`: or +x) of an item to directions of the graph's world. */
static lb_quat aim_of(lb_vec3d forward, lb_vec3d second, bool side)
{
    lb_vec3d z = {-forward.x, -forward.y, -forward.z}, y = second, x = second;
    lb_mat4 m = lb_mat4_identity();
    lb_trs trs = lb_trs_identity();

    if (side)
        y = (lb_vec3d){z.y * x.z - z.z * x.y, z.z * x.x - z.x * x.z, z.x * x.y - z.y * x.x};
    else
        x = (lb_vec3d){y.y * z.z - y.z * z.y, y.z * z.x - y.x * z.z, y.x * z.y - y.y * z.x};
    memcpy(&m.m[0], (double[]){x.x, x.y, x.z}, 3 * sizeof(double));
    memcpy(&m.m[4], (double[]){y.x, y.y, y.z}, 3 * sizeof(double));
    memcpy(&m.m[8], (double[]){z.x, z.y, z.z}, 3 * sizeof(double));
    return lb_trs_from_matrix(&m, &trs) ? trs.rotation : lb_quat_identity();
}

/* A camera of the file looks along its +x with +y up, a light shines along -y. Common practice. */
static lb_quat cargo_aim(const fbx *g, lb_item_kind kind)
{
    lb_vec3d x = fbx_direction(g, (lb_vec3d){1, 0, 0});
    lb_vec3d y = fbx_direction(g, (lb_vec3d){0, 1, 0});

    if (kind == LB_ITEM_CAMERA)
        return aim_of(x, y, false);
    return aim_of((lb_vec3d){-y.x, -y.y, -y.z}, x, true);
}

static lb_status load(fbx *g, lb_item_kind kind, const fbx_object *model, const cargo *c,
                      lb_item *item)
{
    lb_mesh *mesh = NULL;
    lb_status status;

    item->kind = kind;
    if (kind == LB_ITEM_CAMERA)
        fbx_camera_read(g, c->camera, &item->camera);
    if (kind == LB_ITEM_LIGHT) {
        int64_t casts = 1;

        fbx_light_read(g, c->light, &item->light);
        if (fbx_integer(g, c->light, "CastLight", &casts) != FBX_FORMAT && !casts) {
            char where[FBX_WHERE];

            item->visible = false;
            fbx_fact(g, LB_FACT_CONVERTED, fbx_where(where, c->light, "CastLight"),
                     "It is off: the light is hidden.");
        }
    }
    if (kind != LB_ITEM_MESH)
        return LB_OK;
    if ((status = fbx_mesh_read(g, model, c->geometry, &mesh)))
        return status;
    item->mesh = mesh;
    return LB_OK;
}

/* One thing that a model carries lies in its own item, if that does not turn what is below it;
 * else it, and every further one, is an item below. */
static lb_status add_cargo(fbx *g, fbx_model *m, const cargo *c)
{
    const fbx_object *model = &g->objects[m->object];
    lb_item_kind kinds[3];
    const fbx_object *objects[3];
    int count = 0;
    lb_item *item = &g->scene->items[m->item];
    lb_status status;

    if (c->geometry) {
        objects[count] = c->geometry;
        kinds[count++] = LB_ITEM_MESH;
    }
    if (c->camera) {
        objects[count] = c->camera;
        kinds[count++] = LB_ITEM_CAMERA;
    }
    if (c->light) {
        objects[count] = c->light;
        kinds[count++] = LB_ITEM_LIGHT;
    }
    for (int i = 0; i < count; i++) {
        bool turns = kinds[i] != LB_ITEM_MESH;

        if (i == 0 && !(turns && (c->has_children || count > 1))) {
            char *name = lb_strdup(objects[i]->name);

            if (!name)
                return fbx_no_memory(g);
            lb_free(item->data_name);
            item->data_name = name;
            if (turns)
                m->aim = cargo_aim(g, kinds[i]);
        } else {
            if ((status = fbx_told(g, lb_scene_add_item(g->scene, model->name, objects[i]->name,
                                                        kinds[i], m->item, &item))))
                return status;
            if (turns)
                item->trs.rotation = cargo_aim(g, kinds[i]);
        }
        if ((status = load(g, kinds[i], model, c, item)))
            return status;
    }
    return LB_OK;
}

static void read_visibility(fbx *g, const fbx_object *object, lb_item *item)
{
    double visibility = 1;
    int64_t show = 1, inherits = 1;
    char where[FBX_WHERE];

    (void)fbx_numbers(g, object, "Visibility", 1, &visibility);
    (void)fbx_integer(g, object, "Show", &show);
    item->visible = visibility > 0 && show != 0;
    if (visibility > 0 && visibility < 1)
        fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, object, "Visibility"),
                 "%g: what is partly visible is shown whole.", visibility);
    if (fbx_integer(g, object, "Visibility Inheritance", &inherits) == FBX_AUTHORED && !inherits)
        fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, object, "Visibility Inheritance"),
                 "It is off; here a hidden parent hides what is below it.");
}

static lb_status read_model(fbx *g, size_t at)
{
    fbx_model *m = &g->models[at];
    fbx_object *object = &g->objects[m->object];
    int32_t parent = m->parent == FBX_NONE ? -1 : g->models[m->parent].item;
    lb_item *item;
    lb_status status;
    cargo c;

    object->used = true;
    m->item = (int32_t)g->scene->item_count;
    m->aim = lb_quat_identity();
    if ((status = fbx_told(
             g, lb_scene_add_item(g->scene, object->name, NULL, LB_ITEM_GROUP, parent, &item))))
        return status;
    read_visibility(g, object, item);
    read_cargo(g, object, &c);
    if ((status = add_cargo(g, m, &c)))
        return status;
    fbx_model_transform(g, m);
    return LB_OK;
}

/* Adds the models below `object` (NULL: the scene) behind those that are there. */
static lb_status add_models(fbx *g, const fbx_object *object, size_t parent)
{
    size_t count = object ? object->down_count : g->link_count;

    for (size_t i = 0; i < count; i++) {
        const fbx_link *link = object ? fbx_down(g, object, i) : &g->links[i];

        if (link->property || !fbx_is_class(&g->objects[link->child], "Model") ||
            (!object && link->parent != FBX_NONE))
            continue;
        if (g->model_of[link->child] != FBX_NONE) {
            char where[FBX_WHERE];

            return fbx_fail(g, LB_FORMAT, fbx_where(where, &g->objects[link->child], NULL),
                            "the model is reached twice: it has two parents, or is below itself");
        }
        g->model_of[link->child] = g->model_count;
        g->models[g->model_count++] = (fbx_model){.object = link->child, .parent = parent};
    }
    return LB_OK;
}

/* Breadth first: parents come before their children, and no depth is too deep. */
lb_status fbx_models_read(fbx *g)
{
    size_t count = 0;
    lb_status status;

    if (g->object_count == 0)
        return LB_OK;
    for (size_t i = 0; i < g->object_count; i++)
        count += fbx_is_class(&g->objects[i], "Model");
    g->model_of = lb_alloc(g->object_count, sizeof *g->model_of);
    if (!g->model_of || (count && !(g->models = lb_alloc(count, sizeof *g->models))))
        return fbx_no_memory(g);
    for (size_t i = 0; i < g->object_count; i++)
        g->model_of[i] = FBX_NONE;
    if ((status = add_models(g, NULL, FBX_NONE)))
        return status;
    for (size_t at = 0; at < g->model_count; at++)
        if ((status = read_model(g, at)) ||
            (status = add_models(g, &g->objects[g->models[at].object], at)))
            return status;
    if (g->model_count < count)
        fbx_fact(g, LB_FACT_DROPPED, "/Model", "%zu of %zu models are not connected to the scene.",
                 count - g->model_count, count);
    return LB_OK;
}
