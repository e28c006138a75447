/* tests/engine/scene/test_gltf_files.c: files that others made (tests/data/gltf, SOURCE.md there)
 * against what a parser independent of this project found in them (EXPECTED.json). */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/base/math.h"
#include "engine/base/text.h"
#include "tests/engine/scene/files.h"

/* EXPECTED.json holds float32 figures, rounded to 7 digits, of sums of a few products. */
static bool within(double a, double b, double tolerance)
{
    return fabs(a - b) <= tolerance * (1 + fabs(b));
}

static bool near(double a, double b)
{
    return within(a, b, 3e-6);
}

/* Those figures take a rotation in bytes or shorts as it is, not of unit length: its square is off
 * by up to four half steps of 1/127 or 1/32767. */
static double tolerance_of(const char *name)
{
    if (strstr(name, "Animation_SamplerType_01"))
        return 4 * 0.5 / 127;
    return strstr(name, "Animation_SamplerType_02") ? 4 * 0.5 / 32767 : 3e-6;
}

static double number(const json_t *object, const char *key)
{
    return json_number_value(json_object_get(object, key));
}

static int64_t count_of(const json_t *facts, const char *key)
{
    return json_integer_value(json_object_get(json_object_get(facts, "counts"), key));
}

static void expect_bounds(const char *name, const lb_scene *scene, double time_s,
                          const json_t *bounds)
{
    lb_vec3d low, high;
    bool found = lb_scene_bounds(scene, time_s, &low, &high);
    double mine[6] = {low.x, low.y, low.z, high.x, high.y, high.z};

    if (!json_is_object(bounds)) {
        cr_expect(!found, "%s at %g s: bounds that should not be", name, time_s);
        return;
    }
    cr_expect(found, "%s at %g s: no bounds", name, time_s);
    for (size_t i = 0; i < 6; i++) {
        const json_t *corner = json_object_get(bounds, i < 3 ? "min" : "max");
        double theirs = json_number_value(json_array_get(corner, i % 3));

        cr_expect(within(mine[i], theirs, tolerance_of(name)),
                  "%s at %g s: bound %zu is %.9g, not %.9g", name, time_s, i, mine[i], theirs);
    }
}

/* Meshes that are in the scene, each once, and the triangles in them. */
static int64_t meshes_used(const lb_scene *scene, int64_t *triangles, int64_t *instances)
{
    int64_t count = 0;

    *triangles = *instances = 0;
    for (size_t i = 0; i < scene->item_count; i++) {
        const lb_mesh *mesh = scene->items[i].mesh;
        bool again = false;

        if (!mesh)
            continue;
        ++*instances;
        for (size_t j = 0; j < i; j++)
            again |= scene->items[j].mesh == mesh;
        if (again)
            continue;
        count++;
        for (int32_t k = 0; k < mesh->primitive_count; k++)
            *triangles += mesh->primitives[k].triangle_count;
    }
    return count;
}

/* Lights of a type that the standard does not have are left out, and that is recorded. */
static int64_t lights_left_out(const lb_scene *scene)
{
    int64_t count = 0;

    for (size_t i = 0; i < scene->fact_count; i++)
        count += strstr(scene->facts[i].what, "the light is left out") != NULL;
    return count;
}

static int64_t kind_count(const lb_scene *scene, lb_item_kind kind)
{
    int64_t count = 0;

    for (size_t i = 0; i < scene->item_count; i++)
        count += scene->items[i].kind == kind;
    return count;
}

/* Everything of a mesh that the renderer relies on. */
static void expect_sound(const char *name, const lb_scene *scene)
{
    for (size_t i = 0; i < scene->item_count; i++) {
        const lb_mesh *mesh = scene->items[i].mesh;

        cr_expect(scene->items[i].parent < (int32_t)i, "%s: a parent after its child", name);
        for (int32_t k = 0; mesh && k < mesh->primitive_count; k++) {
            const lb_primitive *p = &mesh->primitives[k];

            cr_expect(p->material != NULL, "%s: a primitive without material", name);
            for (int32_t t = 0; t < p->triangle_count * 3; t++)
                cr_assert(p->indices[t] < (uint32_t)p->vertex_count, "%s: index", name);
            for (int32_t v = 0; v < p->vertex_count; v++)
                cr_expect(fabsf(lb_vec3_length(p->normals[v]) - 1) < 1e-6f, "%s: normal %d", name,
                          v);
        }
    }
}

