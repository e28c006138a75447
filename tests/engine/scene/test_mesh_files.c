/* tests/engine/scene/test_mesh_files.c: files that others made (tests/data/mesh, SOURCE.md there)
 * against what Assimp 5.2.5 makes of them: triangles, area and bounds of its export to STL with
 * `assimp export FILE x.stl -fstl -tri`, summed up from that text in double precision. */
#include "tests/engine/scene/imports.h"

static const struct {
    const char *name;
    int64_t triangles;
    double area; /* seven digits */
    double low[3], high[3];
} rows[] = {
    {"obj/cornell_box.obj", 36, 1989605, {0, 0, 0}, {556, 548.8, 559.2}},
    {"obj/cornell_box_multimaterial.obj", 36, 1989605, {0, 0, 0}, {556, 548.8, 559.2}},
    {"obj/missing_material_file.obj", 36, 1989605, {0, 0, 0}, {556, 548.8, 559.2}},
    {"obj/cube-vertexcol.obj", 12, 24, {0, 0, 0}, {2, 2, 2}},
    {"obj/smoothing-normal.obj", 6, 12, {0, 0, 0}, {2, 2, 2}},
    {"obj/issue-162-smoothing-group.obj", 12, 6, {-0.5, -0.5, -0.5}, {0.5, 0.5, 0.5}},
    {"obj/issue-235-usemtl-then-o.obj", 2, 4, {-1, 0, -1}, {1, 1.202466, 1}},
    {"obj/issue-246-usemtl-whitespace.obj", 1, 2, {-1, 1.202466, -1}, {1, 1.202466, 1}},
    {"obj/issue-295-trianguation-failure.obj", 28, 14, {14678, 0, 9605}, {14679, 1, 9608}},
    {"obj/mtllib-multiple-files-issue-112.obj",
     1,
     12.12826,
     {0.575869, -1.219172, -5.532511},
     {1.864151, 1, 5.89614}},
    {"obj/norm-texopt.obj", 1, 12.12826, {0.575869, -1.219172, -5.532511}, {1.864151, 1, 5.89614}},
    {"obj/texture-options-issue-85.obj",
     1,
     12.12826,
     {0.575869, -1.219172, -5.532511},
     {1.864151, 1, 5.89614}},
    {"ply/icosahedron.ply", 20, 9.574403, {-0.894425, -0.85064, -1}, {0.894425, 0.85064, 1}},
    {"ply/icosahedron_ascii.ply", 20, 9.574403, {-0.894425, -0.85064, -1}, {0.894425, 0.85064, 1}},
    {"stl/stl_ascii-Cube.stl", 12, 24, {0, 0, 0}, {2, 2, 2}},
    {"stl/stl_ascii-Star.stl", 68, 11.26821, {2e-06, 0, 0}, {2.59808, 0.35, 3}},
    {"stl/stl_binary-Cube.stl", 12, 24, {0, 0, 0}, {2, 2, 2}},
    {"stl/stl_binary-CubeInvalidUnicode.stl", 12, 24, {0, 0, 0}, {2, 2, 2}},
    {"stl/stl_binary-Star.stl", 68, 11.26821, {2e-06, 0, 0}, {2.59808, 0.35, 3}},
    {"stl/stl_binary-StarWithEmptyHeader.stl", 68, 11.26821, {2e-06, 0, 0}, {2.59808, 0.35, 3}},
};

/* Of all triangles, as they stand in their meshes: these formats have no transforms. */
static double area_of(const lb_scene *scene)
{
    double sum = 0;

    for (size_t i = 0; i < scene->item_count; i++)
        for (int32_t k = 0; scene->items[i].mesh && k < scene->items[i].mesh->primitive_count;
             k++) {
            const lb_primitive *p = &scene->items[i].mesh->primitives[k];

            for (int32_t t = 0; t < p->triangle_count; t++) {
                const uint32_t *c = p->indices + (size_t)t * 3;
                lb_vec3 a = p->positions[c[0]], b = p->positions[c[1]], d = p->positions[c[2]];
                double e[3] = {(double)b.x - a.x, (double)b.y - a.y, (double)b.z - a.z};
                double f[3] = {(double)d.x - a.x, (double)d.y - a.y, (double)d.z - a.z};
                double n[3] = {e[1] * f[2] - e[2] * f[1], e[2] * f[0] - e[0] * f[2],
                               e[0] * f[1] - e[1] * f[0]};

                sum += sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]) / 2;
            }
        }
    return sum;
}

