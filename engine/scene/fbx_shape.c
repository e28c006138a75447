/* engine/scene/fbx_shape.c: places, polygons and layers of a geometry. */
#include "engine/scene/fbx_shape.h"

#include <math.h>
#include <string.h>

void fbx_shape_clear(fbx_shape *s)
{
    lb_free(s->places);
    lb_free(s->corners);
    lb_free(s->polygons);
    lb_free(s->outline);
    lb_free(s->triangles);
    lb_free(s->corner_vertices);
    lb_free(s->last_at);
    lb_free(s->before);
    fbx_layer_clear(&s->normals);
    fbx_layer_clear(&s->uvs[0]);
    fbx_layer_clear(&s->uvs[1]);
    fbx_layer_clear(&s->colors);
    fbx_layer_clear(&s->materials);
    lb_cutter_clear(&s->cutter);
}

static lb_status array_told(fbx_shape *s, lb_status status, const char *what)
{
    if (status == LB_MEMORY)
        return fbx_no_memory(s->g);
    return status ? fbx_fail(s->g, status, s->where, "%s is damaged", what) : LB_OK;
}

static lb_status read_places(fbx_shape *s, const lb_mat4 *geometric)
{
    double *numbers;
    size_t count;
    lb_status status = array_told(
        s, fbx_reals(&s->g->document, fbx_child(s->geometry->node, "Vertices"), &numbers, &count),
        "Vertices");

    if (status || count < 3)
        return status;
    s->place_count = count / 3;
    if (s->place_count > INT32_MAX / 3)
        status = fbx_fail(s->g, LB_LIMIT, s->where, "there are too many vertices");
    else if (!(s->places = lb_alloc(s->place_count, sizeof *s->places)))
        status = fbx_no_memory(s->g);
    for (size_t i = 0; i < s->place_count && status == LB_OK; i++) {
        const double *n = numbers + 3 * i;
        lb_vec3d p = {n[0], n[1], n[2]};

        p = fbx_point(s->g, lb_mat4_point(geometric, p));
        s->places[i] = (lb_vec3){(float)p.x, (float)p.y, (float)p.z};
        if (!(fabs(p.x) < 1e18 && fabs(p.y) < 1e18 && fabs(p.z) < 1e18))
            status = fbx_fail(s->g, LB_FORMAT, s->where, "vertex %zu is no place", i);
    }
    lb_free(numbers);
    return status;
}

static lb_status read_polygons(fbx_shape *s)
{
    size_t first = 0, count = 0, longest = 1;
    lb_status status =
        array_told(s,
                   fbx_wholes(&s->g->document, fbx_child(s->geometry->node, "PolygonVertexIndex"),
                              &s->corners, &s->corner_count),
                   "PolygonVertexIndex");

    if (status || s->corner_count == 0)
        return status;
    if (s->corner_count > INT32_MAX / 3)
        return fbx_fail(s->g, LB_LIMIT, s->where, "there are too many corners");
    for (size_t i = 0; i < s->corner_count; i++) {
        if ((uint64_t)fbx_place_of(s->corners[i]) >= s->place_count)
            return fbx_fail(s->g, LB_FORMAT, s->where,
                            "corner %zu is vertex %lld; there are %zu vertices", i,
                            (long long)fbx_place_of(s->corners[i]), s->place_count);
        count += s->corners[i] < 0;
    }
    if (s->corners[s->corner_count - 1] >= 0)
        fbx_fact(s->g, LB_FACT_DROPPED, s->where, "The last polygon does not end.");
    if (count == 0)
        return LB_OK;
    if (!(s->polygons = lb_alloc(count, sizeof *s->polygons)))
        return fbx_no_memory(s->g);
    for (size_t i = 0; i < s->corner_count; i++) {
        fbx_polygon *p = &s->polygons[s->polygon_count];

        if (s->corners[i] >= 0)
            continue;
        *p = (fbx_polygon){.first = first, .count = i + 1 - first, .part = s->material_count};
        longest = p->count > longest ? p->count : longest;
        first = i + 1;
        s->polygon_count++;
    }
    s->outline = lb_alloc(longest, sizeof *s->outline);
    s->triangles = lb_alloc(longest, 3 * sizeof *s->triangles);
    s->corner_vertices = lb_alloc(longest, sizeof *s->corner_vertices);
    s->last_at = lb_alloc(s->place_count, sizeof *s->last_at);
    s->before = lb_alloc(s->corner_count, sizeof *s->before);
    if (!s->outline || !s->triangles || !s->corner_vertices || !s->last_at || !s->before)
        return fbx_no_memory(s->g);
    for (size_t i = 0; i < s->place_count; i++)
        s->last_at[i] = -1;
    return LB_OK;
}

