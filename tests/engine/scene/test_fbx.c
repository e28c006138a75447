/* tests/engine/scene/test_fbx.c: models, geometry, materials and maps of FBX files, which
 * tests/data/fbx/make.py writes. Bounds that are marked as second opinion are those of Assimp 5.2.5
 * (Debian 12), `assimp export NAME-7400.fbx NAME.obj`, of the vertices of each object; it leaves
 * units and axes to its caller. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/scene/import.h"
#include "tests/engine/scene/fbx_files.h"

static bool near(double a, double b)
{
    return fabs(a - b) <= 2e-5 * (1 + fabs(b));
}

/* Bounds of an item in the world, and the volume that its triangles enclose: above 0 where they
 * face outwards. */
static double measure(const lb_scene *scene, const char *name, double out[6])
{
    const lb_item *item = fbx_item(scene, name);
    lb_mat4 world = fbx_world(scene, item, 0);
    double volume = 0;

    for (int i = 0; i < 6; i++)
        out[i] = i < 3 ? INFINITY : -INFINITY;
    for (int32_t k = 0; item->mesh && k < item->mesh->primitive_count; k++) {
        const lb_primitive *p = &item->mesh->primitives[k];

        for (int32_t t = 0; t < p->triangle_count; t++) {
            double v[3][3];

            for (int c = 0; c < 3; c++) {
                lb_vec3 at = p->positions[p->indices[3 * t + c]];
                lb_vec3d w = lb_mat4_point(&world, (lb_vec3d){at.x, at.y, at.z});

                memcpy(v[c], (double[]){w.x, w.y, w.z}, sizeof v[c]);
                for (int i = 0; i < 3; i++) {
                    out[i] = fmin(out[i], v[c][i]);
                    out[3 + i] = fmax(out[3 + i], v[c][i]);
                }
            }
            volume += (v[0][0] * (v[1][1] * v[2][2] - v[1][2] * v[2][1]) +
                       v[0][1] * (v[1][2] * v[2][0] - v[1][0] * v[2][2]) +
                       v[0][2] * (v[1][0] * v[2][1] - v[1][1] * v[2][0])) /
                      6;
        }
    }
    return volume;
}

typedef struct {
    const char *name;
    double bounds[6], volume;
} extent;

static void expect_extents(const char *file, const extent *rows, size_t count)
{
    for (int e = 0; e < FBX_ENCODINGS; e++) {
        lb_scene *scene = fbx_scene(file, e);

        for (size_t i = 0; i < count; i++) {
            double bounds[6], volume = measure(scene, rows[i].name, bounds);

            for (int k = 0; k < 6; k++)
                cr_expect(near(bounds[k], rows[i].bounds[k]), "%s-%s: %s: bound %d is %.9g, not %g",
                          file, fbx_encodings[e], rows[i].name, k, bounds[k], rows[i].bounds[k]);
            cr_expect(isnan(rows[i].volume) || near(volume, rows[i].volume),
                      "%s-%s: %s: volume %.9g, not %g", file, fbx_encodings[e], rows[i].name,
                      volume, rows[i].volume);
        }
        lb_scene_unref(&scene);
    }
}

