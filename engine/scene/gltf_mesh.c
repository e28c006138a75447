/* engine/scene/gltf_mesh.c: meshes to triangles. glTF 2.0, 3.7.2. */
#include <string.h>

#include "engine/base/memory.h"
#include "engine/scene/gltf_read.h"

enum { POINTS, LINES, LINE_LOOP, LINE_STRIP, TRIANGLES, TRIANGLE_STRIP, TRIANGLE_FAN };

/* Reads an attribute into floats of `width` components; NULL and LB_OK where it is absent. */
static lb_status read_attribute(gltf *g, const json_t *attributes, const char *above,
                                const char *key, int32_t low, int32_t width, int64_t vertices,
                                void **out)
{
    char where[GLTF_WHERE];
    gltf_accessor a;
    int64_t index;
    float *floats;
    lb_status status;

    *out = NULL;
    if ((status = gltf_index(g, attributes, above, key, g->accessor_count, &index)) || index < 0 ||
        (status = gltf_accessor_open(g, (size_t)index, &a)))
        return status;
    gltf_below(where, above, key);
    if (a.components < low || a.components > width)
        return gltf_fail(g, LB_FORMAT, where, "an element has %d components; it has to have %d",
                         a.components, width);
    if (a.count != vertices)
        return gltf_fail(g, LB_FORMAT, where, "there are %lld elements for %lld vertices",
                         (long long)a.count, (long long)vertices);
    status = gltf_accessor_floats(g, &a, width, &floats);
    *out = status ? NULL : floats;
    return status;
}

/* How many vertices: the count of POSITION. -1: there is none. */
static lb_status count_vertices(gltf *g, const json_t *attributes, const char *above, int64_t *out)
{
    gltf_accessor a;
    int64_t index;
    lb_status status;

    *out = -1;
    if ((status = gltf_index(g, attributes, above, "POSITION", g->accessor_count, &index)) ||
        index < 0 || (status = gltf_accessor_open(g, (size_t)index, &a)))
        return status;
    *out = a.count;
    return LB_OK;
}

static lb_status read_attributes(gltf *g, const json_t *attributes, const char *above,
                                 int64_t vertices, lb_primitive *p)
{
    void *data[6] = {NULL};
    static const struct {
        const char *key;
        int32_t low, width;
    } wanted[6] = {{"POSITION", 3, 3},   {"NORMAL", 3, 3},     {"TANGENT", 4, 4},
                   {"TEXCOORD_0", 2, 2}, {"TEXCOORD_1", 2, 2}, {"COLOR_0", 3, 4}};
    lb_status status = LB_OK;

    for (int32_t i = 0; i < 6 && status == LB_OK; i++)
        status = read_attribute(g, attributes, above, wanted[i].key, wanted[i].low, wanted[i].width,
                                vertices, &data[i]);
    /* The structs are floats and nothing else, so the arrays are theirs. */
    p->positions = data[0];
    p->normals = data[1];
    p->tangents = data[2];
    p->uvs[0] = data[3];
    p->uvs[1] = data[4];
    p->colors = data[5];
    p->vertex_count = (int32_t)vertices;
    for (int64_t i = 0; p->colors && i < vertices; i++) {
        double rgb[3] = {p->colors[i].x, p->colors[i].y, p->colors[i].z};
        lb_vec3 color = gltf_color(g, rgb);

        p->colors[i] = (lb_vec4){color.x, color.y, color.z, p->colors[i].w};
    }
    return status;
}

/* Attributes that are not read, skin's apart: those are told of with the skin. */
static lb_status report_attributes(gltf *g, const json_t *attributes, const char *above)
{
    static const char *const known[] = {"POSITION",   "NORMAL",     "TANGENT",
                                        "TEXCOORD_0", "TEXCOORD_1", "COLOR_0"};
    char where[GLTF_WHERE];
    const char *key;
    json_t *value;

    json_object_foreach((json_t *)attributes, key, value)
    {
        bool is_known = strncmp(key, "JOINTS_", 7) == 0 || strncmp(key, "WEIGHTS_", 8) == 0;
        lb_status status;

        for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
            is_known |= strcmp(key, known[i]) == 0;
        if (!is_known && (status = gltf_fact(g, LB_FACT_DROPPED, gltf_below(where, above, key),
                                             "The attribute is not used.")))
            return status;
    }
    return LB_OK;
}

