/* engine/scene/fbx_mesh.c: polygons and their layers to triangles. */
#include <string.h>

#include "engine/scene/fbx_shape.h"

/* ---- Vertices ---- */

static void fill_vertex(const fbx_shape *s, const fbx_spot *spot, lb_primitive *p, int32_t at)
{
    const double *m = s->normal_by, *v;

    p->positions[at] = s->places[spot->place];
    if (p->normals && (v = fbx_layer_at(&s->normals, spot))) {
        lb_vec3d n = {m[0] * v[0] + m[1] * v[1] + m[2] * v[2],
                      m[3] * v[0] + m[4] * v[1] + m[5] * v[2],
                      m[6] * v[0] + m[7] * v[1] + m[8] * v[2]};

        p->normals[at] = (lb_vec3){(float)n.x, (float)n.y, (float)n.z};
    }
    for (int set = 0; set < 2; set++)
        if (p->uvs[set]) /* v goes up in the file */
            p->uvs[set][at] = (v = fbx_layer_at(&s->uvs[set], spot))
                                  ? (lb_vec2){(float)v[0], (float)(1 - v[1])}
                                  : (lb_vec2){0, 0};
    if (p->colors) {
        static const double white[4] = {1, 1, 1, 1};
        lb_vec3 color;

        v = fbx_layer_at(&s->colors, spot);
        v = v ? v : white;
        color = fbx_color(s->g, v);
        p->colors[at] = (lb_vec4){color.x, color.y, color.z, (float)v[3]};
    }
}

static bool is_same(const lb_primitive *p, int32_t a, int32_t b)
{
    return (!p->normals || !memcmp(&p->normals[a], &p->normals[b], sizeof *p->normals)) &&
           (!p->uvs[0] || !memcmp(&p->uvs[0][a], &p->uvs[0][b], sizeof *p->uvs[0])) &&
           (!p->uvs[1] || !memcmp(&p->uvs[1][a], &p->uvs[1][b], sizeof *p->uvs[1])) &&
           (!p->colors || !memcmp(&p->colors[a], &p->colors[b], sizeof *p->colors));
}

#define LOOK_AT 64 /* vertices in one place that are compared, so that no file makes it slow */

/* The vertex of a corner: one that is there already, or a new one. */
static int32_t vertex_of(fbx_shape *s, const fbx_spot *spot, lb_primitive *p)
{
    int32_t fresh = p->vertex_count, looked = 0;

    fill_vertex(s, spot, p, fresh);
    for (int32_t old = s->last_at[spot->place]; old >= 0 && looked < LOOK_AT; looked++) {
        if (is_same(p, old, fresh))
            return old;
        old = s->before[old];
    }
    s->before[fresh] = s->last_at[spot->place];
    s->last_at[spot->place] = fresh;
    return p->vertex_count++;
}

static lb_status add_polygon(fbx_shape *s, size_t at, lb_primitive *p)
{
    const fbx_polygon *poly = &s->polygons[at];
    int32_t count = (int32_t)poly->count;
    uint32_t *out;
    lb_cut cut;

    for (int32_t i = 0; i < count; i++)
        s->outline[i] = s->places[fbx_place_of(s->corners[poly->first + (size_t)i])];
    if (lb_triangulate(&s->cutter, s->outline, count, s->triangles, &cut))
        return fbx_no_memory(s->g);
    s->no_area += cut == LB_CUT_NO_AREA;
    s->crossing += cut == LB_CUT_CROSSING;
    s->too_long += cut == LB_CUT_TOO_LONG;
    if (cut == LB_CUT_TOO_LONG)
        return LB_OK;
    for (int32_t i = 0; i < count; i++) {
        size_t corner = poly->first + (size_t)i;
        fbx_spot spot = {corner, (size_t)fbx_place_of(s->corners[corner]), at};

        s->corner_vertices[i] = vertex_of(s, &spot, p);
    }
    out = p->indices + (size_t)p->triangle_count * 3;
    for (int32_t i = 0; i < 3 * (count - 2); i++) {
        int32_t k = s->flips && i % 3 ? i - i % 3 + 3 - i % 3 : i;

        out[i] = (uint32_t)s->corner_vertices[s->triangles[k]];
    }
    p->triangle_count += count - 2;
    return LB_OK;
}

/* Arrays as long as there could be vertices at most; they shrink when it is known. */
static lb_status reserve(const fbx_shape *s, lb_primitive *p, size_t corners, size_t triangles)
{
    bool room = (p->positions = lb_alloc(corners, sizeof *p->positions)) &&
                (p->indices = lb_alloc(triangles, 3 * sizeof *p->indices));

    if (room && s->normals.width)
        room = (p->normals = lb_alloc(corners, sizeof *p->normals)) != NULL;
    for (int set = 0; set < 2 && room; set++)
        if (s->uvs[set].width)
            room = (p->uvs[set] = lb_alloc(corners, sizeof *p->uvs[set])) != NULL;
    if (room && s->colors.width)
        room = (p->colors = lb_alloc(corners, sizeof *p->colors)) != NULL;
    return room ? LB_OK : fbx_no_memory(s->g);
}

