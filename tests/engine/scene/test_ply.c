/* tests/engine/scene/test_ply.c: PLY files written here, a feature each. "The PLY Polygon File
 * Format", Greg Turk, 1994. */
#include "tests/engine/scene/imports.h"

static import_run ply(const char *text)
{
    return import_of("kiln.ply", text, strlen(text));
}

static const lb_primitive *primitive(const import_run *r)
{
    cr_assert(r->status == LB_OK, "%s", r->messages);
    cr_assert(r->scene->item_count == 1 && r->scene->items[0].mesh);
    return &r->scene->items[0].mesh->primitives[0];
}

#define HEAD "ply\nformat ascii 1.0\n"
#define XYZ "property float x\nproperty float y\nproperty float z\n"
#define FACES "property list uchar int vertex_indices\nend_header\n"
#define SQUARE HEAD "element vertex 4\n" XYZ "element face 1\n" FACES "0 0 0\n1 0 0\n1 1 0\n0 1 0\n"

static size_t put(uint8_t *at, bool is_big, uint64_t bits, int size)
{
    for (int b = 0; b < size; b++)
        at[b] = (uint8_t)(bits >> 8 * (is_big ? size - 1 - b : b));
    return (size_t)size;
}

/* The same square, with a byte and a double in each vertex that nobody knows, in one byte order. */
static size_t make_binary(bool is_big, const char *line_end, uint8_t *out)
{
    static const float places[4][3] = {{0, 0, 0}, {1, 0, 0}, {1, 1, 0}, {0, 1, -0.5f}};
    static const char *const lines[] = {"ply",
                                        NULL,
                                        "comment a test",
                                        "obj_info nothing",
                                        "element vertex 4",
                                        "property uchar what",
                                        "property float32 x",
                                        "property float y",
                                        "property float z",
                                        "property float64 ever",
                                        "element other 2",
                                        "property list int8 short things",
                                        "property int8 one",
                                        "element face 1",
                                        "property list uint16 uint vertex_index",
                                        "end_header"};
    /* Values and their sizes: two of `other`, the first with a list of two, then the face. */
    static const uint32_t rest[][2] = {{2, 1}, {7, 2}, {8, 2}, {1, 1}, {0, 1}, {1, 1},
                                       {4, 2}, {0, 4}, {1, 4}, {2, 4}, {3, 4}};
    char *text = (char *)out;
    size_t n = 0;

    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++)
        n += (size_t)sprintf(text + n, "%s%s",
                             lines[i] ? lines[i]
                             : is_big ? "format binary_big_endian 1.0"
                                      : "format binary_little_endian 1.0",
                             line_end);
    for (int v = 0; v < 4; v++) {
        n +=
            put(out + n, is_big, 10, 1); /* looks like the end of a line, right behind the header */
        for (int i = 0; i < 3; i++) {
            uint32_t word;

            memcpy(&word, &places[v][i], 4);
            n += put(out + n, is_big, word, 4);
        }
        n += put(out + n, is_big, 0x3FF0000000000000u, 8);
    }
    for (size_t i = 0; i < sizeof rest / sizeof rest[0]; i++)
        n += put(out + n, is_big, rest[i][0], (int)rest[i][1]);
    return n;
}

Test(ply, binary_in_both_orders_and_all_line_ends)
{
    static const char *const ends[] = {"\n", "\r\n", "\r"};

    for (int i = 0; i < 6; i++) {
        uint8_t bytes[1024];
        size_t count = make_binary(i % 2, ends[i / 2], bytes);
        import_run r = import_of("kiln.ply", bytes, count);
        const lb_primitive *p;

        p = primitive(&r);
        cr_expect(p->triangle_count == 2 && p->vertex_count == 4, "%d", i);
        cr_expect(p->positions[2].x == 1 && p->positions[3].z == -0.5f);
        cr_expect(strcmp(r.scene->items[0].name, "kiln") == 0);
        cr_expect(
            import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.ply:5", "property 'what' of 'vertex'"));
        cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "kiln.ply:11",
                                  "Elements 'other' are not used: 2."));
        import_end(&r);
        for (size_t cut = 0; cut < count; cut++) { /* every shorter file gets a message */
            lb_import_options options = {.working = LB_SPACE_ACESCG};
            lb_diag *diag = lb_diag_new();
            uint8_t *exact = malloc(cut + 1);
            lb_scene *scene;

            memcpy(exact, bytes, cut);
            exact = realloc(exact, cut ? cut : 1);
            cr_expect(lb_import_read(NULL, diag, LB_NOWHERE, "x.ply", exact, cut, &options,
                                     &scene) != LB_OK);
            cr_expect(!scene && lb_diag_count(diag, LB_ERROR) > 0);
            lb_diag_free(&diag);
            free(exact);
        }
    }
}

