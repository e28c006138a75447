/* tests/engine/scene/test_gltf.c: files made here, a feature each. The standard is glTF 2.0
 * (ISO/IEC 12113:2022); sections are named beside the checks. */
#include <criterion/criterion.h>
#include <math.h>
#include <unistd.h>

#include "engine/base/hash.h"
#include "engine/base/math.h"
#include "engine/base/random.h"
#include "engine/base/text.h"
#include "tests/engine/scene/files.h"

/* A file being written: its binary data and the text around it. */
typedef struct {
    uint8_t bytes[4096];
    size_t count;
    lb_text views, accessors; /* with commas */
    int32_t view_count;
} maker;

static size_t put(maker *m, const void *bytes, size_t count)
{
    size_t at = m->count;

    cr_assert(at + count <= sizeof m->bytes);
    memcpy(m->bytes + at, bytes, count);
    m->count += count;
    return at;
}

/* A view and an accessor of it, whose number it answers. `more` are members with a comma before. */
static int32_t put_accessor(maker *m, const void *bytes, size_t size, int type, int count,
                            const char *shape, const char *more)
{
    size_t at = put(m, bytes, size);

    lb_text_printf(&m->views, "%s{\"buffer\":0,\"byteOffset\":%zu,\"byteLength\":%zu}",
                   m->view_count ? "," : "", at, size);
    lb_text_printf(&m->accessors,
                   "%s{\"bufferView\":%d,\"componentType\":%d,\"count\":%d,\"type\":\"%s\"%s}",
                   m->view_count ? "," : "", m->view_count, type, count, shape, more);
    return m->view_count++;
}

static void put_base64(lb_text *out, const uint8_t *bytes, size_t count)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

    for (size_t i = 0; i < count; i += 3) {
        uint32_t bits = (uint32_t)bytes[i] << 16 |
                        (i + 1 < count ? (uint32_t)bytes[i + 1] << 8 : 0) |
                        (i + 2 < count ? bytes[i + 2] : 0u);
        char four[5] = {digits[bits >> 18], digits[bits >> 12 & 63],
                        i + 1 < count ? digits[bits >> 6 & 63] : '=',
                        i + 2 < count ? digits[bits & 63] : '=', 0};

        lb_text_put(out, four);
    }
}

/* The whole text: `rest` are the members after asset, buffers, bufferViews and accessors. */
static lb_text finish(maker *m, const char *rest)
{
    lb_text out = {0};

    lb_text_put(&out, "{\"asset\":{\"version\":\"2.0\"},");
    if (m->count) {
        lb_text_printf(&out, "\"buffers\":[{\"byteLength\":%zu,\"uri\":\"data:;base64,", m->count);
        put_base64(&out, m->bytes, m->count);
        lb_text_printf(&out, "\"}],\"bufferViews\":[%s],\"accessors\":[%s],",
                       m->views.bytes ? m->views.bytes : "",
                       m->accessors.bytes ? m->accessors.bytes : "");
    }
    lb_text_put(&out, rest);
    lb_text_put(&out, "}");
    cr_assert(!out.failed);
    lb_text_clear(&m->views);
    lb_text_clear(&m->accessors);
    return out;
}

static const float corners[9] = {0, 0, 0, 1, 0, 0, 0, 1, 0};

/* Reads a file of these members and a triangle as accessor 0; ends the test if it cannot. */
static lb_scene *read_rest(const char *rest, lb_diag *diag)
{
    maker m = {0};
    lb_scene *scene;
    lb_text text;
    lb_status status;

    put_accessor(&m, corners, sizeof corners, 5126, 3, "VEC3", "");
    text = finish(&m, rest);
    status = files_read(diag, "made.gltf", text.bytes, text.length, &scene);
    cr_assert(status == LB_OK, "%s", files_messages(diag));
    lb_text_clear(&text);
    return scene;
}

static lb_status refuse(const char *rest, lb_diag *diag)
{
    maker m = {0};
    lb_scene *scene;
    lb_text text;
    lb_status status;

    put_accessor(&m, corners, sizeof corners, 5126, 3, "VEC3", "");
    text = finish(&m, rest);
    status = files_read(diag, "made.gltf", text.bytes, text.length, &scene);
    cr_expect(!scene);
    lb_scene_unref(&scene);
    lb_text_clear(&text);
    return status;
}

#define ONE_MESH "\"nodes\":[{\"mesh\":0}],\"scenes\":[{\"nodes\":[0]}],"