/* The vertices in the order of the primitive: its indices, or 0, 1, 2, ... *out NULL when none. */
static lb_status read_order(gltf *g, const json_t *object, const char *where, int64_t vertices,
                            uint32_t **out, int64_t *count)
{
    char path[GLTF_WHERE];
    gltf_accessor a;
    int64_t index;
    lb_status status;

    *out = NULL;
    *count = vertices;
    if ((status = gltf_index(g, object, where, "indices", g->accessor_count, &index)))
        return status;
    if (index < 0) {
        if (vertices == 0)
            return LB_OK;
        if (!(*out = lb_alloc((size_t)vertices, sizeof **out)))
            return gltf_no_memory(g);
        for (int64_t i = 0; i < vertices; i++)
            (*out)[i] = (uint32_t)i;
        return LB_OK;
    }
    if ((status = gltf_accessor_open(g, (size_t)index, &a)) ||
        (status = gltf_accessor_indices(g, &a, out)))
        return status;
    *count = a.count;
    for (int64_t i = 0; i < a.count; i++)
        if ((*out)[i] >= vertices)
            return gltf_fail(g, LB_FORMAT, gltf_below(path, where, "indices"),
                             "index %lld is %u; there are %lld vertices", (long long)i, (*out)[i],
                             (long long)vertices);
    return LB_OK;
}

/* glTF 2.0, 3.7.2.1: the corners of triangle i of a strip or fan, counter-clockwise. */
static void corners_of(int64_t mode, int64_t i, int64_t out[3])
{
    if (mode == TRIANGLE_FAN) {
        out[0] = i + 1;
        out[1] = i + 2;
        out[2] = 0;
    } else {
        out[0] = i;
        out[1] = i + 1 + i % 2;
        out[2] = i + 2 - i % 2;
    }
}

static lb_status read_triangles(gltf *g, const json_t *object, const char *where, int64_t mode,
                                lb_primitive *p)
{
    uint32_t *order = NULL;
    int64_t count, triangles;
    lb_status status = read_order(g, object, where, p->vertex_count, &order, &count);

    if (status == LB_OK && mode == TRIANGLES) {
        p->indices = order;
        p->triangle_count = (int32_t)(count / 3);
        return count % 3 == 0
                   ? LB_OK
                   : gltf_fact(g, LB_FACT_DROPPED, where,
                               "%lld corners make no whole number of triangles.", (long long)count);
    }
    triangles = status || count < 3 ? 0 : count - 2;
    if (triangles > INT32_MAX / 3)
        status = gltf_fail(g, LB_LIMIT, where, "there are too many triangles");
    else if (triangles > 0 && !(p->indices = lb_alloc((size_t)triangles, 3 * sizeof(uint32_t))))
        status = gltf_no_memory(g);
    for (int64_t i = 0; i < triangles && status == LB_OK; i++) {
        int64_t corners[3];

        corners_of(mode, i, corners);
        for (int32_t k = 0; k < 3; k++)
            p->indices[3 * i + k] = order[corners[k]];
    }
    p->triangle_count = status ? 0 : (int32_t)triangles;
    lb_free(order);
    return status;
}

static lb_status read_surface(gltf *g, const json_t *object, const char *where, lb_primitive *p)
{
    const gltf_material *material;
    char path[GLTF_WHERE];
    int64_t index;
    lb_status status;

    if ((status = gltf_index(g, object, where, "material", g->material_count, &index)) ||
        (status = gltf_material_get(g, index, &material)))
        return status;
    p->material = lb_material_ref(material->material);
    if (index < 0 && (status = gltf_fact(g, LB_FACT_ASSUMED, gltf_below(path, where, "material"),
                                         "No material: white metal of roughness 1, as the format "
                                         "has it.")))
        return status;
    for (int32_t set = 0; set < 2; set++)
        if (material->needs_uv[set] && !p->uvs[set] &&
            (status =
                 gltf_fact(g, LB_FACT_ASSUMED, where,
                           "A map lies by TEXCOORD_%d, which is missing: (0, 0) everywhere.", set)))
            return status;
    return LB_OK;
}