Test(ply, properties_of_vertices)
{
    import_run r = ply(
        HEAD "element vertex 3\n" XYZ "property float nx\nproperty float ny\nproperty float nz\n"
             "property uchar red\nproperty uchar green\nproperty uchar blue\nproperty uchar alpha\n"
             "property float s\nproperty float t\nelement face 1\n" FACES
             "0 0 0 0 0 2 255 0 188 255 0 0\n1 0 0 0 0 0 0 0 0 51 0.25 0.75\n1 1 0 nan 0 1 0 0 0 0 "
             "1 1\n3 0 1 2\n");
    const lb_primitive *p = primitive(&r);

    cr_expect(p->normals[0].z == 1 && p->normals[1].z == 1);
    cr_expect(p->colors[0].x == 1 && p->colors[0].y == 0);
    cr_expect(fabsf(p->colors[0].z - 0.50288646f) < 1e-6f); /* IEC 61966-2-1 of 188 / 255 */
    cr_expect(fabsf(p->colors[1].w - 0.2f) < 1e-6f && p->material->alpha_mode == LB_ALPHA_BLEND);
    cr_expect(p->uvs[0][1].x == 0.25f && p->uvs[0][1].y == 0.25f);
    cr_expect(p->material->diffuse.x == 1);
    cr_expect(
        import_has_fact(r.scene, LB_FACT_ASSUMED, "", "direction become those of their faces: 2"));
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "", "sRGB, as they are whole numbers"));
    import_end(&r);
    r = ply(HEAD "element vertex 3\n" XYZ
                 "property float red\nproperty float green\nproperty float blue\n"
                 "element face 1\n" FACES "0 0 0 0.5 2 0\n1 0 0 0 0 0\n1 1 0 0 0 0\n3 0 1 2\n");
    cr_expect(primitive(&r)->colors[0].x == 0.5f && primitive(&r)->colors[0].y == 2);
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "", "linear, as they are floats"));
    import_end(&r);
}

Test(ply, faces_strips_and_their_coordinates)
{
    import_run r = ply(SQUARE "4 0 1 2 3\n");
    static const uint32_t grey = 0x808080FF;

    cr_expect(primitive(&r)->triangle_count == 2 && primitive(&r)->normals[0].z == 1);
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "", "faces are flat"));
    import_end(&r);
    /* 0 1 2 3, then 3 3 joins, then -1 and another. Areas say that all turn the same way. */
    r = ply(HEAD "element vertex 4\n" XYZ "element tristrips 1\n" FACES
                 "0 0 0\n1 0 0\n0 1 0\n1 1 0\n9 0 1 2 3 3 -1 0 1 2\n");
    cr_expect(primitive(&r)->triangle_count == 3);
    for (int32_t i = 0; i < primitive(&r)->vertex_count; i++)
        cr_expect(primitive(&r)->normals[i].z == 1);
    cr_expect(import_has_fact(r.scene, LB_FACT_CONVERTED, "",
                              "Strips are taken apart into triangles: 2."));
    cr_expect(
        import_has_fact(r.scene, LB_FACT_CONVERTED, "", "which join strips, are left out: 1."));
    import_end(&r);
    r = import_begin();
    import_picture(&r, "map.png", 1, 1, &grey);
    import_text(&r, "kiln.ply",
                "ply\nformat ascii 1.0\ncomment TextureFile map.png\nelement vertex 3\n" XYZ
                "element face 2\nproperty list uchar float texcoord\nproperty uchar flags\n" FACES
                "0 0 0\n1 0 0\n1 1 0\n6 0 0 1 0 1 0.75 5 3 0 1 2\n2 0 0 5 3 0 1 2\n");
    import_read(&r, "kiln.ply");
    cr_expect(primitive(&r)->uvs[0][2].x == 1 && primitive(&r)->uvs[0][2].y == 0.25f);
    cr_expect(primitive(&r)->material->maps[LB_SLOT_DIFFUSE] != NULL);
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "", "property 'flags' of 'face'"));
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "",
                              "has not two numbers a corner go without: 1"));
    import_end(&r);
    r = ply(HEAD "element vertex 2\n" XYZ "end_header\n0 0 0\n1 1 1\n");
    cr_expect(r.status == LB_OK && r.scene->item_count == 0);
    cr_expect(
        import_has_fact(r.scene, LB_FACT_DROPPED, "", "no faces, so nothing is seen; points: 2."));
    import_end(&r);
}