static lb_status read_layers(fbx_shape *s)
{
    static const fbx_layer_rule normals = {"Normal", "Normals", "NormalsIndex", 3},
                                uvs = {"UV", "UV", "UVIndex", 2},
                                colors = {"Color", "Colors", "ColorIndex", 4},
                                materials = {"Material", "Materials", NULL, 1};
    const fbx_counts counts = {s->corner_count, s->place_count, s->polygon_count};
    const fbx_object *geometry = s->geometry;
    lb_status status;

    if ((status = fbx_layer_read(s->g, geometry, &normals, 0, &counts, &s->normals)) ||
        (status = fbx_layer_read(s->g, geometry, &uvs, 0, &counts, &s->uvs[0])) ||
        (status = fbx_layer_read(s->g, geometry, &uvs, 1, &counts, &s->uvs[1])) ||
        (status = fbx_layer_read(s->g, geometry, &colors, 0, &counts, &s->colors)))
        return status;
    return fbx_layer_read(s->g, geometry, &materials, 0, &counts, &s->materials);
}

/* What lies in the geometry's layers and is not used. */
static void report_layers(fbx_shape *s)
{
    static const char *const read[] = {"Normal", "UV", "Color", "Material"};
    int seen[4] = {0}, most[4] = {1, 2, 1, 1};
    char where[FBX_WHERE];

    for (const fbx_node *at = s->geometry->node->first; at; at = at->next) {
        bool is_read = false;

        if (strncmp(at->name, "LayerElement", 12) != 0)
            continue;
        for (int i = 0; i < 4; i++)
            if (strcmp(at->name + 12, read[i]) == 0)
                is_read = seen[i]++ < most[i];
        if (!is_read)
            fbx_fact(s->g, LB_FACT_DROPPED, fbx_where(where, s->geometry, at->name),
                     "The layer is not used.");
    }
    if (s->normals.width == 0 && s->polygon_count)
        fbx_fact(s->g, LB_FACT_ASSUMED, fbx_where(where, s->geometry, "LayerElementNormal"),
                 "No normals: faces are flat.");
}

/* Materials by their number among those of the model. */
static void share_out(fbx_shape *s)
{
    for (size_t i = 0; i < s->polygon_count; i++) {
        fbx_spot spot = {s->polygons[i].first,
                         (size_t)fbx_place_of(s->corners[s->polygons[i].first]), i};
        const double *number = fbx_layer_at(&s->materials, &spot);
        double wanted = number ? *number : 0;

        if (wanted >= 0 && wanted < (double)s->material_count)
            s->polygons[i].part = (size_t)wanted;
        else if (s->material_count)
            s->outside++;
    }
}

/* How normals turn: the inverse transpose of the geometric transform, then into the graph's world.
 * Cofactors do for the inverse, because lengths do not count; where it mirrors, they turn round. */
static void set_normals(fbx_shape *s, const lb_mat4 *geometric)
{
    const double *m = geometric->m;
    double det = lb_mat4_det3(geometric), sense = det < 0 ? -1 : 1;
    double a[9] = {m[0], m[4], m[8], m[1], m[5], m[9], m[2], m[6], m[10]}, c[9];

    for (int r = 0; r < 3; r++)
        for (int k = 0; k < 3; k++) {
            int r1 = (r + 1) % 3, r2 = (r + 2) % 3, k1 = (k + 1) % 3, k2 = (k + 2) % 3;

            c[3 * r + k] =
                sense * (a[3 * r1 + k1] * a[3 * r2 + k2] - a[3 * r1 + k2] * a[3 * r2 + k1]);
        }
    for (int r = 0; r < 3; r++)
        for (int k = 0; k < 3; k++)
            s->normal_by[3 * r + k] = s->g->sign[r] * c[3 * s->g->axis[r] + k];
    s->flips = (det < 0) != s->g->is_mirrored;
}

lb_status fbx_shape_read(fbx_shape *s, const fbx_object *model, const lb_mat4 *geometric)
{
    lb_status status;

    set_normals(s, geometric);
    for (size_t i = 0; i < model->down_count; i++) {
        const fbx_link *link = fbx_down(s->g, model, i);

        s->material_count +=
            !link->property && fbx_is_class(&s->g->objects[link->child], "Material");
    }
    if ((status = read_places(s, geometric)) || (status = read_polygons(s)) ||
        (status = read_layers(s)))
        return status;
    share_out(s);
    report_layers(s);
    return LB_OK;
}
