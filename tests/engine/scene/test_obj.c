/* tests/engine/scene/test_obj.c: OBJ files written here, a feature each. "Object files (.obj)",
 * version 3.0, is the description of the format; what it leaves open is in docs/formats.md. */
#include "tests/engine/scene/imports.h"

static import_run obj(const char *text)
{
    return import_of("kiln.obj", text, strlen(text));
}

static const lb_primitive *primitive(const import_run *r, size_t item, int32_t k)
{
    cr_assert(r->status == LB_OK, "%s", r->messages);
    cr_assert(item < r->scene->item_count && r->scene->items[item].mesh);
    cr_assert(k < r->scene->items[item].mesh->primitive_count);
    return &r->scene->items[item].mesh->primitives[k];
}

#define SQUARE "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n"

Test(obj, a_triangle_in_every_form_of_index)
{
    static const char *const faces[] = {"f 1 2 3\n",
                                        "f -4 -3 -2\n",
                                        "f 1/1 2/2 3/3\n",
                                        "f -4/-4 -3/-3 -2/-2\n",
                                        "f 1//1 2//1 3//1\n",
                                        "f -4//-1 -3//-1 -2//-1\n",
                                        "f 1/1/1 2/2/1 3/3/1\n",
                                        "f -4/1/-1 2/-3/1 3/3/-1\n",
                                        "f \\\n 1 2\\\r\n 3 # a comment\r\n",
                                        "f\t1 2 3  ",
                                        "fo 1 2 3\n"};

    for (size_t i = 0; i < sizeof faces / sizeof faces[0]; i++) {
        char text[512];
        import_run r;
        const lb_primitive *p;

        snprintf(text, sizeof text, "%svt 0 0\nvt 0.25 0\nvt 1 0.75\nvt 0 1\nvn 0 0 2\n%s", SQUARE,
                 faces[i]);
        r = obj(text);
        p = primitive(&r, 0, 0);
        cr_expect(p->triangle_count == 1 && p->vertex_count == 3, "%s", faces[i]);
        cr_expect(p->positions[p->indices[1]].x == 1 && p->positions[p->indices[1]].y == 0);
        cr_expect(p->positions[p->indices[2]].x == 1 && p->positions[p->indices[2]].y == 1);
        cr_expect(p->normals[0].z == 1);
        cr_expect((p->uvs[0] != NULL) == (strchr(faces[i], '/') && !strstr(faces[i], "//")));
        if (p->uvs[0]) /* v goes up in the file and down here */
            cr_expect(p->uvs[0][p->indices[2]].x == 1 && p->uvs[0][p->indices[2]].y == 0.25f);
        import_end(&r);
    }
}

