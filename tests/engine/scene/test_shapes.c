/* tests/engine/scene/test_shapes.c: shapes are closed, face outwards, and have the area and volume
 * that elementary geometry gives them. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "engine/base/math.h"
#include "engine/base/memory.h"
#include "engine/scene/mesh.h"

typedef struct {
    double area, volume;
} measure;

static lb_vec3d corner(const lb_primitive *p, int32_t i)
{
    lb_vec3 v = p->positions[p->indices[i]];

    return (lb_vec3d){v.x, v.y, v.z};
}

static lb_vec3d face_vector(const lb_primitive *p, int32_t t)
{
    lb_vec3d a = corner(p, 3 * t), b = corner(p, 3 * t + 1), c = corner(p, 3 * t + 2);
    lb_vec3d e = {b.x - a.x, b.y - a.y, b.z - a.z}, f = {c.x - a.x, c.y - a.y, c.z - a.z};

    return (lb_vec3d){e.y * f.z - e.z * f.y, e.z * f.x - e.x * f.z, e.x * f.y - e.y * f.x};
}

/* Area, and volume by the divergence theorem: a sixth of the sum of a . (b x c). */
static measure measure_of(const lb_mesh *mesh)
{
    const lb_primitive *p = &mesh->primitives[0];
    measure m = {0, 0};

    for (int32_t t = 0; t < p->triangle_count; t++) {
        lb_vec3d n = face_vector(p, t), a = corner(p, 3 * t);

        m.area += sqrt(n.x * n.x + n.y * n.y + n.z * n.z) / 2;
        m.volume += (n.x * a.x + n.y * a.y + n.z * a.z) / 6;
    }
    return m;
}

typedef struct {
    float x, y, z;
} place;

typedef struct {
    place from, to;
} edge;

static int compare_edges(const void *a, const void *b)
{
    return memcmp(a, b, sizeof(edge));
}

/* Every edge is there once in each direction, by exact positions: closed, and turned one way. */
static bool is_closed(const lb_mesh *mesh)
{
    const lb_primitive *p = &mesh->primitives[0];
    size_t count = (size_t)p->triangle_count * 3;
    edge *edges = malloc(count * sizeof *edges);
    bool closed = true;

    cr_assert(edges);
    for (size_t i = 0; i < count; i++) {
        size_t next = i % 3 == 2 ? i - 2 : i + 1;
        lb_vec3 a = p->positions[p->indices[i]], b = p->positions[p->indices[next]];

        /* + 0 makes -0 the same as 0 */
        edges[i] = (edge){{a.x + 0, a.y + 0, a.z + 0}, {b.x + 0, b.y + 0, b.z + 0}};
    }
    qsort(edges, count, sizeof *edges, compare_edges);
    for (size_t i = 0; i < count && closed; i++) {
        edge back = {edges[i].to, edges[i].from};

        closed = bsearch(&back, edges, count, sizeof *edges, compare_edges) &&
                 (i == 0 || compare_edges(&edges[i], &edges[i - 1]) != 0);
    }
    free(edges);
    return closed;
}

/* Normals are unit and on the side that the faces show; uvs are in 0 .. 1. */
static void expect_sound(const char *name, const lb_mesh *mesh)
{
    const lb_primitive *p = &mesh->primitives[0];

    cr_assert(mesh->primitive_count == 1 && !p->material && p->normals && p->uvs[0]);
    for (int32_t i = 0; i < p->vertex_count; i++) {
        lb_vec2 uv = p->uvs[0][i];

        cr_expect(fabsf(lb_vec3_length(p->normals[i]) - 1) < 1e-6f, "%s: normal %d", name, i);
        cr_expect(uv.x >= 0 && uv.x <= 1 && uv.y >= 0 && uv.y <= 1, "%s: uv %d", name, i);
    }
    for (int32_t t = 0; t < p->triangle_count; t++) {
        lb_vec3d face = face_vector(p, t);

        cr_expect(face.x != 0 || face.y != 0 || face.z != 0, "%s: triangle %d is flat", name, t);
        for (int32_t k = 0; k < 3; k++) {
            lb_vec3 n = p->normals[p->indices[3 * t + k]];

            cr_expect(face.x * n.x + face.y * n.y + face.z * n.z > 0, "%s: triangle %d", name, t);
        }
    }
}