/* 3.6.2.2: what normalised integers mean; the ends are exact. */
Test(gltf, normalised_numbers)
{
    static const struct {
        int type;
        uint8_t bytes[4];
        double value;
    } cases[] = {
        {5121, {0}, 0},          {5121, {255}, 1},          {5121, {51}, 0.2},
        {5123, {0xFF, 0xFF}, 1}, {5123, {0x33, 0x33}, 0.2}, {5123, {1, 0}, 1 / 65535.0},
        {5120, {127}, 1},        {5120, {0x81}, -1},        {5120, {0x80}, -1},
        {5122, {0xFF, 0x7F}, 1}, {5122, {0, 0x80}, -1},     {5122, {1, 0x80}, -1},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        maker m = {0};
        uint8_t uv[12] = {0};
        size_t size = cases[i].type == 5121 || cases[i].type == 5120 ? 1 : 2;
        lb_diag *diag = lb_diag_new();
        lb_scene *scene;
        lb_text text;

        memcpy(uv + 2 * size, cases[i].bytes, size);
        put_accessor(&m, corners, sizeof corners, 5126, 3, "VEC3", "");
        put_accessor(&m, uv, 6 * size, cases[i].type, 3, "VEC2", ",\"normalized\":true");
        text = finish(&m, ONE_MESH "\"meshes\":[{\"primitives\":[{\"attributes\":"
                                   "{\"POSITION\":0,\"TEXCOORD_0\":1}}]}]");
        cr_assert(files_read(diag, "x", text.bytes, text.length, &scene) == LB_OK);
        cr_expect(scene->items[0].mesh->primitives[0].uvs[0][1].x == (float)cases[i].value,
                  "case %zu: %g", i, (double)scene->items[0].mesh->primitives[0].uvs[0][1].x);
        lb_scene_unref(&scene);
        lb_text_clear(&text);
        lb_diag_free(&diag);
    }
}

/* 3.6.2.4 strides and offsets, 3.6.2.3 sparse accessors with and without a base. */
Test(gltf, strided_and_sparse)
{
    static const float mixed[] = {9, 0, 0, 0, 7, 7, 1, 0, 0, 7, 7, 0, 1, 0, 7};
    static const uint16_t which[] = {2, 0};
    static const float with[] = {0, 5, 0, -3, 0, 0};
    maker m = {0};
    lb_diag *diag = lb_diag_new();
    const lb_primitive *p;
    lb_scene *scene;
    lb_text text;

    put(&m, mixed, sizeof mixed); /* bytes 0 .. 59: 4 before, then 12 of every 20 */
    put(&m, which, sizeof which);
    put(&m, with, sizeof with);
    lb_text_put(&m.views, "{\"buffer\":0,\"byteLength\":60,\"byteStride\":20},"
                          "{\"buffer\":0,\"byteOffset\":60,\"byteLength\":4},"
                          "{\"buffer\":0,\"byteOffset\":64,\"byteLength\":24}");
    lb_text_put(&m.accessors,
                "{\"bufferView\":0,\"byteOffset\":4,\"componentType\":5126,\"count\":3,\"type\":"
                "\"VEC3\",\"sparse\":{\"count\":1,\"indices\":{\"bufferView\":1,\"componentType\":"
                "5123},\"values\":{\"bufferView\":2}}},"
                "{\"componentType\":5126,\"count\":3,\"type\":\"VEC3\",\"sparse\":{\"count\":2,"
                "\"indices\":{\"bufferView\":1,\"componentType\":5123},\"values\":{\"bufferView\":2"
                "}}}");
    text = finish(&m, ONE_MESH "\"meshes\":[{\"primitives\":[{\"attributes\":{\"POSITION\":0}},"
                               "{\"attributes\":{\"POSITION\":1}}]}]");
    cr_assert(files_read(diag, "x", text.bytes, text.length, &scene) == LB_OK, "%s",
              files_messages(diag));
    p = scene->items[0].mesh->primitives;
    cr_expect(p[0].positions[1].x == 1 && p[0].positions[0].x == 0);
    cr_expect(p[0].positions[2].y == 5 && p[0].positions[2].x == 0);
    cr_expect(p[1].positions[0].x == -3 && p[1].positions[1].x == 0 && p[1].positions[2].y == 5);
    lb_scene_unref(&scene);
    lb_text_clear(&text);
    lb_diag_free(&diag);
}

/* 3.7.2.1: strips alternate their winding, fans turn about vertex 0. Both are the square of four
 * vertices here, and every face has to look to +z. */
Test(gltf, strips_and_fans)
{
    static const float square[12] = {0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0};
    static const uint8_t around[4] = {0, 1, 3, 2};
    maker m = {0};
    lb_diag *diag = lb_diag_new();
    const lb_mesh *mesh;
    lb_scene *scene;
    lb_text text;

    put_accessor(&m, square, sizeof square, 5126, 4, "VEC3", "");
    put_accessor(&m, around, sizeof around, 5121, 4, "SCALAR", "");
    text = finish(&m, ONE_MESH "\"meshes\":[{\"primitives\":["
                               "{\"mode\":5,\"attributes\":{\"POSITION\":0}},"
                               "{\"mode\":6,\"attributes\":{\"POSITION\":0},\"indices\":1},"
                               "{\"mode\":0,\"attributes\":{\"POSITION\":0}},"
                               "{\"mode\":3,\"attributes\":{\"POSITION\":0}}]}]");
    cr_assert(files_read(diag, "x", text.bytes, text.length, &scene) == LB_OK);
    mesh = scene->items[0].mesh;
    cr_assert(mesh->primitive_count == 2);
    for (int k = 0; k < 2; k++) {
        cr_expect(mesh->primitives[k].triangle_count == 2);
        for (int v = 0; v < 6; v++)
            cr_expect(mesh->primitives[k].normals[v].z == 1, "mode %d, corner %d", 5 + k, v);
    }
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/meshes/0/primitives/2", "Points"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/meshes/0/primitives/3", "line strip"));
    cr_expect(files_has_fact(scene, LB_FACT_ASSUMED, "/meshes/0/primitives/0", "No normals"));
    lb_scene_unref(&scene);
    lb_text_clear(&text);
    lb_diag_free(&diag);
}