static void shrink(void **array, size_t count, size_t size)
{
    void *less = *array && count ? lb_realloc(*array, count, size) : NULL;

    *array = less ? less : *array;
}

/* The polygons of one part, which follow each other in `order`. */
static lb_status make_primitive(fbx_shape *s, const size_t *order, size_t count, lb_primitive *p)
{
    size_t corners = 0, n;
    lb_status status;

    for (size_t i = 0; i < count; i++)
        corners += s->polygons[order[i]].count;
    if ((status = reserve(s, p, corners, corners - 2 * count)))
        return status;
    for (size_t i = 0; i < count && status == LB_OK; i++)
        status = add_polygon(s, order[i], p);
    n = (size_t)p->vertex_count;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < s->polygons[order[i]].count; k++)
            s->last_at[fbx_place_of(s->corners[s->polygons[order[i]].first + k])] = -1;
    shrink((void **)&p->positions, n, sizeof *p->positions);
    shrink((void **)&p->normals, n, sizeof *p->normals);
    shrink((void **)&p->uvs[0], n, sizeof *p->uvs[0]);
    shrink((void **)&p->uvs[1], n, sizeof *p->uvs[1]);
    shrink((void **)&p->colors, n, sizeof *p->colors);
    return status;
}

/* ---- Parts ---- */

static bool is_material(const fbx *g, const fbx_link *link)
{
    return !link->property && fbx_is_class(&g->objects[link->child], "Material");
}

static lb_status set_material(fbx_shape *s, const fbx_object *model, size_t part, lb_primitive *p)
{
    const char *names[2] = {s->uvs[0].name ? s->uvs[0].name : "",
                            s->uvs[1].name ? s->uvs[1].name : ""};
    const fbx_object *found = NULL;
    lb_material *material;
    lb_status status;
    size_t number = 0;

    for (size_t i = 0; i < model->down_count && part < s->material_count && !found; i++) {
        const fbx_link *link = fbx_down(s->g, model, i);

        if (is_material(s->g, link) && number++ == part)
            found = &s->g->objects[link->child];
    }
    if ((status = fbx_material_get(s->g, found, names, &material)))
        return status;
    p->material = lb_material_ref(material);
    for (int set = 0; set < 2; set++)
        for (int slot = 0; slot < LB_SLOT_COUNT; slot++)
            if (material->maps[slot] && !p->uvs[set] &&
                lb_texture_mapping(material->maps[slot])->uv_set == set)
                fbx_fact(s->g, LB_FACT_ASSUMED, s->where,
                         "A map of material '%.60s' lies by UV set %d, which is missing: (0, 0) "
                         "everywhere.",
                         material->name, set);
    return LB_OK;
}

/* Polygons that can be drawn, by part and then as they came; first[part] is where each begins. */
static lb_status sort_polygons(const fbx_shape *s, size_t parts, size_t **order, size_t **first)
{
    *order = lb_alloc(s->polygon_count, sizeof **order);
    *first = lb_alloc(parts + 1, sizeof **first);
    if (!*order || !*first)
        return fbx_no_memory(s->g);
    for (size_t i = 0; i < s->polygon_count; i++)
        if (s->polygons[i].count >= 3)
            (*first)[s->polygons[i].part + 1]++;
    for (size_t part = 0; part < parts; part++)
        (*first)[part + 1] += (*first)[part];
    for (size_t i = 0; i < s->polygon_count; i++)
        if (s->polygons[i].count >= 3)
            (*order)[(*first)[s->polygons[i].part]++] = i;
    for (size_t part = parts; part > 0; part--)
        (*first)[part] = (*first)[part - 1];
    (*first)[0] = 0;
    return LB_OK;
}

static lb_status make_parts(fbx_shape *s, const fbx_object *model, lb_mesh **out)
{
    size_t parts = s->material_count + 1, used = 0, *order = NULL, *first = NULL;
    lb_mesh *mesh = NULL;
    lb_status status = sort_polygons(s, parts, &order, &first);

    for (size_t part = 0; part < parts && status == LB_OK; part++)
        used += first[part + 1] > first[part];
    if (status == LB_OK)
        status = fbx_told(s->g, lb_mesh_new(s->geometry->name, (int32_t)used, &mesh));
    if (status == LB_OK)
        mesh->primitive_count = 0;
    for (size_t part = 0; part < parts && status == LB_OK; part++) {
        lb_primitive *p;

        if (first[part + 1] == first[part])
            continue;
        p = &mesh->primitives[mesh->primitive_count++];
        if ((status = make_primitive(s, order + first[part], first[part + 1] - first[part], p)) ==
            LB_OK)
            status = set_material(s, model, part, p);
    }
    lb_free(order);
    lb_free(first);
    if (status)
        lb_mesh_unref(&mesh);
    *out = mesh;
    return status;
}

