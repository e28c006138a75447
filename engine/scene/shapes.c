/* engine/scene/shapes.c: sphere, plane, box, cylinder, torus. */
#include <math.h>

#include "engine/base/math.h"
#include "engine/base/memory.h"
#include "engine/scene/mesh.h"

#define MAX_VERTICES (1 << 26)

/* Something to put vertices and triangles into; sizes are known before. */
typedef struct {
    lb_mesh *mesh;
    lb_primitive *p;
    size_t vertices, corners;
} builder;

static lb_status begin(builder *b, const char *name, int64_t vertices, int64_t triangles)
{
    lb_status status;

    b->vertices = b->corners = 0;
    if (vertices < 1 || vertices > MAX_VERTICES || triangles < 1 || triangles > MAX_VERTICES)
        return LB_LIMIT;
    if ((status = lb_mesh_new(name, 1, &b->mesh)))
        return status;
    b->p = b->mesh->primitives;
    b->p->positions = lb_alloc((size_t)vertices, sizeof *b->p->positions);
    b->p->normals = lb_alloc((size_t)vertices, sizeof *b->p->normals);
    b->p->uvs[0] = lb_alloc((size_t)vertices, sizeof *b->p->uvs[0]);
    b->p->indices = lb_alloc((size_t)triangles, 3 * sizeof *b->p->indices);
    if (!b->p->positions || !b->p->normals || !b->p->uvs[0] || !b->p->indices) {
        lb_mesh_unref(&b->mesh);
        return LB_MEMORY;
    }
    b->p->vertex_count = (int32_t)vertices;
    b->p->triangle_count = (int32_t)triangles;
    return LB_OK;
}

static lb_status finish(builder *b, lb_mesh **out)
{
    lb_status status = lb_mesh_finish(b->mesh);

    if (status)
        lb_mesh_unref(&b->mesh);
    *out = b->mesh;
    return status;
}

static uint32_t put_vertex(builder *b, lb_vec3d at, lb_vec3d normal, double u, double v)
{
    size_t i = b->vertices++;

    b->p->positions[i] = (lb_vec3){(float)at.x, (float)at.y, (float)at.z};
    b->p->normals[i] = (lb_vec3){(float)normal.x, (float)normal.y, (float)normal.z};
    b->p->uvs[0][i] = (lb_vec2){(float)u, (float)v};
    return (uint32_t)i;
}

static void put_triangle(builder *b, uint32_t i, uint32_t j, uint32_t k)
{
    b->p->indices[b->corners++] = i;
    b->p->indices[b->corners++] = j;
    b->p->indices[b->corners++] = k;
}

/* Two triangles of the grid cell whose upper left vertex is `at` in rows of `stride` vertices, seen
 * from outside with u to the right and v down. */
static void put_cell(builder *b, uint32_t at, uint32_t stride)
{
    put_triangle(b, at, at + stride, at + stride + 1);
    put_triangle(b, at, at + stride + 1, at + 1);
}

/* Sine and cosine of step i of n round the full circle; step n is step 0, so that seams close. */
static void circle(int32_t i, int32_t n, double *s, double *c)
{
    double angle = 2 * LB_PI * (i % n) / n;

    *s = lb_sin(angle);
    *c = lb_cos(angle);
}