/* 3.5: the world transform is the product from the root down; a matrix is by columns. */
Test(gltf, hierarchy)
{
    lb_diag *diag = lb_diag_new();
    lb_scene *scene = read_rest(
        "\"scenes\":[{},{\"nodes\":[0]}],\"scene\":1,\"nodes\":["
        "{\"name\":\"top\",\"children\":[1],\"translation\":[1,2,3],\"rotation\":[0,0,2,2],"
        "\"scale\":[2,2,2]},"
        "{\"name\":\"both\",\"matrix\":[1,0,0,0, 0,1,0,0, 0,0,1,0, 5,0,0,1],\"mesh\":0,"
        "\"camera\":0,\"extensions\":{\"KHR_lights_punctual\":{\"light\":0}}},{\"name\":\"lost\"}],"
        "\"meshes\":[{\"name\":\"tri\",\"primitives\":[{\"attributes\":{\"POSITION\":0}}]}],"
        "\"cameras\":[{\"name\":\"eye\",\"type\":\"perspective\",\"perspective\":{\"yfov\":1,"
        "\"znear\":0.5}}],"
        "\"extensions\":{\"KHR_lights_punctual\":{\"lights\":[{\"name\":\"sun\",\"type\":"
        "\"directional\",\"intensity\":3}]}}",
        diag);
    lb_mat4 world[8];
    lb_vec3d at;

    cr_assert(scene->item_count == 4, "%zu", scene->item_count);
    cr_expect(scene->items[0].kind == LB_ITEM_GROUP && strcmp(scene->items[0].name, "top") == 0);
    for (int i = 1; i < 4; i++)
        cr_expect(strcmp(scene->items[i].name, "both") == 0);
    cr_expect(strcmp(scene->items[1].data_name, "tri") == 0 && scene->items[1].parent == 0);
    cr_expect(strcmp(scene->items[2].data_name, "eye") == 0 && scene->items[2].parent == 1);
    cr_expect(strcmp(scene->items[3].data_name, "sun") == 0 && scene->items[3].parent == 1);
    lb_scene_pose(scene, 0, world, NULL);
    at = lb_mat4_point(&world[3], (lb_vec3d){1, 0, 0});
    /* (1 + 5) * 2 along x, a quarter turn: along y */
    cr_expect(fabs(at.x - 1) < 1e-12 && fabs(at.y - 14) < 1e-12 && fabs(at.z - 3) < 1e-12);
    cr_expect(fabs(scene->items[3].light.intensity - 3 / LB_PI) < 1e-6);
    cr_expect(files_has_fact(scene, LB_FACT_CONVERTED, "/lights/0/intensity", "3 lux"));
    cr_expect(files_has_fact(scene, LB_FACT_CONVERTED, "/nodes/0/rotation", "unit"));
    cr_expect(files_has_fact(scene, LB_FACT_ASSUMED, "/cameras/0/perspective/zfar", "no far"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/nodes", "1 of 3 nodes"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/scenes", "Scene 1 of 2"));
    cr_expect(files_has_fact(scene, LB_FACT_ASSUMED, "/material", "white metal of roughness 1"));
    lb_scene_unref(&scene);
    lb_diag_free(&diag);
}

/* Facts about what stands in the file and is not used. */
Test(gltf, tells_what_it_leaves_out)
{
    lb_diag *diag = lb_diag_new();
    lb_scene *scene = read_rest(
        ONE_MESH "\"extensionsUsed\":[\"KHR_materials_ior\"],"
                 "\"extras\":{\"a\":1},"
                 "\"materials\":[{\"extensions\":{\"KHR_materials_ior\":{\"ior\":1.4}}},"
                 "{\"extensions\":{\"KHR_materials_ior\":{}},\"extras\":7}],"
                 "\"meshes\":[{\"primitives\":[{\"attributes\":{\"POSITION\":0,\"_OWN\":0,"
                 "\"TEXCOORD_2\":0},\"targets\":[{\"POSITION\":0}],\"material\":0}]}]",
        diag);

    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/materials/0/extensions/KHR_materials_ior",
                             "2 times"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/extras", "there are 2"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/attributes/_OWN", "not used"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/attributes/TEXCOORD_2", "not used"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/primitives/0/targets", "Morph"));
    cr_expect(files_has_fact(scene, LB_FACT_ASSUMED, "/metallicFactor", "Not given: 1"));
    lb_scene_unref(&scene);
    lb_diag_free(&diag);
}