/* Second opinion. Volumes: 0.2 x 0.4 x 0.6 times the scales. */
Test(fbx, transforms)
{
    static const extent rows[] = {
        {"wheel", {0.43374, 1.54219, 2.31108, 1.56626, 2.45781, 3.68892}, 0.384},
        {"order1", {1.91984, 2.50692, 1.70562, 3.33535, 3.37246, 2.92630}, 0.384},
        {"order2", {3.53776, 3.49436, 0.89420, 4.97262, 4.26441, 2.36964}, 0.384},
        {"order3", {5.21156, 4.21809, 0.35285, 6.55401, 5.42006, 1.54291}, 0.384},
        {"order4", {6.84375, 5.31872, -0.24990, 8.17701, 6.19882, 0.77758}, 0.384},
        {"order5", {8.48686, 6.39030, -0.93279, 9.78909, 7.00662, 0.09239}, 0.384},
        {"pivots", {0.67650, 0.55491, 2.33571, 1.92673, 1.09077, 2.96539}, 0.072},
        {"below", {1.84640, 0.84728, 1.84510, 3.16128, 1.24946, 2.73827}, 0.072},
        {"formed", {-3.28660, 0.70000, -0.39641, -2.71340, 1.30000, 0.39641}, 0.096},
        {"plain", {-2.73660, -0.20000, 0.55622, -2.26340, 0.20000, 1.17583}, 0.048},
        {"hidden", {8.9, -0.2, -0.3, 9.1, 0.2, 0.3}, 0.048},
    };
    lb_scene *scene = fbx_scene("rig", 0);

    expect_extents("rig", rows, sizeof rows / sizeof rows[0]);
    cr_expect(!fbx_item(scene, "hidden")->visible);
    cr_expect(fbx_item(scene, "plain")->visible);
    lb_scene_unref(&scene);
}

/* By hand: the models turn by 90 + 30 degrees in all, so a box of half sides a, b has bounds
 * a / 2 + b sqrt(3) / 2 and a sqrt(3) / 2 + b / 2. Half sides, from 0.1, 0.2 and the scale 1, 3:
 * under (2, 2, 2) 0.2, 1.2, for type 2 0.1, 0.6; under (1, 2, 4), type 0 (both scales lie behind
 * both turns) 0.1, 1.2; type 2 0.1, 0.6. Type 1, where it shears: second opinion. */
Test(fbx, inherit_types)
{
    static const extent rows[] = {
        {"even0", {-1.13923, 1.22679, -0.6, 1.13923, 2.77321, 0.6}, 1.152},
        {"even1", {-1.13923, 1.22679, -0.6, 1.13923, 2.77321, 0.6}, 1.152},
        {"even2", {-0.56962, 1.61340, -0.3, 0.56962, 2.38660, 0.3}, 0.144},
        {"uneven0", {-1.08923, 0.31340, -1.2, 1.08923, 1.68660, 1.2}, 1.152},
        {"uneven1", {-1.13923, 0.61340, -1.2, 1.13923, 1.38660, 1.2}, 1.152},
        {"uneven2", {-0.56962, 0.61340, -0.3, 0.56962, 1.38660, 0.3}, 0.144},
    };

    expect_extents("inherit", rows, sizeof rows / sizeof rows[0]);
}

/* Second opinion, in the file's centimetres and z up: x y z there is x, -z, y here, divided by 100.
 * The plate and the lid are flat. */
Test(fbx, units_and_axes)
{
    static const extent rows[] = {
        {"box", {0.5, 0, -0.5, 1.5, 1, 0.5}, 1},
        {"plate", {0, 0.05, -0.4, 1.2, 0.05, 0}, NAN},
        {"lid", {0, 0.1, -0.3, 0.3, 0.1, 0}, NAN},
    };
    lb_scene *scene = fbx_scene("shapes", 1);

    cr_expect(files_has_fact(scene, LB_FACT_AUTHORED, "/GlobalSettings/UnitScaleFactor", "1 cm"));
    cr_expect(files_has_fact(scene, LB_FACT_CONVERTED, "/GlobalSettings/UnitScaleFactor", "0.01"));
    cr_expect(files_has_fact(scene, LB_FACT_CONVERTED, "/GlobalSettings/UpAxis", "x, y, z"));
    lb_scene_unref(&scene);
    expect_extents("shapes", rows, sizeof rows / sizeof rows[0]);
}

/* The sum of the areas of triangles; and how many have a normal on their other side. */
static double area_of(const lb_primitive *p, int32_t *turned)
{
    double sum = 0;

    for (int32_t t = 0; t < p->triangle_count; t++) {
        const uint32_t *corner = p->indices + 3 * t;
        lb_vec3 a = p->positions[corner[0]];
        lb_vec3 n = lb_vec3_cross(lb_vec3_sub(p->positions[corner[1]], a),
                                  lb_vec3_sub(p->positions[corner[2]], a));

        sum += (double)lb_vec3_length(n) / 2;
        for (int c = 0; c < 3; c++)
            *turned += lb_vec3_dot(n, p->normals[corner[c]]) < 0;
    }
    return sum;
}