static lb_mesh *shape(const char *name, int32_t n)
{
    lb_mesh *mesh = NULL;
    lb_status status = LB_INVALID;

    if (name[0] == 's')
        status = lb_mesh_sphere(1.5, 2 * n, n, &mesh);
    else if (name[0] == 'c')
        status = lb_mesh_cylinder(0.5, 3, n, &mesh);
    else if (name[0] == 't')
        status = lb_mesh_torus(2, 0.5, 2 * n, n, &mesh);
    else if (name[0] == 'b')
        status = lb_mesh_box(1, 2, 3, &mesh);
    cr_assert(status == LB_OK, "%s", name);
    return mesh;
}

/* Sphere 4 pi r^2, 4/3 pi r^3; cylinder 2 pi r (r + h), pi r^2 h; torus 4 pi^2 R r, 2 pi^2 R r^2
 * (Pappus); the inscribed solid has less, and the lack falls with the square of the facets. */
Test(shapes, measures_converge)
{
    static const struct {
        const char *name;
        double area, volume;
    } shapes[] = {
        {"sphere", 4 * LB_PI * 2.25, 4 * LB_PI / 3 * 3.375},
        {"cylinder", 2 * LB_PI * 0.5 * 3.5, LB_PI * 0.25 * 3},
        {"torus", 4 * LB_PI * LB_PI * 2 * 0.5, 2 * LB_PI * LB_PI * 2 * 0.25},
    };

    for (size_t i = 0; i < sizeof shapes / sizeof shapes[0]; i++) {
        double lack_area = 0, lack_volume = 0;

        for (int32_t n = 16; n <= 128; n *= 2) {
            lb_mesh *mesh = shape(shapes[i].name, n);
            measure m = measure_of(mesh);
            double area = 1 - m.area / shapes[i].area, volume = 1 - m.volume / shapes[i].volume;

            cr_expect(is_closed(mesh), "%s of %d is open", shapes[i].name, n);
            expect_sound(shapes[i].name, mesh);
            cr_expect(area > 0 && volume > 0, "%s of %d: %g %g", shapes[i].name, n, area, volume);
            if (n > 16) {
                cr_expect(fabs(lack_area / area - 4) < 0.1, "%s: area by %g", shapes[i].name,
                          lack_area / area);
                cr_expect(fabs(lack_volume / volume - 4) < 0.1, "%s: volume by %g", shapes[i].name,
                          lack_volume / volume);
            }
            lack_area = area;
            lack_volume = volume;
            lb_mesh_unref(&mesh);
        }
    }
}

Test(shapes, box_and_plane_are_exact)
{
    lb_mesh *mesh = shape("box", 0);
    measure m = measure_of(mesh);

    cr_expect(is_closed(mesh) && m.area == 22 && m.volume == 6);
    expect_sound("box", mesh);
    cr_expect(mesh->low.x == -0.5f && mesh->low.y == -1 && mesh->high.z == 1.5f);
    lb_mesh_unref(&mesh);
    cr_assert(lb_mesh_plane(4, 2, 3, 5, &mesh) == LB_OK);
    cr_expect(fabs(measure_of(mesh).area - 8) < 1e-6 && mesh->primitives[0].triangle_count == 30);
    expect_sound("plane", mesh);
    cr_expect(mesh->primitives[0].normals[7].z == 1);
    lb_mesh_unref(&mesh);
}

/* As one looks at the front (+z), u runs to the right and v down, and u is 1/2 in the middle. */
Test(shapes, textures_lie_upright)
{
    static const char *const names[] = {"sphere", "cylinder", "torus"};

    for (size_t i = 0; i < 3; i++) {
        lb_mesh *mesh = shape(names[i], 32);
        const lb_primitive *p = &mesh->primitives[0];
        int seen = 0;

        for (int32_t v = 0; v < p->vertex_count; v++) {
            lb_vec3 at = p->positions[v], n = p->normals[v];

            if (!(n.z > 0.5f) || !(at.z > 0))
                continue; /* the front */
            seen++;
            cr_expect((p->uvs[0][v].x - 0.5f) * at.x >= -1e-6f, "%s: u %g at x %g", names[i],
                      (double)p->uvs[0][v].x, (double)at.x);
            cr_expect((p->uvs[0][v].y - 0.5f) * at.y <= 1e-6f, "%s: v %g at y %g", names[i],
                      (double)p->uvs[0][v].y, (double)at.y);
        }
        cr_expect(seen > 10);
        lb_mesh_unref(&mesh);
    }
}

