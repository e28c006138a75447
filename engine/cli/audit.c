/* engine/cli/audit.c: lampblack audit GRAPH | SCENE-FILE: what an import held, and what was
 * assumed, converted, amended or dropped. */
#include <math.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/cli/cli.h"
#include "engine/scene/import.h"

#define DEGREES (180 / 3.14159265358979323846)

static void print_item(const lb_scene *scene, size_t at, const lb_mat4 *world)
{
    const lb_item *item = &scene->items[at];
    int depth = 1;

    for (int32_t up = item->parent; up >= 0; up = scene->items[up].parent)
        depth++;
    printf("%*s%s", 2 * depth, "", item->name[0] ? item->name : "(no name)");
    if (item->data_name[0] && strcmp(item->data_name, item->name))
        printf(" [%s]", item->data_name);
    if (!item->visible)
        printf(", hidden");
    if (item->kind == LB_ITEM_MESH) {
        int64_t triangles = 0, vertices = 0;

        for (int32_t p = 0; p < item->mesh->primitive_count; p++) {
            triangles += item->mesh->primitives[p].triangle_count;
            vertices += item->mesh->primitives[p].vertex_count;
        }
        printf(": mesh, %lld triangles, %lld vertices", (long long)triangles, (long long)vertices);
        if (item->material)
            printf(", material '%s'", item->material->name);
        else
            for (int32_t p = 0; p < item->mesh->primitive_count; p++)
                if (item->mesh->primitives[p].material)
                    printf(", material '%s'", item->mesh->primitives[p].material->name);
    } else if (item->kind == LB_ITEM_LIGHT) {
        const lb_light *light = &item->light;

        printf(": %s light, intensity %g, color [%g, %g, %g]", lb_light_type_names[light->type],
               light->intensity, light->color.x, light->color.y, light->color.z);
        if (light->type == LB_LIGHT_POINT || light->type == LB_LIGHT_SPOT)
            printf(", decay %s", lb_decay_names[light->decay]);
        if (isfinite(light->range))
            printf(", range %g", light->range);
        if (light->type == LB_LIGHT_SPOT)
            printf(", cone %g, cone-inner %g degrees", 2 * light->outer_half_rad * DEGREES,
                   2 * light->inner_half_rad * DEGREES);
    } else if (item->kind == LB_ITEM_CAMERA) {
        const lb_camera *camera = &item->camera;

        if (camera->orthographic)
            printf(": orthographic camera, %g x %g", 2 * camera->xmag, 2 * camera->ymag);
        else
            printf(": camera, fov %g degrees", camera->yfov_rad * DEGREES);
        printf(", near %g, far %g", camera->near, camera->far);
    }
    printf(", at [%.4g, %.4g, %.4g]\n", world->m[12], world->m[13], world->m[14]);
}

static lb_status print_scene(lb_diag *diag, const char *name, const lb_scene *scene)
{
    static const char *const kinds[] = {"assumed", "converted", "dropped", "amended", "authored"};
    lb_mat4 *world = lb_alloc(scene->item_count + 1, sizeof *world);
    lb_vec3d low, high;

    if (!world)
        return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    lb_scene_pose(scene, 0, world, NULL);
    printf("%s: %zu items, %zu animated properties over %g s\n", name, scene->item_count,
           scene->curve_count, scene->duration_s);
    if (scene->frame_rate > 0)
        printf("  the file's time line has %.6g frames a second\n", scene->frame_rate);
    if (lb_scene_bounds(scene, 0, &low, &high))
        printf("  bounds at the start [%.4g, %.4g, %.4g] to [%.4g, %.4g, %.4g]\n", low.x, low.y,
               low.z, high.x, high.y, high.z);
    for (size_t i = 0; i < scene->item_count; i++)
        print_item(scene, i, &world[i]);
    for (size_t kind = 0; kind < sizeof kinds / sizeof kinds[0]; kind++)
        for (size_t i = 0; i < scene->fact_count; i++)
            if ((size_t)scene->facts[i].kind == kind)
                printf("  %s: %s: %s\n", kinds[kind], scene->facts[i].where, scene->facts[i].what);
    lb_free(world);
    return LB_OK;
}

static lb_status audit_file(lb_pool *pool, lb_diag *diag, const char *path)
{
    lb_import_options options = {LB_SPACE_LINEAR_REC709};
    lb_loc loc = {.file = lb_diag_intern(diag, path)};
    lb_scene *scene = NULL;
    void *bytes = NULL;
    size_t count;
    lb_status status = lb_file_read(diag, LB_NOWHERE, path, LB_MEDIA_MAX_BYTES, &bytes, &count);

    if (status == LB_OK &&
        (status = lb_import_read(pool, diag, loc, path, bytes, count, &options, &scene)) == LB_OK)
        status = print_scene(diag, path, scene);
    lb_scene_unref(&scene);
    lb_free(bytes);
    return status;
}

typedef struct audit_options {
    const char *file;
    lb_settings settings;
    lb_texts objects;
} audit_options;

/* Every `scene` operator of a graph, as the graph amends it. */
static lb_status audit_graph(lb_session *session, const audit_options *options)
{
    lb_run_options with = {.pool = session->pool, .diag = session->diag, .scale = 1};
    lb_graph *graph;
    lb_run *run = NULL;
    lb_status status;

    if ((status = lb_session_operators(session, &options->objects)) != LB_OK ||
        (status = lb_session_graph(session, options->file, &options->settings, &graph)) != LB_OK ||
        (status = lb_run_new(graph, &with, &run)) != LB_OK)
        return status;
    for (int32_t i = 0; status == LB_OK && i < graph->node_count; i++) {
        lb_want want = {.ref = {.node = i, .loc = graph->nodes[i].loc}};
        lb_value value = {0};

        if (strcmp(graph->nodes[i].op->name, "scene") != 0)
            continue;
        if ((status = lb_run_frame(run, graph->format.first, &want, 1, &value, NULL)) == LB_OK)
            status = print_scene(session->diag, graph->nodes[i].name, value.scene);
        lb_value_unref(&value);
    }
    lb_run_free(&run);
    return status;
}

static lb_status run_audit(lb_session *session, const void *words)
{
    const audit_options *options = words;
    lb_status status = lb_session_threads(session, 0);

    if (status != LB_OK)
        return status;
    if (lb_import_is_name(options->file))
        return audit_file(session->pool, session->diag, options->file);
    return audit_graph(session, options);
}

static const lb_operand operands[] = {
    LB_OPERAND(audit_options, file, "GRAPH|SCENE", .min = 1, .max = 1, .offer = LB_OFFER_FILE,
               .doc = "A graph file, of which every scene is told as the graph amends it; or a "
                      "scene file (.gltf, .glb, .obj, .ply, .stl, .fbx) as it is."),
    {0},
};

static const lb_option options[] = {
    LB_OPTION_SET(audit_options),
    LB_OPTION_OPERATORS(audit_options),
    {0},
};

static const lb_example examples[] = {
    {"lampblack audit kiln.glb", NULL},
    {0},
};

const lb_command lb_command_audit = {
    .name = "audit",
    .summary = "what an import held, and what was assumed, converted, amended or dropped",
    .no = "the graph or the scene has errors",
    .operands = operands,
    .options = options,
    .examples = examples,
    .options_size = sizeof(audit_options),
    .run = run_audit,
};