/* Where cameras and lights stand and look. */
static void expect_places(const char *name, const lb_scene *scene, lb_item_kind kind,
                          const json_t *places)
{
    lb_mat4 *world = calloc(scene->item_count + 1, sizeof *world);
    const json_t *place;
    size_t i, item = 0;

    cr_assert(world);
    lb_scene_pose(scene, 0, world, NULL);
    if (kind == LB_ITEM_LIGHT && lights_left_out(scene) > 0)
        places = NULL;
    cr_expect((int64_t)json_array_size(places) == kind_count(scene, kind), "%s: %s items", name,
              lb_item_kind_names[kind]);
    json_array_foreach(places, i, place)
    {
        bool found = false;

        /* In the order of the nodes there, of the tree here: look for one that fits. */
        for (item = 0; item < scene->item_count; item++) {
            lb_vec3d at = lb_mat4_point(&world[item], (lb_vec3d){0, 0, 0});
            lb_vec3d ahead = lb_mat4_direction(&world[item], (lb_vec3d){0, 0, -1});
            double length = sqrt(ahead.x * ahead.x + ahead.y * ahead.y + ahead.z * ahead.z);
            const json_t *p = json_object_get(place, "position");
            const json_t *f = json_object_get(place, "forward");

            found |= scene->items[item].kind == kind &&
                     near(at.x, json_number_value(json_array_get(p, 0))) &&
                     near(at.y, json_number_value(json_array_get(p, 1))) &&
                     near(at.z, json_number_value(json_array_get(p, 2))) &&
                     near(ahead.x / length, json_number_value(json_array_get(f, 0))) &&
                     near(ahead.y / length, json_number_value(json_array_get(f, 1))) &&
                     near(ahead.z / length, json_number_value(json_array_get(f, 2)));
        }
        cr_expect(found, "%s: no %s at place %zu", name, lb_item_kind_names[kind], i);
    }
    free(world);
}

/* Curves, ends, and the bounds half-way through. With one animation only: of several the file's
 * facts take one at a time, and a scene plays them all. */
static void expect_animation(const char *name, const lb_scene *scene, const json_t *facts,
                             bool is_bent)
{
    const json_t *animation = json_array_get(json_object_get(facts, "animations"), 0);
    const json_t *targets = json_object_get(animation, "targets"), *target;
    size_t i, moving = 0;

    if (json_array_size(json_object_get(facts, "animations")) != 1) {
        cr_expect(json_array_size(json_object_get(facts, "animations")) > 1 ||
                      (!lb_scene_is_animated(scene) && scene->duration_s == 0),
                  "%s: an animation from nowhere", name);
        return;
    }
    json_array_foreach(targets, i, target)
    {
        const char *path = json_string_value(json_array_get(target, 1));

        moving += !json_is_null(json_array_get(target, 0)) && strcmp(path, "weights") != 0;
    }
    cr_expect(scene->curve_count == moving, "%s: %zu curves, not %zu", name, scene->curve_count,
              moving);
    cr_expect(near(scene->duration_s, moving ? number(animation, "end") : 0), "%s: ends at %g s",
              name, scene->duration_s);
    if (!is_bent)
        expect_bounds(name, scene, number(animation, "halfTime"),
                      json_object_get(animation, "boundsAtHalfTime"));
}

/* Points and lines are not drawn, so bounds that have them in are others. */
static bool has_only_triangles(const json_t *facts)
{
    const json_t *modes = json_object_get(facts, "primitiveModes"), *count;
    const char *mode;

    json_object_foreach((json_t *)modes, mode, count)
    {
        if (strncmp(mode, "triangle", 8) != 0)
            return false;
    }
    return true;
}

static void expect_rest(const char *name, lb_scene *scene, const json_t *facts)
{
    size_t curves = scene->curve_count;

    scene->curve_count = 0; /* at rest: as if nothing were animated */
    expect_bounds(name, scene, 0, json_object_get(facts, "boundsAtRest"));
    scene->curve_count = curves;
}