Test(obj, what_contradicts_the_format_names_its_line)
{
    static const struct {
        const char *text, *message;
    } rows[] = {
        {SQUARE "f 1 2 0\n", "line 5: there is no vertex 0: they count from 1"},
        {SQUARE "f 1 2 -5\n", "line 5: there is no vertex -5 at this line"},
        {SQUARE "f 1 2 5\n", "line 5: there is no vertex 5 in the file, which has 4"},
        {SQUARE "f 1/1 2/1 3/1\n", "line 5: there is no texture coordinate 1 in the file"},
        {SQUARE "f 1//1 2//1 3//2\nvn 0 0 1\n", "line 5: there is no normal 2 in the file"},
        {SQUARE "f 1 2 99999999999999999999\n", "line 5: there is no vertex"},
        {SQUARE "f 1 2 x\n", "line 5: 'x' is no corner of a face"},
        {SQUARE "f 1/1/1/1 2 3\n", "line 5: '1/1/1/1' is no corner"},
        {SQUARE "f 1 2 3.5\n", "'3.5' is no corner"},
        {"v 1 2\n", "line 1: a vertex of 2 numbers"},
        {"v 1 2 3 4 5\n", "line 1: a vertex of 5 numbers"},
        {"v 1 2 3 4 5 6 7 8\n", "line 1: a vertex of 8 numbers"},
        {"\n\nv 1 2 nan\n", "line 3: a vertex that is nowhere: its coordinate 3"},
        {"v 1e39 2 3\n", "its coordinate 1"},
        {"v 1,5 2 3\n", "line 1: '1,5' is no number"},
        {"vn 1 2\n", "a normal of 2 numbers"},
        {"vt\n", "texture coordinates of 0 numbers"},
        {"hello world\n", "there is nothing of OBJ in it"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        import_run r = obj(rows[i].text);

        cr_expect(r.status == LB_FORMAT && !r.scene, "%s", rows[i].text);
        cr_expect(strstr(r.messages, rows[i].message), "%s: %s", rows[i].text, r.messages);
        import_end(&r);
    }
}

Test(obj, objects_and_groups_are_items)
{
    import_run r = obj(SQUARE "f 1 2 3\n"
                              "g lid\nf 1 2 4\n"
                              "o jar\nf 1 3 4\ng rim neck\nf 1 2 3\nf 1 2 4\n"
                              "o bowl\ng foot\nf 1 2 3\n"
                              "o jar\nf 2 3 4\n"
                              "g rim neck\nf 2 3 4\ng default\nf 1 2 3\n");
    static const struct {
        const char *name;
        lb_item_kind kind;
        int32_t parent, triangles;
    } rows[] = {{"kiln", LB_ITEM_MESH, -1, 1},  {"lid", LB_ITEM_MESH, -1, 1},
                {"jar", LB_ITEM_MESH, -1, 3},   {"rim neck", LB_ITEM_MESH, 2, 3},
                {"bowl", LB_ITEM_GROUP, -1, 0}, {"foot", LB_ITEM_MESH, 4, 1}};

    cr_assert(r.status == LB_OK && r.scene->item_count == sizeof rows / sizeof rows[0]);
    for (size_t i = 0; i < r.scene->item_count; i++) {
        const lb_item *item = &r.scene->items[i];

        cr_expect(strcmp(item->name, rows[i].name) == 0, "%zu is %s", i, item->name);
        cr_expect(item->kind == rows[i].kind && item->parent == rows[i].parent, "%s", item->name);
        cr_expect(!item->mesh || item->mesh->primitives[0].triangle_count == rows[i].triangles,
                  "%s", item->name);
    }
    cr_expect(import_has_fact(r.scene, LB_FACT_CONVERTED, "kiln.obj:10", "several groups"));
    import_end(&r);
}

/* Two squares that meet in a right angle along an edge. */
#define CORNER "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0 0 1\nv 0 1 1\n"

Test(obj, smoothing_groups_make_normals)
{
    import_run r = obj(CORNER "s 7\nf 1 2 3 4\nf 1 4 6 5\n");
    const lb_primitive *p = primitive(&r, 0, 0);
    float half = 0.70710678f; /* the mean of (0, 0, 1) and (1, 0, 0) at equal angles */

    cr_expect(p->vertex_count == 6 && p->triangle_count == 4);
    for (int32_t i = 0; i < p->vertex_count; i++) {
        lb_vec3 at = p->positions[i], n = p->normals[i];
        bool shared = at.x == 0 && at.z == 0;

        cr_expect(fabsf(n.x - (shared      ? half
                               : at.z == 1 ? 1
                                           : 0)) < 1e-6f &&
                      fabsf(n.y) < 1e-6f &&
                      fabsf(n.z - (shared      ? half
                                   : at.x == 1 ? 1
                                               : 0)) < 1e-6f,
                  "at %g %g %g: %g %g %g", at.x, at.y, at.z, n.x, n.y, n.z);
    }
    cr_expect(import_has_fact(r.scene, LB_FACT_CONVERTED, "kiln.obj", "weighted by angle"));
    import_end(&r);
    /* Groups that differ, or none: a hard edge, and vertices for each side. */
    for (int i = 0; i < 3; i++) {
        static const char *const texts[] = {CORNER "s 1\nf 1 2 3 4\ns 2\nf 1 4 6 5\n",
                                            CORNER "s off\nf 1 2 3 4\nf 1 4 6 5\n",
                                            CORNER "f 1 2 3 4\ns 0\nf 1 4 6 5\n"};

        r = obj(texts[i]);
        p = primitive(&r, 0, 0);
        cr_expect(p->vertex_count == 8);
        for (int32_t k = 0; k < p->vertex_count; k++)
            cr_expect(p->normals[k].x == 1 || p->normals[k].z == 1, "%s", texts[i]);
        import_end(&r);
    }
}

/* Three faces of unequal angles at a vertex: a right angle split in three on one side must weigh as
 * much as one right angle on another (Thürmer and Wüthrich 1998). */
Test(obj, normals_do_not_depend_on_how_a_face_is_cut)
{
    import_run whole = obj(CORNER "s 1\nf 1 2 3 4\nf 1 4 6 5\n");
    import_run cut = obj(CORNER "v 1 0.5 0\ns 1\nf 1 2 7\nf 1 7 3\nf 1 3 4\nf 1 4 6 5\n");
    const lb_primitive *a = primitive(&whole, 0, 0), *b = primitive(&cut, 0, 0);

    cr_expect(fabsf(a->normals[0].x - b->normals[0].x) < 1e-6f);
    cr_expect(fabsf(a->normals[0].z - b->normals[0].z) < 1e-6f);
    import_end(&whole);
    import_end(&cut);
}

Test(obj, a_smooth_sphere_has_the_spheres_normals)
{
    /* An octahedron: by symmetry the mean at each vertex points along its axis. */
    import_run r = obj("v 1 0 0\nv -1 0 0\nv 0 1 0\nv 0 -1 0\nv 0 0 1\nv 0 0 -1\ns 1\n"
                       "f 1 3 5\nf 3 2 5\nf 2 4 5\nf 4 1 5\nf 3 1 6\nf 2 3 6\nf 4 2 6\nf 1 4 6\n");
    const lb_primitive *p = primitive(&r, 0, 0);

    cr_expect(p->vertex_count == 6 && p->triangle_count == 8);
    for (int32_t i = 0; i < p->vertex_count; i++)
        cr_expect(lb_vec3_dot(p->normals[i], p->positions[i]) > 0.999999f);
    import_end(&r);
}

Test(obj, concave_polygons_keep_their_shape)
{
    /* An L of area 5, its first corner such that a fan would cover 8. */
    import_run r = obj("v 3 0 0\nv 3 1 0\nv 1 1 0\nv 1 3 0\nv 0 3 0\nv 0 0 0\nf 1 2 3 4 5 6\n");
    const lb_primitive *p = primitive(&r, 0, 0);
    double area = 0;

    for (int32_t t = 0; t < p->triangle_count; t++) {
        const uint32_t *i = p->indices + (size_t)t * 3;
        lb_vec3 n = lb_vec3_cross(lb_vec3_sub(p->positions[i[1]], p->positions[i[0]]),
                                  lb_vec3_sub(p->positions[i[2]], p->positions[i[0]]));

        cr_expect(n.z >= 0);
        area += n.z / 2;
    }
    cr_expect(p->triangle_count == 4 && area == 5);
    cr_expect(import_has_fact(r.scene, LB_FACT_CONVERTED, "kiln.obj", "cut into triangles: 1."));
    import_end(&r);
    r = obj("v 0 0 0\nv 1 1 1\nv 2 2 2\nv 3 3 3\nf 1 2 3 4\nf 1 1 2\nf 1 2\nf 3\n");
    cr_expect(primitive(&r, 0, 0)->triangle_count == 3);
    cr_expect(
        import_has_fact(r.scene, LB_FACT_ASSUMED, "kiln.obj", "without area are kept, as fans: 2"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.obj:7",
                              "one or two corners are left out: 2"));
    import_end(&r);
}

Test(obj, what_is_not_shown_is_told)
{
    import_run r = obj(SQUARE "v 0 0 0 2\nvt 0.5 0.5 0.5\nvt nan 0\nvn 0 0 0\nvn nan 0 1\n"
                              "l 1 2 3\np 1\ncurv 0 1 1 2\nsurf 0 1 0 1 1 2\nl 2 3\nzzz 1\ns what\n"
                              "f 1/2/1 2/1/2 3/1/1\n");

    cr_assert(r.status == LB_OK, "%s", r.messages);
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.obj:10",
                              "l (lines) is not used; lines of that kind: 2."));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.obj:11", "p (points) is not used"));
    cr_expect(
        import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.obj:13", "surf (free-form geometry)"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.obj:15", "zzz is not known"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.obj:5", "Weights of vertices"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.obj:6", "Third texture coordinates"));
    cr_expect(
        import_has_fact(r.scene, LB_FACT_ASSUMED, "kiln.obj:7", "no finite numbers are (0, 0)"));
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "kiln.obj:8",
                              "Normals without a direction become those of their faces: 2"));
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "kiln.obj:16",
                              "Smoothing groups that are neither"));
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "kiln.obj", "no unit"));
    cr_expect(primitive(&r, 0, 0)->normals[0].z == 1);
    import_end(&r);
    r = obj("# nothing\n");
    cr_expect(r.status == LB_OK && r.scene->item_count == 0);
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.obj", "no faces"));
    import_end(&r);
}