/* 3.11 and appendix C; several animations, the same property twice, a node with a matrix. */
Test(gltf, animations)
{
    static const float times[] = {0, 1, 3}, places[] = {0, 0, 0, 2, 0, 0, 2, 4, 0};
    static const int16_t turns[] = {0, 0, 0, 32767, 0, 0, 32767, 0, 0, 32767, 0, 0};
    maker m = {0};
    lb_diag *diag = lb_diag_new();
    lb_scene *scene;
    lb_text text;
    double v[4];

    put_accessor(&m, times, sizeof times, 5126, 3, "SCALAR", "");
    put_accessor(&m, places, sizeof places, 5126, 3, "VEC3", "");
    put_accessor(&m, turns, sizeof turns, 5122, 3, "VEC4", ",\"normalized\":true");
    text = finish(
        &m, "\"nodes\":[{},{\"matrix\":[1,0,0,0, 0,1,0,0, 0,0,1,0, 5,0,0,1]}],"
            "\"scenes\":[{\"nodes\":[0,1]}],\"animations\":[{\"channels\":["
            "{\"sampler\":0,\"target\":{\"node\":0,\"path\":\"translation\"}},"
            "{\"sampler\":1,\"target\":{\"node\":0,\"path\":\"rotation\"}},"
            "{\"sampler\":0,\"target\":{\"node\":1,\"path\":\"translation\"}},"
            "{\"sampler\":0,\"target\":{\"node\":0,\"path\":\"weights\"}},"
            "{\"sampler\":0,\"target\":{\"path\":\"scale\"}}],\"samplers\":["
            "{\"input\":0,\"output\":1,\"interpolation\":\"STEP\"},{\"input\":0,\"output\":2}]},"
            "{\"channels\":[{\"sampler\":0,\"target\":{\"node\":0,\"path\":\"translation\"}}],"
            "\"samplers\":[{\"input\":0,\"output\":1}]}]");
    cr_assert(files_read(diag, "x", text.bytes, text.length, &scene) == LB_OK, "%s",
              files_messages(diag));
    cr_assert(scene->curve_count == 3 && scene->duration_s == 3);
    lb_curve_at(&scene->curves[0], 2, v);
    cr_expect(v[0] == 2 && v[1] == 0);
    lb_curve_at(&scene->curves[1], 2, v); /* half-way from a half turn about z to one about y */
    cr_expect(fabs(v[2] - sqrt(0.5)) < 1e-12 && fabs(v[1] - sqrt(0.5)) < 1e-12);
    lb_curve_at(&scene->curves[2], 2, v);
    cr_expect(v[0] == 2 && v[1] == 2);
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/animations/1/channels/0", "twice"));
    cr_expect(files_has_fact(scene, LB_FACT_ASSUMED, "/animations", "All 2"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/animations/0/channels/2", "matrix"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/animations/0/channels/3", "Weights"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/animations/0/channels/4", "no node"));
    cr_expect(lb_diag_count(diag, LB_WARNING) == 1);
    lb_scene_unref(&scene);
    lb_text_clear(&text);
    lb_diag_free(&diag);
}

/* A PNG of 2 x 2, 8-bit RGBA, written by hand with zlib: red, green with alpha 128, blue,
 * and grey 188 with alpha 0. */
#define PNG                                                                                        \
    "iVBORw0KGgoAAAANSUhEUgAAAAIAAAACCAYAAABytg0kAAAAGElEQVR42mP4z8DwHwgbGID0/z179jAA"             \
    "AEF4B7BL4A6LAAAAAElFTkSuQmCC"

static lb_scene *read_textured(const char *material, const char *sampler, lb_diag *diag)
{
    lb_text rest = {0};
    lb_scene *scene;

    lb_text_printf(&rest,
                   ONE_MESH "\"images\":[{\"uri\":\"data:image/png;base64,%s\"},"
                            "{\"uri\":\"missing.png\"},{\"uri\":\"data:image/png;base64,AAAA\"}],"
                            "\"samplers\":[%s],\"textures\":[{\"source\":0,\"sampler\":0},"
                            "{\"source\":1},{\"source\":2},{}],\"materials\":[%s],"
                            "\"meshes\":[{\"primitives\":[{\"attributes\":{\"POSITION\":0},"
                            "\"material\":0}]}]",
                   PNG, sampler, material);
    scene = read_rest(rest.bytes, diag);
    lb_text_clear(&rest);
    return scene;
}

static void texel(const lb_texture *t, float u, float v, float out[4])
{
    static const float still[2] = {0, 0};

    lb_texture_sample(t, u, v, still, still, out);
}

/* 3.9.2 to 3.9.4: base colour and emission are sRGB, the rest are numbers. Opaque surfaces ignore
 * alpha; where it counts the texels are premultiplied. sRGB 188 decodes to 0.502886 (IEC 61966-2-1:
 * ((188 / 255 + 0.055) / 1.055)^2.4). */
Test(gltf, textures_are_decoded_for_their_use)
{
    static const char maps[] =
        "{\"alphaMode\":\"%s\",\"pbrMetallicRoughness\":{\"baseColorTexture\":{\"index\":0},"
        "\"metallicRoughnessTexture\":{\"index\":0}},\"normalTexture\":{\"index\":0,\"scale\":0.5},"
        "\"occlusionTexture\":{\"index\":0,\"strength\":0.25},\"emissiveTexture\":{\"index\":0},"
        "\"emissiveFactor\":[1,0.5,0],\"extensions\":{\"KHR_materials_emissive_strength\":"
        "{\"emissiveStrength\":6}}}";
    static const char *const modes[] = {"OPAQUE", "BLEND"};

    for (int blend = 0; blend < 2; blend++) {
        lb_diag *diag = lb_diag_new();
        lb_text text = {0};
        const lb_material *m;
        lb_scene *scene;
        float out[4];

        lb_text_printf(&text, maps, modes[blend]);
        scene = read_textured(text.bytes, "{\"magFilter\":9728}", diag);
        m = scene->items[0].mesh->primitives[0].material;
        cr_assert(m->maps[LB_SLOT_BASE_COLOR] && m->maps[LB_SLOT_METAL_ROUGH] &&
                      m->maps[LB_SLOT_NORMAL] && m->maps[LB_SLOT_OCCLUSION] &&
                      m->maps[LB_SLOT_EMISSION],
                  "%s", files_messages(diag));
        texel(m->maps[LB_SLOT_BASE_COLOR], 0.75f, 0.25f, out);
        cr_expect(fabsf(out[1] - (blend ? 128 / 255.0f : 1)) < 1e-6f && out[0] == 0);
        cr_expect(fabsf(out[3] - (blend ? 128 / 255.0f : 1)) < 1e-6f);
        texel(m->maps[LB_SLOT_EMISSION], 0.75f, 0.75f, out);
        cr_expect(fabsf(out[2] - 0.502886f) < 2e-6f && out[3] == 1, "%g", (double)out[2]);
        texel(m->maps[LB_SLOT_METAL_ROUGH], 0.75f, 0.75f, out);
        cr_expect(fabsf(out[2] - 188 / 255.0f) < 1e-6f && out[3] == 1);
        cr_expect(lb_texture_mapping(m->maps[LB_SLOT_NORMAL])->role == LB_TEXTURE_NORMAL);
        cr_expect(lb_texture_mapping(m->maps[LB_SLOT_NORMAL])->scale == 0.5);
        cr_expect(m->occlusion_strength == 0.25f);
        cr_expect(fabsf(m->emission.x - 6) < 1e-5f && fabsf(m->emission.y - 3) < 1e-5f);
        cr_expect(lb_texture_level_at(m->maps[LB_SLOT_NORMAL], 0).texels ==
                      lb_texture_level_at(m->maps[LB_SLOT_OCCLUSION], 0).texels,
                  "one decode for all that are numbers");
        cr_expect(files_has_fact(scene, LB_FACT_ASSUMED, "/meshes/0/primitives/0", "TEXCOORD_0"));
        lb_scene_unref(&scene);
        lb_text_clear(&text);
        lb_diag_free(&diag);
    }
}

/* 5.26: the codes of samplers. */
Test(gltf, samplers)
{
    static const struct {
        const char *json;
        lb_wrap u, v;
        lb_texture_filter filter;
    } cases[] = {
        {"{}", LB_WRAP_REPEAT, LB_WRAP_REPEAT, LB_TEXTURE_MIPMAP},
        {"{\"wrapS\":33071,\"wrapT\":33648}", LB_WRAP_CLAMP, LB_WRAP_MIRROR, LB_TEXTURE_MIPMAP},
        {"{\"wrapS\":10497,\"magFilter\":9729,\"minFilter\":9987}", LB_WRAP_REPEAT, LB_WRAP_REPEAT,
         LB_TEXTURE_MIPMAP},
        {"{\"magFilter\":9728,\"minFilter\":9728}", LB_WRAP_REPEAT, LB_WRAP_REPEAT,
         LB_TEXTURE_NEAREST},
        {"{\"magFilter\":9729,\"minFilter\":9729}", LB_WRAP_REPEAT, LB_WRAP_REPEAT,
         LB_TEXTURE_BILINEAR},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lb_diag *diag = lb_diag_new();
        lb_scene *scene = read_textured(
            "{\"pbrMetallicRoughness\":{\"baseColorTexture\":{\"index\":0,\"texCoord\":0,"
            "\"extensions\":{\"KHR_texture_transform\":{\"offset\":[0.5,0],\"texCoord\":1}}}}}",
            cases[i].json, diag);
        const lb_texture_map *map = lb_texture_mapping(
            scene->items[0].mesh->primitives[0].material->maps[LB_SLOT_BASE_COLOR]);

        cr_expect(map->wrap_u == cases[i].u && map->wrap_v == cases[i].v &&
                      map->filter == cases[i].filter,
                  "case %zu", i);
        cr_expect(map->uv_set == 1 && map->matrix[2] == 0.5, "the extension's set counts");
        lb_scene_unref(&scene);
        lb_diag_free(&diag);
    }
}

/* What cannot be had is warned of once, recorded, and left out. */
Test(gltf, pictures_that_are_not_there)
{
    lb_diag *diag = lb_diag_new();
    lb_scene *scene = read_textured(
        "{\"pbrMetallicRoughness\":{\"baseColorTexture\":{\"index\":1},"
        "\"metallicRoughnessTexture\":{\"index\":2}},\"normalTexture\":{\"index\":3},"
        "\"emissiveTexture\":{\"index\":1},\"occlusionTexture\":{\"index\":0,\"texCoord\":4}}",
        "{}", diag);
    const lb_material *m = scene->items[0].mesh->primitives[0].material;

    for (int slot = 0; slot < LB_SLOT_COUNT; slot++)
        cr_expect(m->maps[slot] == NULL, "%s", lb_slot_names[slot]);
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/images/1", "'missing.png' is missing"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/images/2", "damaged"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/textures/3", "no picture"));
    cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "/occlusionTexture", "TEXCOORD_4"));
    cr_expect(lb_diag_count(diag, LB_WARNING) == 2 && lb_diag_count(diag, LB_ERROR) == 0, "%s",
              files_messages(diag));
    lb_scene_unref(&scene);
    lb_diag_free(&diag);
}

