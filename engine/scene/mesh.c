/* engine/scene/mesh.c: making, checking and sharing triangles. */
#include "engine/scene/mesh.h"

#include <math.h>
#include <string.h>

#include "engine/base/memory.h"

lb_status lb_mesh_new(const char *name, int32_t primitive_count, lb_mesh **out)
{
    lb_mesh *mesh = lb_alloc(1, sizeof *mesh);

    *out = NULL;
    if (!mesh)
        return LB_MEMORY;
    lb_refs_init(&mesh->refs);
    mesh->low = (lb_vec3){INFINITY, INFINITY, INFINITY};
    mesh->high = (lb_vec3){-INFINITY, -INFINITY, -INFINITY};
    if (!(mesh->name = lb_strdup(name ? name : "")) ||
        (primitive_count > 0 &&
         !(mesh->primitives = lb_alloc((size_t)primitive_count, sizeof *mesh->primitives)))) {
        lb_mesh_unref(&mesh);
        return LB_MEMORY;
    }
    mesh->primitive_count = primitive_count > 0 ? primitive_count : 0;
    *out = mesh;
    return LB_OK;
}

lb_mesh *lb_mesh_ref(const lb_mesh *mesh)
{
    lb_mesh *shared = (lb_mesh *)mesh;

    if (shared)
        lb_refs_take(&shared->refs);
    return shared;
}

static void clear_primitive(lb_primitive *p)
{
    lb_free(p->positions);
    lb_free(p->normals);
    lb_free(p->tangents);
    lb_free(p->uvs[0]);
    lb_free(p->uvs[1]);
    lb_free(p->colors);
    lb_free(p->indices);
    lb_material_unref(&p->material);
}

void lb_mesh_unref(lb_mesh **mesh)
{
    lb_mesh *old = *mesh;

    *mesh = NULL;
    if (!old || !lb_refs_drop(&old->refs))
        return;
    for (int32_t i = 0; i < old->primitive_count; i++)
        clear_primitive(&old->primitives[i]);
    lb_free(old->primitives);
    lb_free(old->name);
    lb_free(old);
}

size_t lb_mesh_bytes(const lb_mesh *mesh)
{
    size_t bytes = sizeof *mesh;

    for (int32_t i = 0; i < mesh->primitive_count; i++) {
        const lb_primitive *p = &mesh->primitives[i];
        size_t each = sizeof *p->positions;

        each += p->normals ? sizeof *p->normals : 0;
        each += p->tangents ? sizeof *p->tangents : 0;
        each += p->uvs[0] ? sizeof *p->uvs[0] : 0;
        each += p->uvs[1] ? sizeof *p->uvs[1] : 0;
        each += p->colors ? sizeof *p->colors : 0;
        bytes += sizeof *p + each * (size_t)p->vertex_count;
        bytes += (size_t)p->triangle_count * 3 * sizeof *p->indices;
    }
    return bytes;
}

/* A copy of `count` things; NULL of nothing is no failure. */
static bool copy_array(void **out, const void *from, size_t count, size_t size)
{
    if (!from || count == 0)
        return true;
    if (!(*out = lb_alloc(count, size)))
        return false;
    memcpy(*out, from, count * size);
    return true;
}

lb_status lb_mesh_copy(const lb_mesh *mesh, lb_mesh **out)
{
    lb_status status = lb_mesh_new(mesh->name, mesh->primitive_count, out);

    for (int32_t i = 0; i < mesh->primitive_count && status == LB_OK; i++) {
        const lb_primitive *from = &mesh->primitives[i];
        lb_primitive *to = &(*out)->primitives[i];
        size_t n = (size_t)from->vertex_count, corners = (size_t)from->triangle_count * 3;

        to->vertex_count = from->vertex_count;
        to->triangle_count = from->triangle_count;
        to->material = lb_material_ref(from->material);
        if (!copy_array((void **)&to->positions, from->positions, n, sizeof *to->positions) ||
            !copy_array((void **)&to->normals, from->normals, n, sizeof *to->normals) ||
            !copy_array((void **)&to->tangents, from->tangents, n, sizeof *to->tangents) ||
            !copy_array((void **)&to->uvs[0], from->uvs[0], n, sizeof *to->uvs[0]) ||
            !copy_array((void **)&to->uvs[1], from->uvs[1], n, sizeof *to->uvs[1]) ||
            !copy_array((void **)&to->colors, from->colors, n, sizeof *to->colors) ||
            !copy_array((void **)&to->indices, from->indices, corners, sizeof *to->indices))
            status = LB_MEMORY;
    }
    if (status) {
        lb_mesh_unref(out);
        return status;
    }
    (*out)->low = mesh->low;
    (*out)->high = mesh->high;
    return LB_OK;
}