Test(obj, colors_of_vertices)
{
    /* sRGB 0.5 is 0.21404114 in light (IEC 61966-2-1). */
    import_run r = obj("v 0 0 0\nv 1 0 0 0.5 0 1\nv 1 1 0 1 1 0 0.5\nf 1 2 3\n");
    const lb_primitive *p = primitive(&r, 0, 0);

    cr_assert(p->colors);
    cr_expect(p->colors[0].x == 1 && p->colors[0].y == 1); /* the one without is white */
    cr_expect(fabsf(p->colors[1].x - 0.21404114f) < 1e-6f && p->colors[1].z == 1);
    cr_expect(p->colors[2].x == 1 && fabsf(p->colors[2].z - 0.21404114f) < 1e-6f);
    cr_expect(p->material->diffuse.x == 1);
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "kiln.obj",
                              "Colours of vertices are taken as sRGB, 0 to 1"));
    import_end(&r);
    r = obj("v 0 0 0 255 127.5 0\nv 1 0 0 0 0 0\nv 1 1 0 0 0 0\nf 1 2 3\n");
    p = primitive(&r, 0, 0);
    cr_expect(p->colors[0].x == 1 && fabsf(p->colors[0].y - 0.21404114f) < 1e-6f);
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "kiln.obj", "0 to 255"));
    import_end(&r);
}

