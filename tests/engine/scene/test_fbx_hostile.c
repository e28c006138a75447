/* tests/engine/scene/test_fbx_hostile.c: FBX files that are damaged, or say what cannot be. Each is
 * read or refused with a message; the sanitizers look at the rest. */
#include <criterion/criterion.h>

#include "tests/engine/scene/fbx_files.h"

static const char *const names[] = {"shapes", "rig", "inherit", "lamps", "turn", "glaze"};
#define NAMES (sizeof names / sizeof names[0])

static bool is_refusal(lb_status status)
{
    return status == LB_FORMAT || status == LB_LIMIT || status == LB_UNSUPPORTED;
}

/* Reads it from a block of its own size, so that no byte beyond is there. */
static lb_status try(const char *path, const void *bytes, size_t count, const char *what, size_t at)
{
    void *copy = lb_alloc(count + 1, 1);
    lb_diag *diag = lb_diag_new();
    lb_scene *scene;
    lb_vec3d low, high;
    lb_status status;

    memcpy(copy, bytes, count);
    copy = lb_realloc(copy, count ? count : 1, 1);
    status = fbx_read_bytes(diag, path, copy, count, &scene);
    cr_expect((status == LB_OK) == (scene != NULL), "%s %s %zu", path, what, at);
    if (status) {
        cr_expect(is_refusal(status), "%s %s %zu: %d", path, what, at, status);
        cr_expect(lb_diag_count(diag, LB_ERROR) > 0, "%s %s %zu", path, what, at);
    } else {
        (void)lb_scene_bounds(scene, 0.7, &low, &high);
    }
    lb_scene_unref(&scene);
    lb_diag_free(&diag);
    lb_free(copy);
    return status;
}

Test(fbx_hostile, truncated)
{
    for (size_t i = 0; i < NAMES; i++)
        for (int e = 0; e < FBX_ENCODINGS; e++) {
            char path[512];
            size_t count;
            void *bytes = fbx_load(names[i], e, &count, path);

            for (size_t cut = 0; cut < count; cut += count / 40)
                try(path, bytes, cut, "cut at", cut);
            lb_free(bytes);
        }
}

static uint32_t next_random(uint32_t *state)
{
    *state = *state * 1664525 + 1013904223; /* Numerical Recipes, 7.1 */
    return *state >> 8;
}

/* Some bytes changed: to anything, to the largest, to a digit or sign. */
Test(fbx_hostile, mutated)
{
    uint32_t state = 1;

    for (size_t i = 0; i < NAMES; i++)
        for (int e = 0; e < FBX_ENCODINGS; e++) {
            char path[512];
            size_t count;
            uint8_t *bytes = fbx_load(names[i], e, &count, path);
            uint8_t *changed = lb_alloc(count, 1);

            for (size_t n = 0; n < 60; n++) {
                memcpy(changed, bytes, count);
                for (uint32_t k = 0; k <= n % 6; k++) {
                    size_t at = next_random(&state) % count;
                    uint32_t kind = next_random(&state) % 3;

                    changed[at] = kind == 0 ? (uint8_t)next_random(&state)
                                  : kind == 1
                                      ? 0xff
                                      : (uint8_t) "0123456789-{}:,\""[next_random(&state) % 16];
                }
                try(path, changed, count, "mutation", n);
            }
            lb_free(changed);
            lb_free(bytes);
        }
}

#define HEAD "FBXHeaderExtension: {\n FBXVersion: 7400\n}\n"
#define MODEL(id) "Model: " id ", \"Model::m" id "\", \"Mesh\" { Properties70: {} }\n"
#define SHAPE(vertices, corners)                                                                   \
    HEAD "Objects: {" MODEL("1") "Geometry: 2, \"Geometry::g\", \"Mesh\" { Vertices: " vertices    \
                                 "\nPolygonVertexIndex: " corners "\n} }\n"                        \
                                 "Connections: { C: \"OO\",1,0\n C: \"OO\",2,1\n }\n"