/* Colours are linear Rec. 709 in the file; in another working space white stays white (Bradford)
 * and red gets the third of the matrix that the space's table has. */
Test(gltf, colours_come_to_the_working_space)
{
    static const char json[] =
        "{\"asset\":{\"version\":\"2.0\"},\"nodes\":[{\"extensions\":{\"KHR_lights_punctual\":"
        "{\"light\":0}}}],\"scenes\":[{\"nodes\":[0]}],\"extensions\":{\"KHR_lights_punctual\":"
        "{\"lights\":[{\"type\":\"point\",\"color\":[1,0,0]}]}}}";
    lb_gltf_options options = {.working = LB_SPACE_LINEAR_REC2020};
    lb_scene *scene;
    lb_vec3 c;

    cr_assert(lb_gltf_read(NULL, NULL, LB_NOWHERE, "x", json, sizeof json - 1, &options, &scene) ==
              LB_OK);
    c = scene->items[0].light.color;
    /* ITU-R BT.2087-0, 4: the first column of M2. */
    cr_expect(fabsf(c.x - 0.6274f) < 1e-4f && fabsf(c.y - 0.0691f) < 1e-4f &&
                  fabsf(c.z - 0.0164f) < 1e-4f,
              "%g %g %g", (double)c.x, (double)c.y, (double)c.z);
    lb_scene_unref(&scene);
}