Test(mesh_files, are_what_another_reader_finds)
{
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        import_run r = import_begin();
        char path[512];
        int64_t triangles, vertices;
        lb_vec3d low, high;
        double area;

        snprintf(path, sizeof path, LB_TEST_DATA "/mesh/%s", rows[i].name);
        import_read(&r, path);
        cr_assert(r.status == LB_OK, "%s", r.messages);
        import_expect_sound(rows[i].name, r.scene);
        import_totals(r.scene, &triangles, &vertices);
        area = area_of(r.scene);
        cr_expect(triangles == rows[i].triangles, "%s: %lld triangles", rows[i].name,
                  (long long)triangles);
        cr_expect(fabs(area - rows[i].area) < 1e-6 * rows[i].area, "%s: area %.9g", rows[i].name,
                  area);
        cr_assert(lb_scene_bounds(r.scene, 0, &low, &high));
        for (int k = 0; k < 3; k++) {
            double mine[2] = {k == 0   ? low.x
                              : k == 1 ? low.y
                                       : low.z,
                              k == 0   ? high.x
                              : k == 1 ? high.y
                                       : high.z};

            cr_expect(fabs(mine[0] - rows[i].low[k]) <= 1e-6 * (1 + fabs(rows[i].low[k])), "%s",
                      rows[i].name);
            cr_expect(fabs(mine[1] - rows[i].high[k]) <= 1e-6 * (1 + fabs(rows[i].high[k])), "%s",
                      rows[i].name);
        }
        import_end(&r);
    }
}

/* What their makers meant to be hard, by their names. */
Test(mesh_files, odd_ones)
{
    static const struct {
        const char *name;
        lb_status status;
        const char *text; /* of a message, or of a fact */
    } odd[] = {
        {"obj/invalid-relative-vertex-index.obj", LB_FORMAT, "line 1: there is no vertex -4"},
        {"obj/issue-140-zero-face-idx.obj", LB_FORMAT, "line 16: there is no vertex 0"},
        {"obj/test-nan.obj", LB_FORMAT, "line 12: a vertex that is nowhere"},
        {"obj/invalid-face-definition.obj", LB_OK, "Faces of one or two corners are left out: 2"},
        {"obj/line-prim.obj", LB_OK, "l (lines) is not used; lines of that kind: 2."},
        {"obj/issue-356-leading-spaces-newmtl.obj", LB_OK, "There are no faces"},
        {"obj/leading-decimal-dot-issue-201.obj", LB_OK, "faces are seen from both sides"},
        {"obj/mtllib-multiple-files-issue-112.obj", LB_OK, "invalid-file-aaa.mtl' is missing"},
        {"obj/missing_material_file.obj", LB_OK, "is in no library"},
        {"obj/pbr-mat-ext.obj", LB_OK, "metal-rough"},
        {"obj/norm-texopt.obj", LB_OK, "normalmap.jpg' is missing"},
        {"obj/issue-162-smoothing-group.obj", LB_OK, "v is 1 - vt"},
    };

    for (size_t i = 0; i < sizeof odd / sizeof odd[0]; i++) {
        import_run r = import_begin();
        char path[512];
        bool found = false;

        snprintf(path, sizeof path, LB_TEST_DATA "/mesh/%s", odd[i].name);
        import_read(&r, path);
        cr_expect(r.status == odd[i].status, "%s: %s", odd[i].name, r.messages);
        if (r.scene) {
            import_expect_sound(odd[i].name, r.scene);
            for (int kind = LB_FACT_ASSUMED; kind <= LB_FACT_DROPPED; kind++)
                found |= import_has_fact(r.scene, (lb_fact_kind)kind, "", odd[i].text);
        } else {
            found = strstr(r.messages, odd[i].text) != NULL;
        }
        cr_expect(found, "%s", odd[i].name);
        import_end(&r);
    }
}