/* make.py's `shapes`: layers by corner, place, polygon, all the same; direct and by index. */
Test(fbx, layers)
{
    for (int e = 0; e < FBX_ENCODINGS; e++) {
        lb_scene *scene = fbx_scene("shapes", e);
        const lb_mesh *box = fbx_item(scene, "box")->mesh, *plate = fbx_item(scene, "plate")->mesh;
        int32_t turned = 0;

        cr_assert(box->primitive_count == 2 && plate->primitive_count == 1);
        cr_expect_str_eq(box->primitives[0].material->name, "celadon");
        cr_expect_str_eq(box->primitives[1].material->name, "tenmoku");
        cr_expect(near(area_of(&box->primitives[0], &turned), 2)); /* bottom and top */
        cr_expect(near(area_of(&box->primitives[1], &turned), 4));
        /* 40 x 40 less a triangle of 40 x 30, plus the small one of 20 x 40 / 2; twice as wide */
        cr_expect(near(area_of(&plate->primitives[0], &turned), 2 * (0.16 - 0.06 + 0.04)));
        cr_expect_eq(turned, 0);
        cr_expect_eq(plate->primitives[0].triangle_count, 4);
        cr_expect_eq(box->primitives[0].vertex_count, 8);
        cr_expect_eq(box->primitives[1].vertex_count, 16);
        for (int32_t i = 0; i < 16; i++) {
            const lb_primitive *p = &box->primitives[1];
            lb_vec2 uv = p->uvs[0][i], wear = p->uvs[1][i];

            cr_expect((uv.x == 0 || uv.x == 1) && (uv.y == 0 || uv.y == 1));
            /* By place: x and y of the file, divided by 50; v goes down here. */
            cr_expect(near((double)wear.x, (double)p->positions[i].x * 2));
            cr_expect(near((double)(1 - wear.y), -(double)p->positions[i].z * 2));
        }
        cr_expect(near((double)box->primitives[0].colors[0].y, 0.5)); /* polygon 0 */
        cr_expect(files_has_fact(scene, LB_FACT_ASSUMED, "/Geometry/lid", "flat"));
        cr_expect(files_has_fact(scene, LB_FACT_ASSUMED, "/Material", "without material"));
        lb_scene_unref(&scene);
    }
}

/* Models that show a geometry alike share its mesh. */
Test(fbx, instances)
{
    lb_scene *scene = fbx_scene("shapes", 0);
    const lb_mesh *box = fbx_item(scene, "box")->mesh, *other = fbx_item(scene, "other")->mesh;

    cr_expect_eq(fbx_item(scene, "twin")->mesh, box);
    cr_expect_neq(other, box);
    cr_assert_eq(other->primitive_count, 2); /* the second glaze is not there */
    cr_expect_str_eq(other->primitives[0].material->name, "tenmoku");
    cr_expect_str_eq(other->primitives[1].material->name, "");
    cr_expect(files_has_fact(scene, LB_FACT_ASSUMED, "/Geometry/box", "4 polygons"));
    lb_scene_unref(&scene);
}

static bool is_color(lb_vec3 c, double r, double g, double b)
{
    return near((double)c.x, r) && near((double)c.y, g) && near((double)c.z, b);
}