static void expect_scene(const char *name, lb_scene *scene, const json_t *facts)
{
    bool is_bent = files_has_fact(scene, LB_FACT_DROPPED, "/skin", "Skins are not used") ||
                   files_has_fact(scene, LB_FACT_DROPPED, "/targets", "Morph targets");
    int64_t triangles, instances, meshes = meshes_used(scene, &triangles, &instances);
    int64_t nodes = 0;

    for (size_t i = 0; i < scene->item_count; i++)
        nodes += scene->items[i].parent < 0 || scene->items[i].kind == LB_ITEM_GROUP ||
                 strcmp(scene->items[scene->items[i].parent].name, scene->items[i].name) != 0 ||
                 scene->items[i].name[0] == 0;
    expect_sound(name, scene);
    if (count_of(facts, "scenes") == 0)
        return; /* which nodes are shown then is the reader's to say */
    cr_expect(nodes == json_integer_value(json_object_get(facts, "sceneNodes")),
              "%s: %lld nodes, not %lld", name, (long long)nodes,
              (long long)json_integer_value(json_object_get(facts, "sceneNodes")));
    cr_expect(instances == json_integer_value(json_object_get(facts, "meshInstances")),
              "%s: %lld meshes in the scene", name, (long long)instances);
    cr_expect(meshes <= count_of(facts, "meshes"), "%s: %lld meshes", name, (long long)meshes);
    if (meshes == count_of(facts, "meshes"))
        cr_expect(triangles == json_integer_value(json_object_get(facts, "triangles")),
                  "%s: %lld triangles, not %lld", name, (long long)triangles,
                  (long long)json_integer_value(json_object_get(facts, "triangles")));
    if (!is_bent && has_only_triangles(facts))
        expect_rest(name, scene, facts);
    if (count_of(facts, "skins") > 0 && instances > 0)
        cr_expect(is_bent, "%s: nobody told of its skin", name);
    expect_places(name, scene, LB_ITEM_CAMERA, json_object_get(facts, "cameraNodes"));
    expect_places(name, scene, LB_ITEM_LIGHT, json_object_get(facts, "lightNodes"));
    expect_animation(name, scene, facts, is_bent);
}

/* Files with these errors (of the validator) are refused where the scene uses the broken part. */
static bool may_be_refused(const json_t *facts)
{
    const json_t *errors =
        json_object_get(json_object_get(json_object_get(facts, "validator"), "codes"), "error");
    static const char *const codes[] = {"ACCESSOR_INDEX_PRIMITIVE_RESTART", "ACCESSOR_INDEX_OOB",
                                        "IO_ERROR"};

    for (size_t i = 0; i < sizeof codes / sizeof codes[0]; i++)
        if (json_object_get(errors, codes[i]))
            return true;
    return false;
}

static json_t *load_expected(void)
{
    json_t *expected = json_load_file(LB_TEST_DATA "/gltf/EXPECTED.json", 0, NULL);

    cr_assert(expected && json_object_size(expected) > 90);
    return expected;
}

Test(gltf_files, scenes_are_what_others_found)
{
    json_t *expected = load_expected(), *facts;
    const char *name;
    int read = 0, unsupported = 0;

    json_object_foreach(expected, name, facts)
    {
        char path[FILES_PATH];
        lb_diag *diag = lb_diag_new();
        lb_scene *scene;
        lb_status status;
        size_t count;
        void *bytes;

        snprintf(path, sizeof path, "%s/gltf/%s", LB_TEST_DATA, name);
        bytes = files_load(path, &count);
        status = files_read(diag, path, bytes, count, &scene);
        if (status == LB_OK) {
            expect_scene(name, scene, facts);
            read++;
        } else {
            cr_expect(may_be_refused(facts) || status == LB_UNSUPPORTED, "%s: %s", name,
                      files_messages(diag));
            unsupported += status == LB_UNSUPPORTED;
            cr_expect(lb_diag_count(diag, LB_ERROR) > 0, "%s: refused without a word", name);
        }
        lb_scene_unref(&scene);
        lb_diag_free(&diag);
        lb_free(bytes);
    }
    cr_expect(unsupported == 1, "one needs a reader of glTF 2.1: Compatibility_04");
    cr_expect(read > 90, "only %d files were read", read);
    json_decref(expected);
}

