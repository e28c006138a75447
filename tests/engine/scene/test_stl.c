/* tests/engine/scene/test_stl.c: STL files written here, a feature each. "StereoLithography
 * Interface Specification", 1989. */
#include "tests/engine/scene/imports.h"

static const lb_primitive *primitive(const import_run *r, size_t item)
{
    cr_assert(r->status == LB_OK, "%s", r->messages);
    cr_assert(item < r->scene->item_count && r->scene->items[item].mesh);
    return &r->scene->items[item].mesh->primitives[0];
}

static void put_float(uint8_t *at, float value)
{
    uint32_t bits;

    memcpy(&bits, &value, 4);
    for (int i = 0; i < 4; i++)
        at[i] = (uint8_t)(bits >> 8 * i);
}

/* Two triangles: one with its normal, one without. */
static size_t make_binary(const char *head, uint8_t out[256])
{
    static const float v[2][12] = {{0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0},
                                   {0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 1}};

    memset(out, 0, 256);
    memcpy(out, head, strlen(head));
    out[80] = 2;
    for (int t = 0; t < 2; t++)
        for (int i = 0; i < 12; i++)
            put_float(out + 84 + 50 * t + 4 * i, v[t][i]);
    return 184;
}

#define FACET(n)                                                                                   \
    "facet normal " n                                                                              \
    "\n outer loop\n vertex 0 0 0\n vertex 1 0 0\n vertex 0 1 0\n endloop\nendfacet\n"

Test(stl, binary_whatever_it_begins_with)
{
    static const char *const heads[] = {"", "a lid", "solid lid", "solid\nfacet normal", "SOLID\n"};

    for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++) {
        uint8_t bytes[256];
        size_t count = make_binary(heads[i], bytes);
        import_run r = import_of("kiln.stl", bytes, count);
        const lb_primitive *p = primitive(&r, 0);

        cr_expect(p->triangle_count == 2 && p->vertex_count == 6, "%s", heads[i]);
        cr_expect(p->normals[0].z == 1 && p->normals[5].x == 1 && p->positions[1].x == 1);
        cr_expect(strcmp(r.scene->items[0].name, "kiln") == 0);
        cr_expect(
            import_has_fact(r.scene, LB_FACT_ASSUMED, "kiln.stl", "get it from their corners: 1."));
        import_end(&r);
        bytes[133] = 7;
        r = import_of("odd.name", bytes, count); /* known by its size alone */
        cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "odd.name", "Attributes of triangles"));
        import_end(&r);
    }
}

Test(stl, text_of_several_solids)
{
    static const char text[] = "solid lid of it\r\n" FACET("0 0 1")
        FACET("nan 0 0") "endsolid lid of it\r\n"
                         "\n Solid\n" FACET("0 0 -1") "ENDSOLID\nsolid empty\nendsolid empty";
    import_run r = import_of("kiln.stl", text, sizeof text - 1);

    cr_expect(primitive(&r, 0)->triangle_count == 2 && primitive(&r, 0)->normals[3].z == 1);
    cr_expect(strcmp(r.scene->items[0].name, "lid of it") == 0);
    cr_expect(primitive(&r, 1)->triangle_count == 1 && primitive(&r, 1)->normals[0].z == -1);
    cr_expect(strcmp(r.scene->items[1].name, "kiln") == 0 && primitive(&r, 2)->triangle_count == 0);
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "",
                              "against their corners' order keep both: 1."));
    cr_expect(import_has_fact(r.scene, LB_FACT_ASSUMED, "", "STL has no unit"));
    import_end(&r);
}