/* *kept false: it has no triangles to show, and that is recorded. */
static lb_status read_primitive(gltf *g, const json_t *object, const char *where, lb_primitive *p,
                                bool *kept)
{
    static const char *const shapes[] = {"Points are", "Lines are", "A line loop is",
                                         "A line strip is"};
    char path[GLTF_WHERE];
    const json_t *attributes, *targets;
    int64_t mode, vertices;
    lb_status status;

    *kept = false;
    if ((status = gltf_whole(g, object, where, "mode", TRIANGLES, POINTS, TRIANGLE_FAN, &mode)) ||
        (status = gltf_object(g, object, where, "attributes", &attributes)) ||
        (status = gltf_array(g, object, where, "targets", &targets)))
        return status;
    if (!attributes)
        return gltf_fail(g, LB_FORMAT, where, "attributes is missing");
    gltf_below(path, where, "attributes");
    if (mode < TRIANGLES)
        return gltf_fact(g, LB_FACT_DROPPED, where, "%s not drawn.", shapes[mode]);
    if ((status = count_vertices(g, attributes, path, &vertices)))
        return status;
    if (vertices < 0)
        return gltf_fact(g, LB_FACT_DROPPED, where, "There is no POSITION to draw.");
    *kept = true;
    if ((status = read_attributes(g, attributes, path, vertices, p)) ||
        (status = report_attributes(g, attributes, path)) ||
        (status = read_triangles(g, object, where, mode, p)) ||
        (status = read_surface(g, object, where, p)))
        return status;
    if (targets && (status = gltf_fact(g, LB_FACT_DROPPED, gltf_below(path, where, "targets"),
                                       "Morph targets are not used: the shape is the base.")))
        return status;
    if (!p->normals && p->triangle_count > 0)
        return gltf_fact(g, LB_FACT_ASSUMED, where, "No normals: faces are flat.");
    return LB_OK;
}

static lb_status read_mesh(gltf *g, const char *above, const json_t *primitives, const char *name,
                           lb_mesh **out)
{
    size_t count = json_array_size(primitives);
    char list[GLTF_WHERE], where[GLTF_WHERE], number[32];
    lb_status status;
    lb_mesh *mesh;

    gltf_below(list, above, "primitives");
    if (count > INT32_MAX)
        return gltf_fail(g, LB_LIMIT, list, "there are too many");
    if ((status = gltf_told(g, lb_mesh_new(name, (int32_t)count, &mesh))))
        return status;
    mesh->primitive_count = 0;
    for (size_t i = 0; i < count && status == LB_OK; i++) {
        lb_primitive *p = &mesh->primitives[mesh->primitive_count];
        const json_t *object;
        bool kept = false;

        snprintf(number, sizeof number, "%zu", i);
        gltf_below(where, list, number);
        if ((status = gltf_element(g, primitives, list, i, &object)) == LB_OK)
            status = read_primitive(g, object, where, p, &kept);
        mesh->primitive_count += kept;
    }
    if (status == LB_OK && (status = lb_mesh_finish(mesh)))
        status = status == LB_MEMORY ? gltf_no_memory(g)
                                     : gltf_fail(g, status, above, "its triangles are not sound");
    if (status)
        lb_mesh_unref(&mesh);
    *out = mesh;
    return status;
}

lb_status gltf_mesh_get(gltf *g, size_t index, const gltf_mesh **out)
{
    gltf_mesh *mesh = &g->meshes[index];
    char where[GLTF_WHERE];
    const json_t *object, *primitives;
    lb_status status;

    *out = mesh;
    if (mesh->mesh)
        return LB_OK;
    if ((status = gltf_root_element(g, "meshes", index, where, &object)) ||
        (status = gltf_text(g, object, where, "name", &mesh->name)) ||
        (status = gltf_array(g, object, where, "primitives", &primitives)))
        return status;
    if (!primitives)
        return gltf_fail(g, LB_FORMAT, where, "primitives is missing");
    return read_mesh(g, where, primitives, mesh->name, &mesh->mesh);
}