Test(obj, names_are_utf8)
{
    import_run r = obj(SQUARE "o T\xF6pfe\nf 1 2 3\n");

    cr_assert(r.status == LB_OK);
    cr_expect(strcmp(r.scene->items[0].name, "T\xC3\xB6pfe") == 0);
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "kiln.obj", "Latin-1"));
    import_end(&r);
    r = obj(SQUARE "o T\xC3\xB6pfe\nf 1 2 3\n");
    cr_expect(strcmp(r.scene->items[0].name, "T\xC3\xB6pfe") == 0);
    import_end(&r);
}

/* Every allocation fails once; nothing is lost or left. */
Test(obj, says_when_there_is_no_memory)
{
    static const char text[] =
        "mtllib a.mtl\n" CORNER "vt 0 0\no jar\ng rim\nusemtl glaze\ns 1\nf 1 2 3 4\nf 1 4 6 5\n"
        "o bowl\nusemtl gone\nf 3/1 2/1 1/1 4/1\nv 0 0 0 1 1 1\n";
    import_run r = import_begin();

    import_text(&r, "a.mtl", "newmtl glaze\nKd 1 0 0\nKs 1 1 1\nmap_Kd a.png\n");
    import_text(&r, "kiln.obj", text);
    for (int64_t n = 1; n < 5000; n++) {
        lb_import_options options = {.working = LB_SPACE_ACESCG};
        lb_diag *diag = lb_diag_new();
        lb_scene *scene;
        lb_status status;
        char path[1024];

        import_path(&r, "kiln.obj", path);
        lb_memory_fail_at(n);
        status =
            lb_import_read(NULL, diag, LB_NOWHERE, path, text, sizeof text - 1, &options, &scene);
        if (lb_memory_fail_left() > 0) {
            lb_memory_fail_at(0);
            cr_expect(status == LB_OK && n > 40, "%lld", (long long)n);
            lb_scene_unref(&scene);
            lb_diag_free(&diag);
            break;
        }
        lb_memory_fail_at(0);
        /* A picture or a library that there is no memory for may count as one that is not there. */
        cr_expect((status == LB_MEMORY && !scene) || (status == LB_OK && scene), "%lld: %d",
                  (long long)n, (int)status);
        lb_scene_unref(&scene);
        lb_diag_free(&diag);
    }
    import_end(&r);
}

/* One byte after another changed or the rest cut off: a scene or a message, never both or neither.
 */
Test(obj, damaged_files_get_a_message)
{
    static const char text[] =
        "mtllib a.mtl b.mtl\n" CORNER
        "vt 0 0\nvn 0 0 1\no jar\ng rim\nusemtl glaze\ns 1\nf 1/1/1 2 3 4\nf 1 4 6 5\n"
        "o bowl\nusemtl gone\nf 3/1 2/1 1/1 4/1\nv 0 0 0 1 1 1\n";
    static const char put[] = {0, '\n', '\\', '/', '-', '9', ' ', 'e', '#', (char)0xFF};
    lb_import_options options = {.working = LB_SPACE_LINEAR_REC709};
    char copy[sizeof text];

    for (size_t i = 0; i < sizeof text - 1; i++)
        for (size_t k = 0; k <= sizeof put; k++) {
            lb_diag *diag = lb_diag_new();
            size_t count = k < sizeof put ? sizeof text - 1 : i;
            char *exact = malloc(count + 1);
            lb_scene *scene;
            lb_status status;

            memcpy(copy, text, sizeof text);
            if (k < sizeof put)
                copy[i] = put[k];
            memcpy(exact, copy, count);
            exact = realloc(exact, count ? count : 1); /* so that reading past it is noticed */
            status = lb_import_read(NULL, diag, LB_NOWHERE, "nowhere/x.obj", exact, count, &options,
                                    &scene);
            cr_expect((status == LB_OK) == (scene != NULL));
            cr_expect(status == LB_OK || lb_diag_count(diag, LB_ERROR) > 0);
            if (scene)
                import_expect_sound("damaged", scene);
            lb_scene_unref(&scene);
            lb_diag_free(&diag);
            free(exact);
        }
}