Test(ply, what_contradicts_the_format)
{
    static const struct {
        const char *text, *message;
        lb_status status;
    } rows[] = {
        {"ply\nend_header\n", "line 2: the header has no format", LB_FORMAT},
        {"ply\nformat ascii 2.0\n", "line 2: version 1.0", LB_UNSUPPORTED},
        {"ply\nformat text 1.0\n", "line 2: the header has a format", LB_FORMAT},
        {HEAD "hello\n", "line 3: 'hello' is no line of a header", LB_FORMAT},
        {HEAD "property int x\n", "a property before the first element", LB_FORMAT},
        {HEAD "element vertex -1\n", "without a name and a number", LB_FORMAT},
        {HEAD "element vertex 1\nproperty half x\n", "a property without a type", LB_FORMAT},
        {HEAD "element vertex 1\nproperty list float int x\n", "not counted in whole numbers",
         LB_FORMAT},
        {HEAD "element vertex 1\nelement vertex 1\n", "two elements of the same name", LB_FORMAT},
        {HEAD "element vertex 1\nproperty float x\nend_header\n1\n", "without x, y and z",
         LB_FORMAT},
        {HEAD "element face 1\n" FACES "3 0 1 2\n", "faces without vertices", LB_FORMAT},
        {SQUARE "4 0 1 2 4\n", "line 14: 'face' 1 of 1: it names a vertex that is not there",
         LB_FORMAT},
        {SQUARE "4 0 1 2 -1\n", "not there", LB_FORMAT},
        {SQUARE "4 0 1 2 1.5\n", "not there", LB_FORMAT},
        {SQUARE "4 0 1 2\n", "'face' 1 of 1: the file ends in it", LB_FORMAT},
        {SQUARE "999999999 0 1 2\n", "a list of a length that cannot be", LB_FORMAT},
        {SQUARE "-1 0 1 2\n", "a list of a length that cannot be", LB_FORMAT},
        {HEAD "element vertex 9000000000000000000\n" XYZ "end_header\n0 0 0\n", "'vertex' 2 of",
         LB_FORMAT},
        {HEAD "element vertex 1\n" XYZ "end_header\n0 inf 0\n",
         "line 8: 'vertex' 1 of 1: it is nowhere", LB_FORMAT},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        import_run r = ply(rows[i].text);

        cr_expect(r.status == rows[i].status && !r.scene, "%s", rows[i].text);
        cr_expect(strstr(r.messages, rows[i].message), "%s: %s", rows[i].text, r.messages);
        import_end(&r);
    }
}

/* Any byte changed to others: a scene that is sound or a message. Every allocation fails once. */
Test(ply, damaged_files_and_no_memory)
{
    lb_import_options options = {.working = LB_SPACE_LINEAR_REC709};
    uint8_t bytes[1024], copy[1024];
    size_t count = make_binary(false, "\n", bytes);

    for (size_t i = 0; i < count * 4; i++) {
        lb_diag *diag = lb_diag_new();
        lb_scene *scene;
        lb_status status;

        memcpy(copy, bytes, count);
        copy[i / 4] = i % 4 == 0 ? 0 : i % 4 == 1 ? 255 : i % 4 == 2 ? '9' : copy[i / 4] ^ 1;
        status =
            lb_import_read(NULL, diag, LB_NOWHERE, "nowhere/x.ply", copy, count, &options, &scene);
        cr_expect((status == LB_OK) == (scene != NULL));
        cr_expect(status == LB_OK || lb_diag_count(diag, LB_ERROR) > 0);
        if (scene)
            import_expect_sound("damaged", scene);
        lb_scene_unref(&scene);
        lb_diag_free(&diag);
    }
    for (int64_t n = 1; n < 1000; n++) {
        lb_diag *diag = lb_diag_new();
        lb_scene *scene;
        lb_status status;
        bool is_over;

        lb_memory_fail_at(n);
        status = lb_import_read(NULL, diag, LB_NOWHERE, "x.ply", bytes, count, &options, &scene);
        is_over = lb_memory_fail_left() > 0;
        lb_memory_fail_at(0);
        cr_expect(is_over ? status == LB_OK && n > 20 : status == LB_MEMORY && !scene, "%lld",
                  (long long)n);
        lb_scene_unref(&scene);
        lb_diag_free(&diag);
        if (is_over)
            return;
    }
    cr_assert_fail("never enough memory");
}