/* Puts every mesh, camera and light of a file on a node of its own, and every material on a
 * triangle, so that what no node uses is read as well. */
static void use_everything(json_t *root)
{
    static const char triangle[] =
        "{\"uri\": \"data:application/octet-stream;base64,"
        "AAAAAAAAAAAAAAAAAACAPwAAAAAAAAAAAAAAAAAAgD8AAAAA\", \"byteLength\": 36}";
    static const char *const lists[] = {"buffers", "bufferViews", "accessors", "meshes"};
    const json_t *lights = json_object_get(
        json_object_get(json_object_get(root, "extensions"), "KHR_lights_punctual"), "lights");
    json_t *nodes = json_array(), *members = json_array(), *parts = json_array();
    size_t old = json_array_size(json_object_get(root, "meshes"));

    for (size_t i = 0; i < 4; i++)
        if (!json_object_get(root, lists[i]))
            json_object_set_new(root, lists[i], json_array());
    for (size_t i = 0; i < old; i++)
        json_array_append_new(nodes, json_pack("{s:i}", "mesh", (int)i));
    for (size_t i = 0; i < json_array_size(json_object_get(root, "cameras")); i++)
        json_array_append_new(nodes, json_pack("{s:i}", "camera", (int)i));
    for (size_t i = 0; i < json_array_size(lights); i++)
        json_array_append_new(nodes, json_pack("{s:{s:{s:i}}}", "extensions", "KHR_lights_punctual",
                                               "light", (int)i));
    json_array_append_new(json_object_get(root, "bufferViews"),
                          json_pack("{s:i,s:i}", "buffer",
                                    (int)json_array_size(json_object_get(root, "buffers")),
                                    "byteLength", 36));
    json_array_append_new(json_object_get(root, "buffers"), json_loads(triangle, 0, NULL));
    json_array_append_new(json_object_get(root, "accessors"),
                          json_pack("{s:i,s:i,s:i,s:s}", "bufferView",
                                    (int)json_array_size(json_object_get(root, "bufferViews")) - 1,
                                    "componentType", 5126, "count", 3, "type", "VEC3"));
    for (size_t i = 0; i < json_array_size(json_object_get(root, "materials")); i++)
        json_array_append_new(
            parts, json_pack("{s:{s:i},s:i}", "attributes", "POSITION",
                             (int)json_array_size(json_object_get(root, "accessors")) - 1,
                             "material", (int)i));
    if (json_array_size(parts) > 0) {
        json_array_append_new(json_object_get(root, "meshes"),
                              json_pack("{s:O}", "primitives", parts));
        json_array_append_new(nodes, json_pack("{s:i,s:s}", "mesh", (int)old, "name", "materials"));
    }
    for (size_t i = 0; i < json_array_size(nodes); i++)
        json_array_append_new(members, json_integer((json_int_t)i));
    json_object_set_new(root, "nodes", nodes);
    json_object_set_new(root, "scenes", json_pack("[{s:o}]", "nodes", members));
    json_object_set_new(root, "scene", json_integer(0));
    json_object_del(root, "animations");
    json_decref(parts);
}

static const lb_item *nth_item(const lb_scene *scene, lb_item_kind kind, size_t index)
{
    for (size_t i = 0; i < scene->item_count; i++)
        if (scene->items[i].kind == kind && index-- == 0)
            return &scene->items[i];
    return NULL;
}

static void expect_cameras(const char *name, const lb_scene *scene, const json_t *cameras)
{
    const json_t *facts;
    size_t i;

    json_array_foreach(cameras, i, facts)
    {
        const lb_item *item = nth_item(scene, LB_ITEM_CAMERA, i);
        const char *its = json_string_value(json_object_get(facts, "name"));
        const json_t *far = json_object_get(facts, "zfar");
        bool flat = strcmp(json_string_value(json_object_get(facts, "type")), "orthographic") == 0;

        cr_assert(item, "%s: camera %zu", name, i);
        cr_expect(strcmp(item->data_name, its ? its : "") == 0, "%s: '%s'", name, item->data_name);
        cr_expect(item->camera.orthographic == flat);
        cr_expect(near(item->camera.near, number(facts, "znear")));
        cr_expect(json_is_number(far) ? near(item->camera.far, json_number_value(far))
                                      : item->camera.far == INFINITY);
        if (flat) {
            cr_expect(near(item->camera.xmag, number(facts, "xmag")));
            cr_expect(near(item->camera.ymag, number(facts, "ymag")));
        } else {
            cr_expect(near(item->camera.yfov_rad, number(facts, "yfov")));
            cr_expect(near(item->camera.aspect, number(facts, "aspectRatio")));
        }
    }
}

