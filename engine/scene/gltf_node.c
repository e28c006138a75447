/* engine/scene/gltf_node.c: the tree of nodes. glTF 2.0, 3.5. */
#include <math.h>
#include <string.h>

#include "engine/base/memory.h"
#include "engine/scene/gltf_read.h"

/* A node that waits for its turn, below an item that is there already. */
typedef struct {
    size_t node;
    int32_t parent;
} waiting;

typedef struct {
    waiting *items;
    size_t count, capacity;
} stack;

static lb_status push(gltf *g, stack *s, size_t node, int32_t parent)
{
    if (!lb_grow((void **)&s->items, &s->capacity, s->count, sizeof *s->items))
        return gltf_no_memory(g);
    s->items[s->count++] = (waiting){node, parent};
    return LB_OK;
}

/* Pushes the nodes of an array of indices so that the first comes off first. */
static lb_status push_all(gltf *g, stack *s, const json_t *array, const char *where, int32_t parent)
{
    lb_status status = LB_OK;

    for (size_t i = json_array_size(array); i > 0 && status == LB_OK; i--) {
        const json_t *value = json_array_get(array, i - 1);
        int64_t node;

        if (!gltf_is_whole(value, &node) || node < 0 || (uint64_t)node >= g->node_count)
            return gltf_fail(g, LB_FORMAT, where, "element %zu is no index of a node", i - 1);
        status = push(g, s, (size_t)node, parent);
    }
    return status;
}

/* What a node is; one that is several things gets children for the second and third. */
typedef struct {
    const char *name;
    const gltf_mesh *mesh;
    const gltf_camera *camera;
    const gltf_light *light;
} node_cargo;

static lb_status read_light_of(gltf *g, const json_t *object, const char *where, node_cargo *out)
{
    char path[GLTF_WHERE];
    const json_t *extension;
    int64_t index;
    lb_status status = gltf_extension(g, object, where, "KHR_lights_punctual", path, &extension);

    if (status || !extension)
        return status;
    if ((status = gltf_index(g, extension, path, "light", g->light_count, &index)))
        return status;
    if (index < 0)
        return gltf_fail(g, LB_FORMAT, path, "light is missing");
    status = gltf_light_get(g, (size_t)index, &out->light);
    if (status == LB_OK && !out->light->is_known)
        out->light = NULL;
    return status;
}

static lb_status read_cargo(gltf *g, const json_t *object, const char *where, node_cargo *out)
{
    char path[GLTF_WHERE];
    int64_t mesh, camera;
    lb_status status;

    *out = (node_cargo){0};
    if ((status = gltf_text(g, object, where, "name", &out->name)) ||
        (status = gltf_index(g, object, where, "mesh", g->mesh_count, &mesh)) ||
        (status = gltf_index(g, object, where, "camera", g->camera_count, &camera)))
        return status;
    if ((mesh >= 0 && (status = gltf_mesh_get(g, (size_t)mesh, &out->mesh))) ||
        (camera >= 0 && (status = gltf_camera_get(g, (size_t)camera, &out->camera))) ||
        (status = read_light_of(g, object, where, out)))
        return status;
    if (json_object_get(object, "skin"))
        return gltf_fact(g, LB_FACT_DROPPED, gltf_below(path, where, "skin"),
                         "Skins are not used: the mesh is not bent.");
    return LB_OK;
}

static lb_status read_rotation(gltf *g, const char *where, double r[4], lb_quat *out)
{
    double length = sqrt(r[0] * r[0] + r[1] * r[1] + r[2] * r[2] + r[3] * r[3]);
    char path[GLTF_WHERE];

    if (!(length > 0) || !(length < INFINITY)) {
        *out = lb_quat_identity();
        return gltf_fact(g, LB_FACT_CONVERTED, gltf_below(path, where, "rotation"),
                         "A quaternion without length turns nothing.");
    }
    *out = lb_quat_normalize((lb_quat){r[0], r[1], r[2], r[3]});
    if (fabs(length - 1) > 1e-3)
        return gltf_fact(g, LB_FACT_CONVERTED, gltf_below(path, where, "rotation"),
                         "A quaternion of length %g is made unit.", length);
    return LB_OK;
}

static lb_status read_transform(gltf *g, const json_t *object, const char *where, lb_item *item)
{
    double t[3] = {0, 0, 0}, r[4] = {0, 0, 0, 1}, s[3] = {1, 1, 1};
    bool has_trs = json_object_get(object, "translation") || json_object_get(object, "rotation") ||
                   json_object_get(object, "scale");
    lb_status status;

    if ((status = gltf_numbers(g, object, where, "matrix", 16, item->matrix.m)) ||
        (status = gltf_numbers(g, object, where, "translation", 3, t)) ||
        (status = gltf_numbers(g, object, where, "rotation", 4, r)) ||
        (status = gltf_numbers(g, object, where, "scale", 3, s)))
        return status;
    item->has_matrix = json_object_get(object, "matrix") != NULL;
    item->trs.translation = (lb_vec3d){t[0], t[1], t[2]};
    item->trs.scale = (lb_vec3d){s[0], s[1], s[2]};
    if ((status = read_rotation(g, where, r, &item->trs.rotation)))
        return status;
    if (item->has_matrix && has_trs)
        return gltf_fact(g, LB_FACT_DROPPED, where,
                         "There is a matrix, so translation, rotation and scale are not used.");
    return LB_OK;
}