/* u runs round the equator to the east, with its middle on +z; v from the north pole (+y) down. */
lb_status lb_mesh_sphere(double radius, int32_t segments, int32_t rings, lb_mesh **out)
{
    int64_t n = segments, m = rings;
    builder b;
    lb_status status;

    *out = NULL;
    if (segments < 3 || rings < 2 || !(radius > 0))
        return LB_INVALID;
    if ((status = begin(&b, "sphere", (n + 1) * (m + 1), 2 * n * (m - 1))))
        return status;
    for (int32_t i = 0; i <= rings; i++) {
        double polar = LB_PI * i / rings;
        double y = i == 0 ? 1 : i == rings ? -1 : lb_cos(polar);
        double ring = i == 0 || i == rings ? 0 : lb_sin(polar);

        for (int32_t j = 0; j <= segments; j++) {
            double s, c, u = (double)j / segments;
            lb_vec3d normal;

            circle(j, segments, &s, &c);
            normal = (lb_vec3d){-ring * s, y, -ring * c};
            if (ring == 0)
                u = fmin((j + 0.5) / segments, 1);
            put_vertex(&b, (lb_vec3d){normal.x * radius, y * radius, normal.z * radius}, normal, u,
                       (double)i / rings);
        }
    }
    for (int32_t i = 0; i < rings; i++)
        for (int32_t j = 0; j < segments; j++) {
            uint32_t stride = (uint32_t)segments + 1;
            uint32_t at = (uint32_t)i * stride + (uint32_t)j;

            if (i != rings - 1)
                put_triangle(&b, at, at + stride, at + stride + 1);
            else
                put_triangle(&b, at, at + stride, at + 1);
            if (i != 0 && i != rings - 1)
                put_triangle(&b, at, at + stride + 1, at + 1);
        }
    return finish(&b, out);
}

/* A grid of (across + 1) x (down + 1) vertices from `corner` along `right` and `below`. */
static void put_grid(builder *b, lb_vec3d corner, lb_vec3d right, lb_vec3d below, lb_vec3d normal,
                     int32_t across, int32_t down)
{
    uint32_t first = (uint32_t)b->vertices, stride = (uint32_t)across + 1;

    for (int32_t i = 0; i <= down; i++)
        for (int32_t j = 0; j <= across; j++) {
            double u = (double)j / across, v = (double)i / down;

            put_vertex(b,
                       (lb_vec3d){corner.x + right.x * u + below.x * v,
                                  corner.y + right.y * u + below.y * v,
                                  corner.z + right.z * u + below.z * v},
                       normal, u, v);
        }
    for (int32_t i = 0; i < down; i++)
        for (int32_t j = 0; j < across; j++)
            put_cell(b, first + (uint32_t)i * stride + (uint32_t)j, stride);
}

lb_status lb_mesh_plane(double width, double height, int32_t segments_x, int32_t segments_y,
                        lb_mesh **out)
{
    int64_t n = segments_x, m = segments_y;
    builder b;
    lb_status status;

    *out = NULL;
    if (n < 1 || m < 1 || !(width > 0) || !(height > 0))
        return LB_INVALID;
    if ((status = begin(&b, "plane", (n + 1) * (m + 1), 2 * n * m)))
        return status;
    put_grid(&b, (lb_vec3d){-width / 2, height / 2, 0}, (lb_vec3d){width, 0, 0},
             (lb_vec3d){0, -height, 0}, (lb_vec3d){0, 0, 1}, segments_x, segments_y);
    return finish(&b, out);
}

lb_status lb_mesh_box(double x, double y, double z, lb_mesh **out)
{
    double a = x / 2, b2 = y / 2, c = z / 2;
    builder b;
    lb_status status;

    *out = NULL;
    if (!(x > 0) || !(y > 0) || !(z > 0))
        return LB_INVALID;
    if ((status = begin(&b, "box", 24, 12)))
        return status;
    /* Each face as one sees it from outside: its upper left corner, to the right, down. */
    put_grid(&b, (lb_vec3d){-a, b2, c}, (lb_vec3d){x, 0, 0}, (lb_vec3d){0, -y, 0},
             (lb_vec3d){0, 0, 1}, 1, 1);
    put_grid(&b, (lb_vec3d){a, b2, -c}, (lb_vec3d){-x, 0, 0}, (lb_vec3d){0, -y, 0},
             (lb_vec3d){0, 0, -1}, 1, 1);
    put_grid(&b, (lb_vec3d){a, b2, c}, (lb_vec3d){0, 0, -z}, (lb_vec3d){0, -y, 0},
             (lb_vec3d){1, 0, 0}, 1, 1);
    put_grid(&b, (lb_vec3d){-a, b2, -c}, (lb_vec3d){0, 0, z}, (lb_vec3d){0, -y, 0},
             (lb_vec3d){-1, 0, 0}, 1, 1);
    put_grid(&b, (lb_vec3d){-a, b2, -c}, (lb_vec3d){x, 0, 0}, (lb_vec3d){0, 0, z},
             (lb_vec3d){0, 1, 0}, 1, 1);
    put_grid(&b, (lb_vec3d){-a, -b2, c}, (lb_vec3d){x, 0, 0}, (lb_vec3d){0, 0, -z},
             (lb_vec3d){0, -1, 0}, 1, 1);
    return finish(&b, out);
}