static void expect_lights(const char *name, const lb_scene *scene, const json_t *lights)
{
    const json_t *facts;
    size_t i;

    json_array_foreach(lights, i, facts)
    {
        const lb_item *item = nth_item(scene, LB_ITEM_LIGHT, i);
        const char *type = json_string_value(json_object_get(facts, "type"));
        const json_t *range = json_object_get(facts, "range");
        const json_t *color = json_object_get(facts, "color");
        const char *its = json_string_value(json_object_get(facts, "name"));
        bool far = strcmp(type, "directional") == 0;

        if (strcmp(type, "ambient") == 0)
            continue; /* the standard has no such type; lights_left_out */
        cr_assert(item, "%s: light %zu", name, i);
        cr_expect(strcmp(item->data_name, its ? its : "") == 0);
        cr_expect(strcmp(lb_light_type_names[item->light.type], type) == 0);
        cr_expect(near(item->light.color.x, json_number_value(json_array_get(color, 0))));
        cr_expect(near(item->light.color.y, json_number_value(json_array_get(color, 1))));
        cr_expect(near(item->light.color.z, json_number_value(json_array_get(color, 2))));
        cr_expect(near(item->light.intensity, number(facts, "intensity") / (far ? LB_PI : 1)),
                  "%s: light %zu: intensity %g", name, i, (double)item->light.intensity);
        cr_expect(item->light.decay == (far ? LB_DECAY_NONE : LB_DECAY_QUADRATIC));
        cr_expect(json_is_number(range) ? near(item->light.range, json_number_value(range))
                                        : item->light.range == INFINITY);
        if (strcmp(type, "spot") == 0) {
            cr_expect(near(item->light.inner_half_rad, number(facts, "innerConeAngle")));
            cr_expect(near(item->light.outer_half_rad, number(facts, "outerConeAngle")));
        }
    }
}

/* KHR_texture_transform: u' = offset + R(rotation) (scale u). */
static void expect_map(const char *name, const lb_material *material, lb_slot slot,
                       const json_t *facts, const json_t *textures)
{
    const json_t *texture =
        json_array_get(textures, (size_t)json_integer_value(json_object_get(facts, "texture")));
    const json_t *transform = json_object_get(facts, "transform");
    const json_t *offset = json_object_get(transform, "offset");
    const json_t *scale = json_object_get(transform, "scale");
    const char *wrap_u = json_string_value(json_object_get(texture, "wrapS"));
    const lb_texture_map *map = lb_texture_mapping(material->maps[slot]);
    double angle = number(transform, "rotation"), c = cos(angle), s = sin(angle);
    double su = scale ? json_number_value(json_array_get(scale, 0)) : 1;
    double sv = scale ? json_number_value(json_array_get(scale, 1)) : 1;
    double wanted[6] = {c * su,  s * sv, json_number_value(json_array_get(offset, 0)),
                        -s * su, c * sv, json_number_value(json_array_get(offset, 1))};

    cr_expect(map->uv_set == json_integer_value(json_object_get(facts, "texCoord")));
    for (int i = 0; i < 6; i++)
        cr_expect(near(map->matrix[i], wanted[i]), "%s: '%s': matrix %d is %g, not %g", name,
                  material->name, i, map->matrix[i], wanted[i]);
    cr_expect(map->wrap_u == (strcmp(wrap_u, "repeat") == 0            ? LB_WRAP_REPEAT
                              : strcmp(wrap_u, "mirrored-repeat") == 0 ? LB_WRAP_MIRROR
                                                                       : LB_WRAP_CLAMP),
              "%s: wrap %d for %s", name, map->wrap_u, wrap_u);
}