/* 3.10.3, and numbers that the standard does not allow: refused, or set right and recorded. */
Test(gltf, cameras_that_are_wrong)
{
    static const char frame[] =
        "\"nodes\":[{\"camera\":0}],\"scenes\":[{\"nodes\":[0]}],\"cameras\":[%s]";
    static const struct {
        const char *json;
        const char *place; /* of the error; NULL: read */
    } cases[] = {
        {"{\"type\":\"perspective\",\"perspective\":{\"yfov\":0,\"znear\":1}}",
         "/cameras/0/perspective/yfov"},
        {"{\"type\":\"perspective\",\"perspective\":{\"yfov\":4,\"znear\":1}}",
         "/cameras/0/perspective/yfov"},
        {"{\"type\":\"perspective\",\"perspective\":{\"yfov\":1}}", "/cameras/0/perspective/znear"},
        {"{\"type\":\"perspective\"}", "/cameras/0/perspective"},
        {"{\"type\":\"fisheye\"}", "/cameras/0"},
        {"{\"type\":\"orthographic\",\"orthographic\":{\"xmag\":0,\"ymag\":1,\"znear\":0,\"zfar\":1"
         "}}",
         "/cameras/0/orthographic"},
        {"{\"type\":\"perspective\",\"perspective\":{\"yfov\":1,\"znear\":10,\"zfar\":5}}", NULL},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lb_diag *diag = lb_diag_new();
        lb_text rest = {0};

        lb_text_printf(&rest, frame, cases[i].json);
        if (cases[i].place) {
            cr_expect(refuse(rest.bytes, diag) == LB_FORMAT);
            cr_expect(strstr(files_messages(diag), cases[i].place), "%s", files_messages(diag));
        } else {
            lb_scene *scene = read_rest(rest.bytes, diag);

            cr_expect(scene->items[0].camera.far == INFINITY);
            cr_expect(files_has_fact(scene, LB_FACT_CONVERTED, "/cameras/0", "not beyond"));
            lb_scene_unref(&scene);
        }
        lb_text_clear(&rest);
        lb_diag_free(&diag);
    }
}