/* A cap at height y, seen from outside: its middle and a fan. */
static void put_cap(builder *b, double radius, double y, double up, int32_t segments)
{
    lb_vec3d normal = {0, up, 0};
    uint32_t middle = put_vertex(b, (lb_vec3d){0, y, 0}, normal, 0.5, 0.5);

    for (int32_t j = 0; j <= segments; j++) {
        double s, c;

        circle(j, segments, &s, &c);
        put_vertex(b, (lb_vec3d){-radius * s, y, -radius * c}, normal, 0.5 - 0.5 * s,
                   0.5 - 0.5 * up * c);
    }
    for (int32_t j = 1; j <= segments; j++) {
        uint32_t at = middle + (uint32_t)j;

        if (up > 0)
            put_triangle(b, middle, at, at + 1);
        else
            put_triangle(b, middle, at + 1, at);
    }
}

/* The wall as the sphere has it: u to the east, its middle on +z, v down. */
lb_status lb_mesh_cylinder(double radius, double height, int32_t segments, lb_mesh **out)
{
    int64_t n = segments;
    uint32_t stride = (uint32_t)segments + 1;
    builder b;
    lb_status status;

    *out = NULL;
    if (segments < 3 || !(radius > 0) || !(height > 0))
        return LB_INVALID;
    if ((status = begin(&b, "cylinder", 2 * (n + 1) + 2 * (n + 2), 4 * n)))
        return status;
    for (int32_t i = 0; i <= 1; i++)
        for (int32_t j = 0; j <= segments; j++) {
            double s, c;

            circle(j, segments, &s, &c);
            put_vertex(&b, (lb_vec3d){-radius * s, height * (0.5 - i), -radius * c},
                       (lb_vec3d){-s, 0, -c}, (double)j / segments, i);
        }
    for (int32_t j = 0; j < segments; j++)
        put_cell(&b, (uint32_t)j, stride);
    put_cap(&b, radius, height / 2, 1, segments);
    put_cap(&b, radius, -height / 2, -1, segments);
    return finish(&b, out);
}

/* u round the axis to the east, its middle on +z; v round the tube, from the innermost circle over
 * the top, outside and bottom, so that v runs down where one looks at it. */
lb_status lb_mesh_torus(double radius, double tube, int32_t segments, int32_t tube_segments,
                        lb_mesh **out)
{
    int64_t n = segments, m = tube_segments;
    uint32_t stride = (uint32_t)segments + 1;
    builder b;
    lb_status status;

    *out = NULL;
    if (segments < 3 || tube_segments < 3 || !(tube > 0) || !(radius >= tube))
        return LB_INVALID;
    if ((status = begin(&b, "torus", (n + 1) * (m + 1), 2 * n * m)))
        return status;
    for (int32_t i = 0; i <= tube_segments; i++) {
        double up, in, ring;

        circle(i, tube_segments, &up, &in);
        ring = radius - tube * in;
        for (int32_t j = 0; j <= segments; j++) {
            double s, c;

            circle(j, segments, &s, &c);
            put_vertex(&b, (lb_vec3d){-ring * s, tube * up, -ring * c},
                       (lb_vec3d){in * s, up, in * c}, (double)j / segments,
                       (double)i / tube_segments);
        }
    }
    for (int32_t i = 0; i < tube_segments; i++)
        for (int32_t j = 0; j < segments; j++)
            put_cell(&b, (uint32_t)i * stride + (uint32_t)j, stride);
    return finish(&b, out);
}