static void report_cuts(const fbx_shape *s)
{
    size_t small = 0;

    for (size_t i = 0; i < s->polygon_count; i++)
        small += s->polygons[i].count < 3;
    if (small)
        fbx_fact(s->g, LB_FACT_DROPPED, s->where, "%zu polygons have fewer than three corners.",
                 small);
    if (s->too_long)
        fbx_fact(s->g, LB_FACT_DROPPED, s->where,
                 "%lld polygons are not convex and have more than %d corners.",
                 (long long)s->too_long, LB_TRIANGULATE_MOST);
    if (s->no_area || s->crossing)
        fbx_fact(s->g, LB_FACT_CONVERTED, s->where,
                 "%lld polygons without area and %lld that cross themselves are cut as well as it "
                 "goes.",
                 (long long)s->no_area, (long long)s->crossing);
    if (s->outside)
        fbx_fact(s->g, LB_FACT_ASSUMED, s->where,
                 "%lld polygons have a material that the model does not have: the plain one.",
                 (long long)s->outside);
}

static lb_status make_mesh(fbx_shape *s, const fbx_object *model, lb_mesh **out)
{
    lb_mat4 geometric;
    char where[FBX_WHERE];
    lb_status status;

    if (fbx_geometric(s->g, model, &geometric))
        fbx_fact(s->g, LB_FACT_CONVERTED, fbx_where(where, model, "GeometricTranslation"),
                 "The geometric transform is put into the vertices.");
    if ((status = fbx_shape_read(s, model, &geometric)))
        return status;
    if (s->polygon_count == 0) {
        fbx_fact(s->g, LB_FACT_DROPPED, s->where, "There are no polygons to draw.");
        return fbx_told(s->g, lb_mesh_new(s->geometry->name, 0, out));
    }
    if ((status = make_parts(s, model, out)))
        return status;
    report_cuts(s);
    return LB_OK;
}

static void report_deformers(fbx *g, const fbx_object *geometry)
{
    char where[FBX_WHERE];

    for (size_t i = 0; i < geometry->down_count; i++) {
        const fbx_link *link = fbx_down(g, geometry, i);
        fbx_object *child = &g->objects[link->child];

        if (link->property || !fbx_is_class(child, "Deformer"))
            continue;
        child->used = true;
        fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, child, NULL),
                 "A deformer of kind '%.40s' is not used: '%.60s' keeps its shape.", child->kind,
                 geometry->name);
    }
}

/* Whether two models show a geometry in the same way, so that they can share its mesh. */
static bool is_alike(fbx *g, const fbx_object *a, const fbx_object *b)
{
    size_t i = 0, k = 0;
    lb_mat4 geometric;

    if (fbx_geometric(g, a, &geometric) || fbx_geometric(g, b, &geometric))
        return false;
    for (;; i++, k++) {
        while (i < a->down_count && !is_material(g, fbx_down(g, a, i)))
            i++;
        while (k < b->down_count && !is_material(g, fbx_down(g, b, k)))
            k++;
        if (i == a->down_count || k == b->down_count)
            return i == a->down_count && k == b->down_count;
        if (fbx_down(g, a, i)->child != fbx_down(g, b, k)->child)
            return false;
    }
}

lb_status fbx_mesh_read(fbx *g, const fbx_object *model, const fbx_object *geometry, lb_mesh **out)
{
    fbx_made *made = &g->made[geometry - g->objects];
    fbx_shape s = {.g = g, .geometry = geometry};
    lb_status status;

    *out = NULL;
    if (made->mesh && is_alike(g, made->model, model)) {
        *out = lb_mesh_ref(made->mesh);
        return LB_OK;
    }
    fbx_where(s.where, geometry, NULL);
    report_deformers(g, geometry);
    status = make_mesh(&s, model, out);
    if (status == LB_OK && (status = lb_mesh_finish(*out)))
        status = status == LB_MEMORY ? fbx_no_memory(g)
                                     : fbx_fail(g, status, s.where, "its triangles are not sound");
    if (status) {
        lb_mesh_unref(out);
    } else if (!made->mesh) {
        made->mesh = lb_mesh_ref(*out);
        made->model = model;
    }
    fbx_shape_clear(&s);
    return status;
}