/* 2.8: buffers beside the file, by percent-encoded and by plain names; other schemes are refused.
 */
Test(gltf, uris)
{
    static const struct {
        const char *uri, *name;
        lb_status status;
    } cases[] = {
        {"a%20b%C3%A9.bin", "a b\xC3\xA9.bin", LB_OK},
        {"a b.bin", "a b.bin", LB_OK},
        {"50%.bin", "50%.bin", LB_OK},
        {"50%25.bin", "50%.bin", LB_OK},
        {"x%41y.bin", "x%41y.bin", LB_OK}, /* never encoded */
        {"sub\\\\c.bin", "sub/c.bin", LB_OK},
        {"gone.bin", NULL, LB_NOT_FOUND},
        {"http://example.com/a.bin", NULL, LB_UNSUPPORTED},
        {"file:///a.bin", NULL, LB_UNSUPPORTED},
        {"/a.bin", NULL, LB_UNSUPPORTED},
        {"a%00.bin", NULL, LB_FORMAT},
        {"", NULL, LB_FORMAT},
        {"data:;base64,!!!!", NULL, LB_FORMAT},
        {"data:nothing", NULL, LB_FORMAT},
    };
    char folder[] = "/tmp/lb_gltf_XXXXXX";
    char path[FILES_PATH], sub[FILES_PATH];

    cr_assert(mkdtemp(folder));
    snprintf(sub, sizeof sub, "%s/sub", folder);
    cr_assert(mkdir(sub, 0700) == 0);
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lb_diag *diag = lb_diag_new();
        lb_text json = {0};
        lb_scene *scene;
        lb_status status;

        if (cases[i].name) {
            snprintf(path, sizeof path, "%s/%s", folder, cases[i].name);
            cr_assert(lb_file_write(diag, LB_NOWHERE, path, corners, sizeof corners) == LB_OK);
        }
        lb_text_printf(&json,
                       "{\"asset\":{\"version\":\"2.0\"}," ONE_MESH
                       "\"buffers\":[{\"byteLength\":36,\"uri\":\"%s\"}],\"bufferViews\":["
                       "{\"buffer\":0,\"byteLength\":36}],\"accessors\":[{\"bufferView\":0,"
                       "\"componentType\":5126,\"count\":3,\"type\":\"VEC3\"}],\"meshes\":["
                       "{\"primitives\":[{\"attributes\":{\"POSITION\":0}}]}]}",
                       cases[i].uri);
        snprintf(sub, sizeof sub, "%s/scene.gltf", folder);
        status = files_read(diag, sub, json.bytes, json.length, &scene);
        cr_expect(status == cases[i].status, "'%s': %s", cases[i].uri, files_messages(diag));
        cr_expect(status == LB_OK || strstr(files_messages(diag), "/buffers/0: "));
        lb_scene_unref(&scene);
        lb_text_clear(&json);
        lb_diag_free(&diag);
        if (cases[i].name)
            unlink(path);
    }
    snprintf(sub, sizeof sub, "%s/sub", folder);
    rmdir(sub);
    rmdir(folder);
}

/* Content or absence of one file into a hasher. */
static lb_status hash_file(void *context, const char *path)
{
    void *bytes;
    size_t count;

    if (lb_file_read(NULL, LB_NOWHERE, path, 1 << 20, &bytes, &count) != LB_OK) {
        lb_hash_string(context, NULL);
        return LB_OK;
    }
    lb_hash_key(context, lb_key_of(bytes, count));
    lb_free(bytes);
    return LB_OK;
}

/* A key over all files that are named changes with what they hold and whether they are there. */
Test(gltf, names_what_it_refers_to)
{
    static const char json[] = "{\"asset\":{\"version\":\"2.0\"},\"buffers\":[{\"byteLength\":4,"
                               "\"uri\":\"a.bin\"}],\"images\":[{\"uri\":\"b.png\"}]}";
    char folder[] = "/tmp/lb_gltf_XXXXXX", scene[FILES_PATH], buffer[FILES_PATH];
    lb_hasher *hasher = lb_hasher_new();
    lb_key keys[4];

    cr_assert(hasher && mkdtemp(folder));
    snprintf(scene, sizeof scene, "%s/s.gltf", folder);
    snprintf(buffer, sizeof buffer, "%s/a.bin", folder);
    for (int i = 0; i < 4; i++) {
        if (i > 0)
            cr_assert(lb_file_write(NULL, LB_NOWHERE, buffer, i == 2 ? "wxyz" : "abcd", 4) ==
                      LB_OK);
        lb_hasher_reset(hasher);
        cr_assert(lb_gltf_files(NULL, LB_NOWHERE, scene, json, sizeof json - 1, hash_file,
                                hasher) == LB_OK);
        keys[i] = lb_hasher_key(hasher);
    }
    cr_expect(!lb_key_equal(keys[0], keys[1]) && !lb_key_equal(keys[1], keys[2]));
    cr_expect(lb_key_equal(keys[1], keys[3]), "the same content is the same key");
    lb_hasher_free(&hasher);
    unlink(buffer);
    rmdir(folder);
}