/* The unit normal of a triangle; +y for one without area, so that it is always a direction. */
static lb_vec3 face_normal(const lb_vec3 *positions, const uint32_t *corner)
{
    lb_vec3 a = positions[corner[0]];
    lb_vec3d e = {(double)positions[corner[1]].x - a.x, (double)positions[corner[1]].y - a.y,
                  (double)positions[corner[1]].z - a.z};
    lb_vec3d f = {(double)positions[corner[2]].x - a.x, (double)positions[corner[2]].y - a.y,
                  (double)positions[corner[2]].z - a.z};
    double x = e.y * f.z - e.z * f.y, y = e.z * f.x - e.x * f.z, z = e.x * f.y - e.y * f.x;
    double length = sqrt(x * x + y * y + z * z);

    if (!(length > 0) || !(length < INFINITY))
        return (lb_vec3){0, 1, 0};
    return (lb_vec3){(float)(x / length), (float)(y / length), (float)(z / length)};
}

/* array[i] = array[indices[i]] for the three corners of all triangles: every corner gets a vertex
 * of its own. */
#define SPLIT(type, array)                                                                         \
    do {                                                                                           \
        type *fresh = (array) ? lb_alloc(corners, sizeof *fresh) : NULL;                           \
        if (!(array))                                                                              \
            break;                                                                                 \
        if (!fresh)                                                                                \
            return LB_MEMORY;                                                                      \
        for (size_t i = 0; i < corners; i++)                                                       \
            fresh[i] = (array)[p->indices[i]];                                                     \
        lb_free(array);                                                                            \
        (array) = fresh;                                                                           \
    } while (0)

/* glTF 2.0, 3.7.2.1: without normals they are flat, and given tangents are ignored. */
static lb_status make_flat(lb_primitive *p)
{
    size_t corners = (size_t)p->triangle_count * 3;
    lb_vec3 *normals;

    if (p->triangle_count > INT32_MAX / 3)
        return LB_LIMIT;
    lb_free(p->tangents);
    p->tangents = NULL;
    if (corners == 0) {
        p->vertex_count = 0;
        return LB_OK;
    }
    if (!(normals = lb_alloc(corners, sizeof *normals)))
        return LB_MEMORY;
    for (size_t i = 0; i < corners; i += 3)
        normals[i] = normals[i + 1] = normals[i + 2] = face_normal(p->positions, p->indices + i);
    p->normals = normals;
    SPLIT(lb_vec3, p->positions);
    SPLIT(lb_vec2, p->uvs[0]);
    SPLIT(lb_vec2, p->uvs[1]);
    SPLIT(lb_vec4, p->colors);
    for (size_t i = 0; i < corners; i++)
        p->indices[i] = (uint32_t)i;
    p->vertex_count = (int32_t)corners;
    return LB_OK;
}

/* Given normals made unit; what has no direction takes that of the first face that uses it. */
static void make_unit(lb_primitive *p)
{
    for (int32_t i = 0; i < p->vertex_count; i++) {
        lb_vec3 n = p->normals[i];
        double length = sqrt((double)n.x * n.x + (double)n.y * n.y + (double)n.z * n.z);

        if (length > 0 && length < INFINITY)
            p->normals[i] =
                (lb_vec3){(float)(n.x / length), (float)(n.y / length), (float)(n.z / length)};
        else
            p->normals[i] = (lb_vec3){0, 0, 0};
    }
    for (size_t i = 0; i < (size_t)p->triangle_count * 3; i++) {
        lb_vec3 *n = &p->normals[p->indices[i]];

        if (n->x == 0 && n->y == 0 && n->z == 0)
            *n = face_normal(p->positions, p->indices + i / 3 * 3);
    }
    for (int32_t i = 0; i < p->vertex_count; i++) {
        lb_vec3 *n = &p->normals[i];

        if (n->x == 0 && n->y == 0 && n->z == 0)
            *n = (lb_vec3){0, 1, 0}; /* no face uses it */
    }
}

static void widen(lb_mesh *mesh, const lb_primitive *p)
{
    for (size_t i = 0; i < (size_t)p->triangle_count * 3; i++) {
        lb_vec3 at = p->positions[p->indices[i]];

        mesh->low.x = fminf(mesh->low.x, at.x);
        mesh->low.y = fminf(mesh->low.y, at.y);
        mesh->low.z = fminf(mesh->low.z, at.z);
        mesh->high.x = fmaxf(mesh->high.x, at.x);
        mesh->high.y = fmaxf(mesh->high.y, at.y);
        mesh->high.z = fmaxf(mesh->high.z, at.z);
    }
}

lb_status lb_mesh_finish(lb_mesh *mesh)
{
    for (int32_t k = 0; k < mesh->primitive_count; k++) {
        lb_primitive *p = &mesh->primitives[k];

        for (size_t i = 0; i < (size_t)p->triangle_count * 3; i++)
            if (p->indices[i] >= (uint32_t)p->vertex_count)
                return LB_FORMAT;
        if (p->normals) {
            make_unit(p);
        } else {
            lb_status status = make_flat(p);

            if (status)
                return status;
        }
        widen(mesh, p);
    }
    return LB_OK;
}
