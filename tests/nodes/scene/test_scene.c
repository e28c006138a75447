/* tests/nodes/scene/test_scene.c: files, pins, amendments. What is in a file is
 * tests/engine/scene/test_gltf*.c's. */
#include <criterion/criterion.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/base/math.h"
#include "tests/nodes/scene/scene_run.h"

/* A scene of a spot light, a sun, two cameras, and two meshes of a triangle. */
static const char text[] =
    "{\"asset\":{\"version\":\"2.0\"},\"scenes\":[{\"nodes\":[0,1,2,3,4,5]}],\"nodes\":["
    "{\"name\":\"lamp\",\"extensions\":{\"KHR_lights_punctual\":{\"light\":0}}},"
    "{\"name\":\"sun\",\"extensions\":{\"KHR_lights_punctual\":{\"light\":1}}},"
    "{\"name\":\"shot_a\",\"camera\":0},{\"name\":\"shot_b\",\"camera\":0},"
    "{\"name\":\"plaque\",\"mesh\":0},{\"name\":\"stamp_1\",\"mesh\":0}],"
    "\"extensions\":{\"KHR_lights_punctual\":{\"lights\":[{\"name\":\"kicker\",\"type\":\"spot\","
    "\"intensity\":40,\"spot\":{\"outerConeAngle\":0.25}},{\"type\":\"directional\"}]}},"
    "\"cameras\":[{\"type\":\"perspective\",\"perspective\":{\"yfov\":0.5,\"znear\":10,\"zfar\":"
    "20000}}],"
    "\"buffers\":[{\"byteLength\":36,\"uri\":\"tri.bin\"}],\"bufferViews\":[{\"buffer\":0,"
    "\"byteLength\":36}],\"accessors\":[{\"bufferView\":0,\"componentType\":5126,\"count\":3,"
    "\"type\":\"VEC3\"}],\"materials\":[{\"name\":\"grey\"}],"
    "\"meshes\":[{\"name\":\"shape\",\"primitives\":[{\"attributes\":{\"POSITION\":0},"
    "\"material\":0}]}]}";
static const float corners[9] = {0, 0, 0, 1, 0, 0, 0, 1, 0};

static char folder[64];
static char path[128], buffer_path[128];