Test(stl, what_contradicts_the_format)
{
    static const struct {
        const char *text, *message;
    } rows[] = {
        {"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0\n", "line 5: '' is no number"},
        {"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 x\n", "line 4: 'x' is no number"},
        {"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 inf\n",
         "line 4: a corner that is nowhere"},
        {"solid a\nfacet normal 0 0 1\nloop\n", "line 3: 'loop' where 'outer' should be"},
        {"solid a\nfacet normal 0 0 1\n", "line 3: the file ends where 'outer' should be"},
        {"solid a\nvertex 0 0 0\n", "line 2: 'vertex' where a facet or the end"},
        {"solid a\n" FACET("0 0 1"), "line 9: the file ends within a solid"},
        {"solid a\nendsolid\nhello\n", "line 3: 'hello' where a solid should be"},
        {"hello", "the file ends within its header"},
        {"", "the file ends within its header"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        import_run r = import_of("kiln.stl", rows[i].text, strlen(rows[i].text));

        cr_expect(r.status == LB_FORMAT && !r.scene, "%s", rows[i].text);
        cr_expect(strstr(r.messages, rows[i].message), "%s: %s", rows[i].text, r.messages);
        import_end(&r);
    }
}

Test(stl, binary_of_another_size)
{
    uint8_t bytes[256];
    size_t count = make_binary("a lid", bytes);
    import_run r = import_of("kiln.stl", bytes, count - 1);

    cr_expect(r.status == LB_FORMAT &&
              strstr(r.messages, "183 bytes are there; 2 triangles take 184"));
    import_end(&r);
    bytes[83] = 0xFF;
    r = import_of("kiln.stl", bytes, count);
    cr_expect(r.status == LB_FORMAT && strstr(r.messages, "4278190082 triangles"));
    import_end(&r);
    bytes[83] = 0;
    r = import_of("kiln.stl", bytes, count + 3);
    cr_expect(primitive(&r, 0)->triangle_count == 2);
    cr_expect(import_has_fact(r.scene, LB_FACT_DROPPED, "", "Bytes behind the last triangle: 3."));
    import_end(&r);
    put_float(bytes + 84 + 12, NAN);
    r = import_of("kiln.stl", bytes, count);
    cr_expect(r.status == LB_FORMAT &&
              strstr(r.messages, "triangle 1 has a corner that is nowhere"));
    import_end(&r);
}

Test(stl, damaged_texts_and_no_memory)
{
    static const char text[] = "solid a\n" FACET("0 0 1") "endsolid a\n";
    static const char put[] = {0, '\n', ' ', '9', 'e', (char)0xFF};
    lb_import_options options = {.working = LB_SPACE_LINEAR_REC709};

    for (size_t i = 0; i < sizeof text - 1; i++)
        for (size_t k = 0; k <= sizeof put; k++) {
            size_t count = k < sizeof put ? sizeof text - 1 : i;
            lb_diag *diag = lb_diag_new();
            char *exact = malloc(count + 1);
            lb_scene *scene;
            lb_status status;

            memcpy(exact, text, count);
            if (k < sizeof put)
                exact[i] = put[k];
            exact = realloc(exact, count ? count : 1);
            status =
                lb_import_read(NULL, diag, LB_NOWHERE, "x.stl", exact, count, &options, &scene);
            cr_expect((status == LB_OK) == (scene != NULL));
            cr_expect(status == LB_OK || lb_diag_count(diag, LB_ERROR) > 0);
            if (scene)
                import_expect_sound("damaged", scene);
            lb_scene_unref(&scene);
            lb_diag_free(&diag);
            free(exact);
        }
    for (int64_t n = 1; n < 1000; n++) {
        lb_diag *diag = lb_diag_new();
        lb_scene *scene;
        lb_status status;
        bool is_over;

        lb_memory_fail_at(n);
        status = lb_import_read(NULL, diag, LB_NOWHERE, "x.stl", text, sizeof text - 1, &options,
                                &scene);
        is_over = lb_memory_fail_left() > 0;
        lb_memory_fail_at(0);
        cr_expect(is_over ? status == LB_OK && n > 10 : status == LB_MEMORY && !scene, "%lld",
                  (long long)n);
        lb_scene_unref(&scene);
        lb_diag_free(&diag);
        if (is_over)
            return;
    }
    cr_assert_fail("never enough memory");
}