static void expect_materials(const char *name, const lb_mesh *mesh, const json_t *facts_of_file)
{
    const json_t *facts, *list = json_object_get(facts_of_file, "materials");
    bool no_files = json_array_size(json_object_get(facts_of_file, "missingFiles")) >=
                    (size_t)count_of(facts_of_file, "images");
    static const char *const modes[] = {"OPAQUE", "MASK", "BLEND"};
    size_t i;

    json_array_foreach(list, i, facts)
    {
        const lb_material *m = mesh->primitives[i].material;
        const json_t *base = json_object_get(facts, "baseColorFactor");
        const json_t *maps = json_object_get(facts, "maps");
        bool unlit = json_is_true(json_object_get(facts, "unlit"));
        const char *its = json_string_value(json_object_get(facts, "name"));

        cr_expect(strcmp(m->name, its ? its : "") == 0, "%s: '%s'", name, m->name);
        cr_expect(m->shading == (unlit ? LB_SHADING_UNLIT : LB_SHADING_METAL_ROUGH));
        cr_expect(near(m->base_color.x, json_number_value(json_array_get(base, 0))));
        cr_expect(near(m->base_color.y, json_number_value(json_array_get(base, 1))));
        cr_expect(near(m->base_color.z, json_number_value(json_array_get(base, 2))));
        cr_expect(strcmp(json_string_value(json_object_get(facts, "alphaMode")),
                         modes[m->alpha_mode]) == 0);
        if (m->alpha_mode != LB_ALPHA_OPAQUE)
            cr_expect(near(m->opacity, json_number_value(json_array_get(base, 3))));
        cr_expect(m->double_sided == json_is_true(json_object_get(facts, "doubleSided")));
        if (!unlit) {
            const json_t *emission = json_object_get(facts, "emissiveFactor");

            cr_expect(near(m->metallic, number(facts, "metallicFactor")));
            cr_expect(near(m->roughness, number(facts, "roughnessFactor")));
            cr_expect(near(m->emission.x, json_number_value(json_array_get(emission, 0))));
            cr_expect(near(m->emission.z, json_number_value(json_array_get(emission, 2))));
        }
        if (no_files)
            cr_expect(!m->maps[LB_SLOT_BASE_COLOR]);
        else if (json_object_get(maps, "baseColor")) {
            cr_assert(m->maps[LB_SLOT_BASE_COLOR], "%s: material %zu has no map", name, i);
            expect_map(name, m, LB_SLOT_BASE_COLOR, json_object_get(maps, "baseColor"),
                       json_object_get(facts_of_file, "textures"));
        }
    }
}

static bool is_fragment(const json_t *facts)
{
    return json_integer_value(json_object_get(facts, "sceneNodes")) == 0 ||
           count_of(facts, "materials") > 0;
}

Test(gltf_files, parts_are_what_others_found)
{
    json_t *expected = load_expected(), *facts;
    const char *name;
    int cameras = 0, lights = 0, materials = 0, triangles_seen = 0;

    json_object_foreach(expected, name, facts)
    {
        char path[FILES_PATH];
        lb_diag *diag = lb_diag_new();
        const uint8_t *bin;
        size_t count, bin_count, packed_count;
        void *bytes, *packed;
        int64_t triangles, instances;
        json_t *root;
        lb_scene *scene;

        snprintf(path, sizeof path, "%s/gltf/%s", LB_TEST_DATA, name);
        bytes = files_load(path, &count);
        root = files_json(bytes, count, &bin, &bin_count);
        use_everything(root);
        packed = files_pack(root, bin, bin_count, &packed_count);
        if (!is_fragment(facts)) {
            /* read by the other test already */
        } else if (files_read(diag, path, packed, packed_count, &scene)) {
            cr_expect(may_be_refused(facts), "%s: %s", name, files_messages(diag));
        } else {
            const json_t *list = json_object_get(facts, "materials");
            int32_t item = lb_scene_find(scene, LB_ITEM_MESH, "materials");

            expect_sound(name, scene);
            expect_cameras(name, scene, json_object_get(facts, "cameras"));
            expect_lights(name, scene, json_object_get(facts, "lights"));
            if (item >= 0)
                expect_materials(name, scene->items[item].mesh, facts);
            meshes_used(scene, &triangles, &instances);
            if (strncmp(name, "feature-tests/mesh.", 19) == 0 ||
                strncmp(name, "feature-tests/mesh-embedded", 27) == 0)
                triangles++; /* the one of mesh*.gltf that has indices and nothing else */
            cr_expect(triangles == json_integer_value(json_object_get(facts, "triangles")) +
                                       (int64_t)json_array_size(list),
                      "%s: %lld triangles", name, (long long)triangles);
            cameras += (int)json_array_size(json_object_get(facts, "cameras"));
            lights += (int)json_array_size(json_object_get(facts, "lights"));
            materials += (int)json_array_size(list);
            triangles_seen += (int)triangles;
            lb_scene_unref(&scene);
        }
        free(packed);
        json_decref(root);
        lb_free(bytes);
        lb_diag_free(&diag);
    }
    cr_expect(cameras >= 4 && lights >= 5 && materials >= 20 && triangles_seen >= 100,
              "%d cameras, %d lights, %d materials, %d triangles", cameras, lights, materials,
              triangles_seen);
    json_decref(expected);
}