Test(shapes, refuse_what_has_no_size)
{
    lb_mesh *mesh;

    cr_expect(lb_mesh_sphere(0, 8, 8, &mesh) == LB_INVALID && !mesh);
    cr_expect(lb_mesh_sphere(1, 2, 8, &mesh) == LB_INVALID && !mesh);
    cr_expect(lb_mesh_sphere(1, 1 << 20, 1 << 20, &mesh) == LB_LIMIT && !mesh);
    cr_expect(lb_mesh_plane(-1, 1, 1, 1, &mesh) == LB_INVALID && !mesh);
    cr_expect(lb_mesh_box(1, NAN, 1, &mesh) == LB_INVALID && !mesh);
    cr_expect(lb_mesh_cylinder(1, 1, 2, &mesh) == LB_INVALID && !mesh);
    cr_expect(lb_mesh_torus(1, 2, 8, 8, &mesh) == LB_INVALID && !mesh);
}

Test(shapes, survive_want_of_memory)
{
    for (int64_t n = 1; n < 100; n++) {
        lb_mesh *mesh;
        lb_status status;

        lb_memory_fail_at(n);
        status = lb_mesh_sphere(1, 8, 8, &mesh);
        lb_memory_fail_at(0);
        cr_expect((status == LB_OK) == (mesh != NULL));
        lb_mesh_unref(&mesh);
        cr_expect(lb_memory_used() == 0, "allocation %lld", (long long)n);
        if (status == LB_OK) {
            cr_expect(n > 5);
            return;
        }
        cr_expect(status == LB_MEMORY);
    }
    cr_expect(false, "it never succeeded");
}

/* glTF 2.0, 3.7.2.1: without normals faces are flat, and every corner has a vertex of its own. */
Test(mesh, flat_normals_split_vertices)
{
    static const lb_vec3 positions[4] = {{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {0, 0, 1}};
    static const uint32_t indices[9] = {0, 1, 2, 0, 2, 3, 1, 1, 2};
    lb_mesh *mesh, *copy;
    lb_primitive *p;

    cr_assert(lb_mesh_new("m", 1, &mesh) == LB_OK);
    p = &mesh->primitives[0];
    p->vertex_count = 4;
    p->triangle_count = 3;
    p->positions = lb_alloc(4, sizeof(lb_vec3));
    p->uvs[0] = lb_alloc(4, sizeof(lb_vec2));
    p->indices = lb_alloc(9, sizeof(uint32_t));
    cr_assert(p->positions && p->uvs[0] && p->indices);
    memcpy(p->positions, positions, sizeof positions);
    memcpy(p->indices, indices, sizeof indices);
    p->uvs[0][2] = (lb_vec2){0.25f, 0.75f};
    cr_assert(lb_mesh_finish(mesh) == LB_OK);
    cr_expect(p->vertex_count == 9 && p->indices[8] == 8);
    cr_expect(p->normals[0].z == 1 && p->normals[2].z == 1 && p->normals[3].x == 1);
    cr_expect(fabsf(lb_vec3_length(p->normals[7]) - 1) < 1e-6f, "a triangle without area");
    cr_expect(p->uvs[0][2].x == 0.25f && p->uvs[0][4].y == 0.75f && p->uvs[0][0].x == 0);
    cr_expect(mesh->low.x == 0 && mesh->high.x == 1 && mesh->high.z == 1);
    cr_assert(lb_mesh_copy(mesh, &copy) == LB_OK);
    lb_mesh_unref(&mesh);
    cr_expect(copy->primitives[0].positions[4].y == 1 && copy->high.z == 1);
    cr_expect(copy->primitives[0].uvs[1] == NULL && strcmp(copy->name, "m") == 0);
    lb_mesh_unref(&copy);
}

Test(mesh, given_normals_are_made_unit)
{
    lb_mesh *mesh;
    lb_primitive *p;

    cr_assert(lb_mesh_plane(1, 1, 1, 1, &mesh) == LB_OK);
    p = &mesh->primitives[0];
    p->normals[0] = (lb_vec3){0, 3e30f, 4e30f};
    p->normals[1] = (lb_vec3){0, 0, 0};
    p->normals[2] = (lb_vec3){NAN, 0, 0};
    cr_assert(lb_mesh_finish(mesh) == LB_OK);
    cr_expect(fabsf(p->normals[0].y - 0.6f) < 1e-6f && fabsf(p->normals[0].z - 0.8f) < 1e-6f);
    cr_expect(p->normals[1].z == 1 && p->normals[2].z == 1, "that of their face");
    p->indices[4] = 4;
    cr_expect(lb_mesh_finish(mesh) == LB_FORMAT);
    lb_mesh_unref(&mesh);
}