static void load_item(lb_item *item, lb_item_kind kind, const node_cargo *cargo)
{
    item->kind = kind;
    if (kind == LB_ITEM_MESH)
        item->mesh = lb_mesh_ref(cargo->mesh->mesh);
    if (kind == LB_ITEM_CAMERA)
        item->camera = cargo->camera->camera;
    if (kind == LB_ITEM_LIGHT)
        item->light = cargo->light->light;
}

static lb_status add_items(gltf *g, const json_t *object, const char *where, size_t node,
                           int32_t parent)
{
    lb_item_kind kinds[3];
    const char *names[3];
    int32_t count = 0;
    node_cargo cargo;
    lb_item *item;
    lb_status status;

    if ((status = read_cargo(g, object, where, &cargo)))
        return status;
    if (cargo.mesh) {
        kinds[count] = LB_ITEM_MESH;
        names[count++] = cargo.mesh->name;
    }
    if (cargo.camera) {
        kinds[count] = LB_ITEM_CAMERA;
        names[count++] = cargo.camera->name;
    }
    if (cargo.light) {
        kinds[count] = LB_ITEM_LIGHT;
        names[count++] = cargo.light->name;
    }
    g->node_items[node] = (int32_t)g->scene->item_count;
    if ((status =
             gltf_told(g, lb_scene_add_item(g->scene, cargo.name, count ? names[0] : NULL,
                                            count ? kinds[0] : LB_ITEM_GROUP, parent, &item))) ||
        (status = read_transform(g, object, where, item)))
        return status;
    for (int32_t i = 0; i < count; i++) {
        if (i > 0 &&
            (status = gltf_told(g, lb_scene_add_item(g->scene, cargo.name, names[i], kinds[i],
                                                     g->node_items[node], &item))))
            return status;
        load_item(item, kinds[i], &cargo);
    }
    return LB_OK;
}

static lb_status read_node(gltf *g, stack *s, size_t node, int32_t parent)
{
    char where[GLTF_WHERE], path[GLTF_WHERE];
    const json_t *object, *children;
    lb_status status;

    if ((status = gltf_root_element(g, "nodes", node, where, &object)) ||
        (status = gltf_array(g, object, where, "children", &children)))
        return status;
    if (g->node_items[node] >= 0)
        return gltf_fail(g, LB_FORMAT, where,
                         "the node is reached twice: it has two parents, or is below itself");
    if ((status = add_items(g, object, where, node, parent)))
        return status;
    return push_all(g, s, children, gltf_below(path, where, "children"), g->node_items[node]);
}

/* Without scenes: every node that is nobody's child. */
static lb_status push_orphans(gltf *g, stack *s)
{
    bool *is_child = lb_alloc(g->node_count, sizeof *is_child);
    lb_status status = LB_OK;

    if (!is_child)
        return gltf_no_memory(g);
    for (size_t i = 0; i < g->node_count; i++) {
        const json_t *node = json_array_get(json_object_get(g->root, "nodes"), i);
        const json_t *children = json_object_get(node, "children"), *child;
        size_t k;

        json_array_foreach(children, k, child)
        {
            int64_t index;

            if (gltf_is_whole(child, &index) && index >= 0 && (uint64_t)index < g->node_count)
                is_child[index] = true;
        }
    }
    for (size_t i = g->node_count; i > 0 && status == LB_OK; i--)
        if (!is_child[i - 1])
            status = push(g, s, i - 1, -1);
    lb_free(is_child);
    if (status)
        return status;
    return gltf_fact(g, LB_FACT_ASSUMED, "/scenes",
                     "The file has no scene: all of its nodes are taken.");
}

static lb_status push_roots(gltf *g, stack *s)
{
    char where[GLTF_WHERE], path[GLTF_WHERE];
    const json_t *object, *nodes;
    size_t scenes;
    int64_t index;
    lb_status status;

    if ((status = gltf_root_count(g, "scenes", &scenes)) ||
        (status = gltf_index(g, g->root, "", "scene", scenes, &index)))
        return status;
    if (scenes == 0)
        return g->node_count ? push_orphans(g, s) : LB_OK;
    if (index < 0 && scenes > 1 &&
        (status =
             gltf_fact(g, LB_FACT_ASSUMED, "/scene",
                       "None of %zu scenes is named as the default: the first is read.", scenes)))
        return status;
    index = index < 0 ? 0 : index;
    if ((status = gltf_root_element(g, "scenes", (size_t)index, where, &object)) ||
        (status = gltf_array(g, object, where, "nodes", &nodes)) ||
        (status = push_all(g, s, nodes, gltf_below(path, where, "nodes"), -1)))
        return status;
    if (scenes > 1)
        return gltf_fact(g, LB_FACT_DROPPED, "/scenes",
                         "Scene %lld of %zu is read, the others are not.", (long long)index,
                         scenes);
    return LB_OK;
}

lb_status gltf_nodes_read(gltf *g)
{
    stack s = {0};
    size_t left_out = 0;
    lb_status status = push_roots(g, &s);

    while (status == LB_OK && s.count > 0) {
        waiting next = s.items[--s.count];

        status = read_node(g, &s, next.node, next.parent);
    }
    lb_free(s.items);
    for (size_t i = 0; i < g->node_count; i++)
        left_out += g->node_items[i] < 0;
    if (status == LB_OK && left_out > 0 && !json_object_get(g->root, "scenes"))
        status = gltf_fail(g, LB_FORMAT, "/nodes", "%zu nodes are below themselves", left_out);
    else if (status == LB_OK && left_out > 0)
        status = gltf_fact(g, LB_FACT_DROPPED, "/nodes",
                           "%zu of %zu nodes are not in the scene that is read.", left_out,
                           g->node_count);
    return status;
}