/* Broken files: refused with a message, or read as far as they are sound. */
typedef struct {
    int read, refused;
} tally;

static void try_broken(const char *path, void *context)
{
    tally *t = context;
    lb_diag *diag = lb_diag_new();
    lb_scene *scene;
    size_t count;
    void *bytes = files_load(path, &count);

    if (files_read(diag, path, bytes, count, &scene) == LB_OK) {
        expect_sound(path, scene);
        t->read++;
    } else {
        cr_expect(lb_diag_count(diag, LB_ERROR) > 0, "%s: refused without a word", path);
        cr_expect(scene == NULL);
        t->refused++;
    }
    lb_scene_unref(&scene);
    lb_free(bytes);
    lb_diag_free(&diag);
}

Test(gltf_files, broken_ones_are_refused_or_read)
{
    tally t = {0, 0};
    int count = files_each(LB_TEST_DATA "/gltf-invalid", try_broken, &t);

    cr_expect(count > 150 && t.read + t.refused == count, "%d files", count);
    cr_expect(t.refused > 30 && t.read > 40, "%d read, %d refused", t.read, t.refused);
}

/* What the message says, for a file of each kind of trouble. */
static const struct {
    const char *file;
    lb_status status;
    const char *message;
} refusals[] = {
    {"feature-tests/scene-invalid-cycle-deep.gltf", LB_FORMAT, "/nodes: "},
    {"feature-tests/scene-invalid-multiple-parents.gltf", LB_FORMAT, "/nodes/2: "},
    {"feature-tests/scene-invalid-child-oob.gltf", LB_FORMAT, "/nodes/4/children: "},
    {"feature-tests/scene-default-oob.gltf", LB_FORMAT, "/scene: "},
    {"feature-tests/required-extensions-unsupported.gltf", LB_UNSUPPORTED, "'EXT_lights_image_"},
    {"feature-tests/version-legacy.gltf", LB_UNSUPPORTED, "/asset/version: "},
    {"feature-tests/version-unsupported.gltf", LB_UNSUPPORTED, "/asset/version: "},
    {"validator/base/data/asset/min_version_valid.gltf", LB_UNSUPPORTED, "/asset/minVersion: "},
    {"feature-tests/error.gltf", LB_FORMAT, "/asset: "},
    {"validator/base/data/json/empty_file.gltf", LB_FORMAT, "JSON, line 1"},
    {"validator/base/data/glb/zero_length.glb", LB_FORMAT, "header"},
};

Test(gltf_files, messages_name_the_place)
{
    for (size_t i = 0; i < sizeof refusals / sizeof refusals[0]; i++) {
        char path[FILES_PATH];
        lb_diag *diag = lb_diag_new();
        lb_scene *scene;
        lb_status status;
        size_t count;
        void *bytes;

        snprintf(path, sizeof path, "%s/gltf-invalid/%s", LB_TEST_DATA, refusals[i].file);
        bytes = files_load(path, &count);
        status = files_read(diag, path, bytes, count, &scene);
        cr_expect(status == refusals[i].status, "%s: %s", refusals[i].file, lb_status_text(status));
        cr_expect(strstr(files_messages(diag), refusals[i].message), "%s", files_messages(diag));
        lb_scene_unref(&scene);
        lb_free(bytes);
        lb_diag_free(&diag);
    }
}