static const char *const samples[] = {
    "/gltf/samples/SimpleSparseAccessor/glTF-Embedded/SimpleSparseAccessor.gltf",
    "/gltf/feature-tests/animation.glb",
    "/gltf/asset-generator/Positive/Material_Mixed/Material_Mixed_00.gltf",
    "/gltf/samples/Cameras/glTF-Embedded/Cameras.gltf",
    "/gltf/samples/SimpleMorph/glTF-Embedded/SimpleMorph.gltf",
};

/* Each allocation fails once; nothing is left, and the status says so. */
Test(gltf, survives_want_of_memory)
{
    for (size_t i = 0; i < sizeof samples / sizeof samples[0]; i++) {
        lb_gltf_options options = {.working = LB_SPACE_LINEAR_REC709};
        char path[FILES_PATH];
        size_t count, before;
        lb_status status = LB_MEMORY;
        int64_t n;
        void *bytes;

        snprintf(path, sizeof path, "%s%s", LB_TEST_DATA, samples[i]);
        bytes = files_load(path, &count);
        before = lb_memory_used();
        for (n = 1; status == LB_MEMORY && n < 5000; n++) {
            lb_scene *scene;

            lb_memory_fail_at(n);
            status = lb_gltf_read(NULL, NULL, LB_NOWHERE, path, bytes, count, &options, &scene);
            lb_memory_fail_at(0);
            cr_expect((status == LB_OK) == (scene != NULL));
            lb_scene_unref(&scene);
            cr_expect(lb_memory_used() == before, "%s: allocation %lld", path, (long long)n);
        }
        cr_expect(status == LB_OK && n > 10, "%s: %s after %lld", path, lb_status_text(status),
                  (long long)n);
        lb_free(bytes);
    }
}

/* Damaged copies of small files: a byte is changed, or the end is missing. Read or refused. */
Test(gltf, survives_damage)
{
    for (size_t i = 0; i < sizeof samples / sizeof samples[0]; i++) {
        char path[FILES_PATH];
        size_t count;
        uint8_t *bytes, *copy;

        snprintf(path, sizeof path, "%s%s", LB_TEST_DATA, samples[i]);
        bytes = files_load(path, &count);
        copy = malloc(count);
        cr_assert(copy);
        for (uint32_t n = 0; n < 300; n++) {
            size_t length = n % 4 ? count : lb_random_u32(n, 1, 0, 0) % count;
            lb_diag *diag = lb_diag_new();
            lb_scene *scene;

            memcpy(copy, bytes, count);
            for (uint32_t k = 0; k < 1 + n % 3; k++)
                copy[lb_random_u32(n, 2, k, 0) % count] =
                    n % 2 ? (uint8_t)lb_random_u32(n, 3, k, 0)
                          : (uint8_t) "0123456789-.,:{}[]e\""[lb_random_u32(n, 4, k, 0) % 20];
            if (files_read(diag, path, copy, length, &scene))
                cr_expect(lb_diag_count(diag, LB_ERROR) > 0, "%s: %u", path, n);
            lb_scene_unref(&scene);
            lb_diag_free(&diag);
        }
        free(copy);
        lb_free(bytes);
    }
}

/* Trees as deep as there are nodes, and JSON as deep as the parser goes. */
Test(gltf, deep_files)
{
    lb_text text = {0};
    lb_diag *diag = lb_diag_new();
    lb_scene *scene;

    lb_text_put(&text, "{\"asset\":{\"version\":\"2.0\"},\"scenes\":[{\"nodes\":[0]}],\"nodes\":[");
    for (int i = 0; i < 50000; i++)
        lb_text_printf(&text, "{\"children\":[%d]},", i + 1);
    lb_text_put(&text, "{\"translation\":[1,0,0]}]}");
    cr_assert(files_read(diag, "x", text.bytes, text.length, &scene) == LB_OK);
    cr_expect(scene->item_count == 50001);
    lb_scene_unref(&scene);
    lb_text_clear(&text);
    lb_text_put(&text, "{\"asset\":{\"version\":\"2.0\"},\"x\":");
    for (int i = 0; i < 2000; i++)
        lb_text_put(&text, "[");
    for (int i = 0; i < 2000; i++)
        lb_text_put(&text, "]");
    lb_text_put(&text, "}");
    cr_expect(files_read(diag, "x", text.bytes, text.length, &scene) == LB_OK);
    lb_scene_unref(&scene);
    lb_text_clear(&text);
    lb_diag_free(&diag);
}