/* What is said of files that mean nothing. */
Test(fbx_hostile, messages)
{
    static const struct {
        const char *text, *message;
    } rows[] = {
        {HEAD "Objects: {" MODEL("1") MODEL("2") "}\nConnections: { C: \"OO\",1,0\n C: \"OO\",2,1\n"
                                                 " C: \"OO\",1,2\n }",
         "reached twice"},
        {HEAD "Objects: {" MODEL("1") MODEL("1") "}", "two objects have the id 1"},
        {HEAD "Objects: { Model: \"x\" {} }", "no id"},
        {HEAD "Objects: {" MODEL("1") "}\nConnections: { C: \"OO\",1\n }", "no ends"},
        {HEAD "Objects: {" MODEL("1") "}\nConnections: { C: \"OP\",1,0\n }", "no property"},
        {SHAPE("*9 { a: 0,0,0,1,0,0,0,1,0 }", "*3 { a: 0,1,-4 }"), "vertex 3; there are 3"},
        {SHAPE("*9 { a: 0,0,0,1,0,0,0,1,0 }", "*3 { a: 0,9000000000000000000,-1 }"), "vertex 9000"},
        {SHAPE("*9 { a: 0,0,nan,1,0,0,0,1,0 }", "*3 { a: 0,1,-3 }"), "Vertices is damaged"},
        {SHAPE("*9 { a: 0,0,1e300,1,0,0,0,1,0 }", "*3 { a: 0,1,-3 }"), "is no place"},
        {SHAPE("*9 { a: 0,0,x,1,0,0,0,1,0 }", "*3 { a: 0,1,-3 }"), "Vertices is damaged"},
        {"FBXHeaderExtension: {\n FBXVersion: 6100\n}\n", "older than version 7.0"},
        {"FBXHeaderExtension: {\n FBXVersion: 7400\n", "line 3: the file ends within a node"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_diag *diag = lb_diag_new();
        lb_scene *scene;
        lb_status status =
            fbx_read_bytes(diag, "x.fbx", rows[i].text, strlen(rows[i].text), &scene);

        cr_expect(is_refusal(status) && !scene, "%s", rows[i].message);
        cr_expect(strstr(files_messages(diag), rows[i].message), "%s: %s", rows[i].message,
                  files_messages(diag));
        lb_diag_free(&diag);
    }
}

/* What is only odd is read, and told of. */
Test(fbx_hostile, odd)
{
    static const struct {
        const char *text, *fact;
    } rows[] = {
        {HEAD "Objects: {" MODEL("1")
             MODEL("2") "}\nConnections: { C: \"OO\",1,2\n C: \"OO\",2,1\n }",
         "2 of 2 models are not connected"},
        {HEAD "Connections: { C: \"OO\",7,8\n }", "an end that is not in the file"},
        {SHAPE("*9 { a: 0,0,0,1,0,0,0,1,0 }", "*4 { a: 0,1,-3,0 }"), "does not end"},
        {SHAPE("*9 { a: 0,0,0,1,0,0,0,1,0 }", "*5 { a: 0,1,-3,0,-2 }"), "fewer than three"},
        {SHAPE("*0 { a: }", "*0 { a: }"), "no polygons"},
        {HEAD "Objects: { Pose: 5, \"Pose::p\", \"BindPose\" {} }", "1 objects of kind 'BindPose'"},
        {HEAD "GlobalSettings: { Properties70: { P: \"UpAxis\", \"int\", \"\", \"\", 5\n } }",
         "not three axes"},
        {HEAD
         "GlobalSettings: { Properties70: { P: \"UnitScaleFactor\", \"double\", \"\", \"\", -1\n"
         "} }",
         "no size of a unit"},
        {HEAD "GlobalSettings: { Properties70: { P: \"TimeMode\", \"enum\", \"\", \"\", 99\n } }",
         "no frame rate"},
        {HEAD
         "GlobalSettings: { Properties70: { P: \"UnitScaleFactor\", \"double\", \"\", \"\", 1e99\n"
         "} }",
         "no finite number"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_diag *diag = lb_diag_new();
        lb_scene *scene;

        cr_assert_eq(fbx_read_bytes(diag, "x.fbx", rows[i].text, strlen(rows[i].text), &scene),
                     LB_OK, "%s: %s", rows[i].fact, files_messages(diag));
        cr_expect(files_has_fact(scene, LB_FACT_DROPPED, "", rows[i].fact) ||
                      files_has_fact(scene, LB_FACT_ASSUMED, "", rows[i].fact),
                  "%s", rows[i].fact);
        lb_scene_unref(&scene);
        lb_diag_free(&diag);
    }
}

/* The first, second, ... allocation fails. That an array could not be made smaller is no loss. */
Test(fbx_hostile, no_memory)
{
    static const char *const some[] = {"shapes", "turn", "glaze"};

    for (size_t i = 0; i < 3; i++) {
        char path[512];
        size_t count;
        void *bytes = fbx_load(some[i], 1, &count, path);
        bool failed = true;
        int refused = 0;

        for (int64_t n = 1; failed; n += 1 + n / 60) {
            lb_diag *diag = lb_diag_new();
            lb_scene *scene;
            lb_status status;

            lb_memory_fail_at(n);
            status = fbx_read_bytes(diag, path, bytes, count, &scene);
            failed = lb_memory_fail_left() == 0;
            lb_memory_fail_at(0);
            cr_expect(status == (failed ? LB_MEMORY : LB_OK) || (status == LB_OK && scene),
                      "%s, allocation %lld: %d", some[i], (long long)n, status);
            refused += status == LB_MEMORY;
            lb_scene_unref(&scene);
            lb_diag_free(&diag);
        }
        cr_expect_gt(refused, 30);
        lb_free(bytes);
    }
}