static void put_files(void)
{
    strcpy(folder, "/tmp/lb_scene_XXXXXX");
    cr_assert(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/kiln.gltf", folder);
    snprintf(buffer_path, sizeof buffer_path, "%s/tri.bin", folder);
    cr_assert(lb_file_write(NULL, LB_NOWHERE, path, text, sizeof text - 1) == LB_OK);
    cr_assert(lb_file_write(NULL, LB_NOWHERE, buffer_path, corners, sizeof corners) == LB_OK);
}

static void remove_files(void)
{
    unlink(path);
    unlink(buffer_path);
    rmdir(folder);
}

TestSuite(scene, .init = put_files, .fini = remove_files);

static op_run open_scene(void)
{
    op_run r = op_new(scene_op("scene"), 2);

    op_text(&r, "file", path);
    return r;
}

/* Adds an amendment that selects by `by`; set its fields with set_number and the like. */
static void *amend(op_run *r, const char *by, const char *pattern)
{
    const lb_param *fields = lb_params_find(r->op->params, "amend")->fields;
    const lb_param *select = lb_params_find(fields, "select");
    lb_datum value = {.kind = LB_DATUM_TEXT, .text = pattern};
    char *record = op_record(r, "amend");

    op_store_datum(r, select->fields, record + select->offset, by, &value);
    return record;
}

static void set(op_run *r, void *record, const char *name, const lb_datum *value)
{
    const lb_param *fields = lb_params_find(r->op->params, "amend")->fields;
    const lb_param *to = lb_params_find(fields, "set");

    op_store_datum(r, to->fields, (char *)record + to->offset, name, value);
}

static void set_number(op_run *r, void *record, const char *name, double number)
{
    lb_datum value = {.kind = LB_DATUM_NUMBERS, .count = 1, .numbers = {number}};

    set(r, record, name, &value);
}

static void set_text(op_run *r, void *record, const char *name, const char *word)
{
    lb_datum value = {.kind = LB_DATUM_TEXT, .text = word};

    set(r, record, name, &value);
}

static const lb_item *item_of(const lb_value *out, lb_item_kind kind, const char *name)
{
    int32_t at = lb_scene_find(out->scene, kind, name);

    cr_assert(at >= 0, "%s", name);
    return &out->scene->items[at];
}

static int amended(const lb_scene *scene)
{
    int count = 0;

    for (size_t i = 0; i < scene->fact_count; i++)
        count += scene->facts[i].kind == LB_FACT_AMENDED;
    return count;
}

Test(scene, reads_a_file)
{
    op_run r = open_scene();
    lb_value out = scene_make(&r, NULL, 0);

    cr_expect(out.kind == LB_KIND_SCENE && out.scene->item_count == 6);
    cr_expect(amended(out.scene) == 0 && !r.op->timed);
    lb_value_unref(&out);
    op_free(&r);
}

/* The faults that an exchange makes: a decay, a cone, clip planes; and a change of clothes. */
Test(scene, puts_right_what_is_wrong)
{
    op_run r = open_scene();
    lb_value clay = {.kind = LB_KIND_MATERIAL}, out;
    void *record = amend(&r, "light", "kick.*");
    int32_t slot = 0;
    const lb_param *to;

    set_text(&r, record, "decay", "linear");
    set_number(&r, record, "cone", 90);
    record = amend(&r, "camera", "shot_.*");
    set_number(&r, record, "near", 1);
    set_number(&r, record, "far", 2000);
    record = amend(&r, "mesh", "plaque|stamp_\\d");
    to = lb_params_find(lb_params_find(r.op->params, "amend")->fields, "set");
    memcpy((char *)record + to->offset + lb_params_find(to->fields, "material")->offset, &slot,
           sizeof slot);
    cr_assert(lb_material_new("clay", &clay.material) == LB_OK);
    out = scene_make(&r, &clay, 1);
    cr_expect(item_of(&out, LB_ITEM_LIGHT, "kicker")->light.decay == LB_DECAY_LINEAR);
    cr_expect(fabs(item_of(&out, LB_ITEM_LIGHT, "lamp")->light.outer_half_rad - LB_PI / 4) < 1e-6);
    cr_expect(item_of(&out, LB_ITEM_CAMERA, "shot_a")->camera.near == 1);
    cr_expect(item_of(&out, LB_ITEM_CAMERA, "shot_b")->camera.far == 2000);
    cr_expect(item_of(&out, LB_ITEM_MESH, "plaque")->material == clay.material);
    cr_expect(item_of(&out, LB_ITEM_MESH, "stamp_1")->material == clay.material);
    cr_expect(amended(out.scene) == 8, "%d facts", amended(out.scene));
    lb_value_unref(&out);
    lb_value_unref(&clay);
    op_free(&r);
}

Test(scene, selects_by_material)
{
    op_run r = open_scene();
    lb_value clay = {.kind = LB_KIND_MATERIAL}, out;
    const lb_param *to = lb_params_find(lb_params_find(r.op->params, "amend")->fields, "set");
    char *record = amend(&r, "material", "gr[ae]y");

    *(int32_t *)(void *)(record + to->offset + lb_params_find(to->fields, "material")->offset) = 0;
    cr_assert(lb_material_new("clay", &clay.material) == LB_OK);
    out = scene_make(&r, &clay, 1);
    cr_expect(item_of(&out, LB_ITEM_MESH, "stamp_1")->material == clay.material);
    lb_value_unref(&out);
    lb_value_unref(&clay);
    op_free(&r);
}

Test(scene, hides_and_places)
{
    op_run r = open_scene();
    lb_datum off = {.kind = LB_DATUM_BOOL},
             place = {.kind = LB_DATUM_NUMBERS, .count = 3, .numbers = {1, 2, 3}};
    void *record = amend(&r, "item", "plaque");
    lb_value out;

    set(&r, record, "visible", &off);
    set(&r, record, "position", &place);
    out = scene_make(&r, NULL, 0);
    cr_expect(!item_of(&out, LB_ITEM_MESH, "plaque")->visible);
    cr_expect(item_of(&out, LB_ITEM_MESH, "plaque")->trs.translation.y == 2);
    cr_expect(item_of(&out, LB_ITEM_MESH, "stamp_1")->visible);
    lb_value_unref(&out);
    op_free(&r);
}

/* Each is refused, and says why. */
Test(scene, amendments_that_cannot_be)
{
    static const struct {
        const char *by, *pattern, *number, *message;
    } cases[] = {
        {"light", "kiker", "intensity",
         "no light has a name that matches 'kiker'; there are 'kicker'"},
        {"light", "kick", "intensity",
         "no light has a name that matches 'kick'"}, /* the whole name */
        {"camera", "lamp", "near", "no camera has a name that matches 'lamp'"},
        {"material", "grey", "near", "materials have no 'near'"},
        {"light", "lamp", "near", "lights have no 'near'"},
        {"item", "lamp", "near", "'lamp' is a light and has no 'near'"},
        {"light", "sun", "cone", "'sun' is a directional light and has no 'cone'"},
        {"light", "(kicker", "cone", "'(kicker' is no regular expression"},
        {"light", "lamp", NULL, "'set' changes nothing"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        op_run r = open_scene();
        void *record = amend(&r, cases[i].by, cases[i].pattern);
        lb_value out;

        if (cases[i].number)
            set_number(&r, record, cases[i].number, 5);
        cr_expect(scene_run(&r, NULL, 0, &out) != LB_OK && !out.scene, "case %zu", i);
        cr_expect(strstr(scene_messages(&r), cases[i].message), "case %zu", i);
        op_free(&r);
    }
}

Test(scene, selects_by_one_thing)
{
    op_run r = open_scene();
    const lb_param *select =
        lb_params_find(lb_params_find(r.op->params, "amend")->fields, "select");
    lb_datum value = {.kind = LB_DATUM_TEXT, .text = "lamp"};
    char *record = amend(&r, "light", "lamp");
    lb_value out;

    set_number(&r, record, "cone", 5);
    op_store_datum(&r, select->fields, record + select->offset, "item", &value);
    cr_expect(scene_run(&r, NULL, 0, &out) == LB_INVALID);
    cr_expect(strstr(scene_messages(&r), "'select' takes one of"));
    op_free(&r);
}

/* A pattern that would run for ever ends by its limit, and is not taken as no match. */
Test(scene, patterns_have_limits)
{
    static const char hard[] = "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaac";
    op_run r = open_scene();
    char changed[sizeof text + sizeof hard];
    void *record = amend(&r, "light", "(a+)+");
    const char *at = strstr(text, "kicker");
    lb_value out;

    snprintf(changed, sizeof changed, "%.*s%s%s", (int)(at - text), text, hard, at + 6);
    cr_assert(lb_file_write(NULL, LB_NOWHERE, path, changed, strlen(changed)) == LB_OK);
    set_number(&r, record, "intensity", 5);
    cr_expect(scene_run(&r, NULL, 0, &out) == LB_LIMIT);
    cr_expect(strstr(scene_messages(&r), "takes too long to match"));
    op_free(&r);
}

/* SHA-256 by FIPS 180-4, as lb_sha256_text has it (tests/engine/base). */
Test(scene, pins)
{
    char hex[LB_SHA256_TEXT], pin[80];
    op_run r = open_scene();
    lb_value out;

    lb_sha256_text(text, sizeof text - 1, hex);
    snprintf(pin, sizeof pin, "sha256:%s", hex);
    op_text(&r, "pin", pin);
    out = scene_make(&r, NULL, 0);
    lb_value_unref(&out);
    for (char *c = hex; *c; c++)
        *c = *c >= 'a' ? (char)(*c - 32) : *c;
    op_text(&r, "pin", hex);
    out = scene_make(&r, NULL, 0);
    lb_value_unref(&out);
    op_free(&r);

    r = open_scene();
    pin[10] = pin[10] == '0' ? '1' : '0';
    op_text(&r, "pin", pin);
    cr_expect(scene_run(&r, NULL, 0, &out) == LB_INVALID);
    lb_sha256_text(text, sizeof text - 1, hex);
    cr_expect(strstr(scene_messages(&r), hex), "the new hash is told");
    op_text(&r, "pin", "sha256:12");
    cr_expect(scene_run(&r, NULL, 0, &out) == LB_INVALID);
    cr_expect(strstr(scene_messages(&r), "64 hexadecimal digits"));
    op_free(&r);
}

Test(scene, files_that_are_not_scenes)
{
    op_run r = op_new(scene_op("scene"), 1);
    lb_value out;

    op_text(&r, "file", "/nowhere/kiln.glb");
    cr_expect(scene_run(&r, NULL, 0, &out) == LB_NOT_FOUND);
    cr_expect(strstr(scene_messages(&r), "'/nowhere/kiln.glb' is not there"));
    op_free(&r);
    r = open_scene();
    cr_assert(lb_file_write(NULL, LB_NOWHERE, path, "no scene", 8) == LB_OK);
    cr_expect(scene_run(&r, NULL, 0, &out) == LB_UNSUPPORTED);
    cr_expect(strstr(scene_messages(&r), "is none of what is read: glTF 2.0 (.gltf, .glb)"));
    op_free(&r);
}

static lb_key key_of(op_run *r)
{
    lb_hasher *hasher = lb_hasher_new();
    lb_call call = op_call(r);
    lb_key key;

    cr_assert(hasher && r->op->fingerprint(&call, hasher) == LB_OK);
    key = lb_hasher_key(hasher);
    lb_hasher_free(&hasher);
    return key;
}

/* The key changes with the file and with its buffer, and comes back with them. */
Test(scene, key_covers_the_buffers)
{
    op_run r = open_scene();
    lb_key first = key_of(&r), other;
    float moved[9] = {9};

    cr_assert(lb_file_write(NULL, LB_NOWHERE, buffer_path, moved, sizeof moved) == LB_OK);
    other = key_of(&r);
    cr_expect(!lb_key_equal(first, other));
    cr_assert(lb_file_write(NULL, LB_NOWHERE, buffer_path, corners, sizeof corners) == LB_OK);
    cr_expect(lb_key_equal(first, key_of(&r)));
    unlink(buffer_path);
    cr_expect(!lb_key_equal(first, key_of(&r)) && !lb_key_equal(other, key_of(&r)));
    op_free(&r);
}