/* Colours are their property times their factor; figures of make.py's `shapes`. */
Test(fbx, materials)
{
    lb_scene *scene = fbx_scene("shapes", 2);
    const lb_mesh *box = fbx_item(scene, "box")->mesh;
    const lb_material *celadon = box->primitives[0].material;
    const lb_material *tenmoku = box->primitives[1].material;

    cr_expect(is_color(celadon->diffuse, 0.2, 0.4, 0.3));
    cr_expect(is_color(celadon->specular, 0, 0, 0));
    cr_expect_eq(celadon->alpha_mode, LB_ALPHA_OPAQUE);
    cr_expect(is_color(tenmoku->diffuse, 0.05, 0.025, 0.01));
    cr_expect(is_color(tenmoku->specular, 0.25, 0.25, 0.25));
    cr_expect(is_color(tenmoku->emission, 1, 0.2, 0));
    cr_expect_eq(tenmoku->exponent, 120);
    cr_expect(near((double)tenmoku->opacity, 0.75) && tenmoku->alpha_mode == LB_ALPHA_BLEND);
    lb_scene_unref(&scene);
}

static bool shows(const lb_texture *texture, float u, float v, double r, double g, double b)
{
    static const float still[2] = {0, 0};
    float out[4];

    if (!texture)
        return false;
    lb_texture_sample(texture, u, v, still, still, out);
    return is_color((lb_vec3){out[0], out[1], out[2]}, r, g, b);
}

/* make.py's `glaze`: a red picture in the file, a green one beside it, one that is not there. */
Test(fbx, maps)
{
    for (int e = 0; e < FBX_ENCODINGS; e++) {
        lb_scene *scene = fbx_scene("glaze", e);
        const lb_material *m = fbx_item(scene, "tile")->mesh->primitives[0].material;
        const lb_texture *inside = m->maps[LB_SLOT_DIFFUSE];
        const lb_texture_map *map = inside ? lb_texture_mapping(inside) : NULL;

        cr_assert(map);
        cr_expect(shows(inside, 0.5f, 0.5f, 1, 0, 0));
        cr_expect(shows(m->maps[LB_SLOT_EMISSION], 0.5f, 0.5f, 0, 1, 0));
        cr_expect(shows(m->maps[LB_SLOT_SPECULAR], 0.5f, 0.5f, 0, 1, 0));
        cr_expect_null(m->maps[LB_SLOT_NORMAL]);
        cr_expect(map->wrap_u == LB_WRAP_CLAMP && map->wrap_v == LB_WRAP_REPEAT);
        cr_expect_eq(map->uv_set, 1);
        /* v up is 1 - v: 3 v + 0.5 there is 3 v - 2.5 here. */
        cr_expect(map->matrix[0] == 2 && map->matrix[2] == 0.25 && map->matrix[4] == 3 &&
                  map->matrix[5] == -2.5);
        cr_expect(is_color(m->diffuse, 0.5, 0.5, 0.5));
        cr_expect(is_color(m->emission, 1, 1, 1));
        cr_expect(files_has_fact(scene, LB_FACT_ASSUMED, "/Texture/moved", "beside"));
        cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/Texture/gone", "is missing"));
        cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "ReflectionColor", "'unused'"));
        lb_scene_unref(&scene);
    }
}

static lb_status count_place(void *context, const char *path)
{
    int *count = context;

    count[0]++;
    count[1] += strstr(path, "/fbx/green.png") != NULL;
    return LB_OK;
}

/* Every place where a picture may lie: what is embedded is asked for too, as it may be empty. */
Test(fbx, files)
{
    for (int e = 0; e < FBX_ENCODINGS; e++) {
        int count[2] = {0};
        char path[512];
        size_t size;
        void *bytes = fbx_load("glaze", e, &size, path);

        cr_expect_eq(lb_fbx_files(NULL, LB_NOWHERE, path, bytes, size, count_place, count), LB_OK);
        cr_expect(count[0] == 14 && count[1] == 5, "%d places, %d of green.png", count[0],
                  count[1]);
        cr_expect(lb_fbx_is(bytes, size));
        cr_expect_eq(lb_import_format_of("any.name", bytes, size), LB_IMPORT_FBX);
        lb_free(bytes);
    }
    cr_expect(!lb_fbx_is("solid kiln", 10) && !lb_fbx_is("; FBX", 5) && !lb_fbx_is("", 0));
}
