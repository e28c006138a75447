/* tests/engine/graph/test_graph.c: kinds, cycles, parameters. */
#include <criterion/criterion.h>
#include <math.h>

#include "tests/support/fake_ops.h"

static const lb_input light_input[] = {{.name = "scene", .kind = LB_KIND_SCENE}, {0}};
static const lb_op takes_scene = {.name = "takes-scene",
                                  .summary = "",
                                  .inputs = light_input,
                                  .result = LB_KIND_IMAGE,
                                  .evaluate = sum_evaluate};

Test(graph, a_good_graph)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = fake_graph(8, 8, 3);
    int32_t ramp = fake_node(graph, "a", &fake_ramp, NULL, 0);
    int32_t sum = fake_node(graph, "b", &fake_sum, &ramp, 1);

    fake_node(graph, "c", &fake_sum, &sum, 1);
    cr_expect_eq(lb_graph_check(graph, diag), LB_OK);
    cr_expect_eq(lb_diag_count(diag, LB_ERROR), 0);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

Test(graph, every_fault_is_told)
{
    lb_diag *diag = lb_diag_new();
    lb_graph *graph = fake_graph(8, 8, 6);
    int32_t none = -1, two = 2, one = 1;
    int32_t ramp = fake_node(graph, "a", &fake_ramp, NULL, 0);
    char *text = NULL;
    size_t size = 0;
    FILE *memory;

    fake_node(graph, "b", &fake_sum, &two, 1); /* b and c read each other */
    fake_node(graph, "c", &fake_sum, &one, 1);
    fake_node(graph, "d", &fake_sum, &none, 1);    /* nothing to read */
    fake_node(graph, "e", &takes_scene, &ramp, 1); /* an image where a scene should be */
    cr_expect_eq(lb_graph_check(graph, diag), LB_INVALID);
    cr_expect_eq(lb_diag_count(diag, LB_ERROR), 3);
    memory = open_memstream(&text, &size);
    lb_diag_print(diag, memory, false);
    fclose(memory);
    cr_expect_not_null(strstr(text, "b -> c -> b"), "%s", text);
    cr_expect_not_null(strstr(text, "'d' needs its input 'image' (an image)"), "%s", text);
    cr_expect_not_null(strstr(text, "'scene' takes a scene; 'a' (ramp) makes an image"), "%s",
                       text);
    free(text);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
}

typedef struct all_params {
    bool flag;
    int32_t whole;
    double number;
    double pair[2];
    double color[4];
    double turn[4];
    const char *text;
    int choice;
    lb_records list;
} all_params;
typedef struct one_record {
    double reach;
} one_record;
static const char *const choices[] = {"nearest", "bilinear", NULL};
static const lb_param record_table[] = {
    LB_PARAM(one_record, reach, LB_NUMBER, .initial = {1}, .unit = LB_PIXELS), {0}};
static const lb_param all_table[] = {
    LB_PARAM(all_params, flag, LB_BOOL),
    LB_PARAM(all_params, whole, LB_INT, .initial = {3}, .min = 1, .max = 9),
    LB_PARAM(all_params, number, LB_NUMBER, .initial = {LB_UNSET}, .min = 0, .max = 65504),
    LB_PARAM(all_params, pair, LB_VEC2, .initial = {4, 5}, .spread = true, .unit = LB_PIXELS),
    LB_PARAM(all_params, color, LB_COLOR, .initial = {1, 1, 1, 1}),
    LB_PARAM(all_params, turn, LB_ROTATION),
    LB_PARAM(all_params, text, LB_TEXT, .initial_text = "KILN"),
    LB_PARAM(all_params, choice, LB_CHOICE, .names = choices, .initial = {1}),
    LB_PARAM(all_params, list, LB_RECORDS, .fields = record_table,
             .fields_size = sizeof(one_record)),
    {0}};

static lb_datum numbers(int32_t count, double a, double b, double c, double d)
{
    return (lb_datum){.kind = LB_DATUM_NUMBERS, .count = count, .numbers = {a, b, c, d}};
}
static lb_datum words(const char *text)
{
    return (lb_datum){.kind = LB_DATUM_TEXT, .text = text};
}

Test(params, initial_and_stored)
{
    lb_arena *arena = lb_arena_new();
    lb_store store = {.arena = arena, .working = LB_SPACE_LINEAR_REC709};
    all_params p = {0};
    lb_datum value;

    cr_assert_eq(lb_params_init(&store, all_table, &p), LB_OK);
    cr_expect(!p.flag && p.whole == 3 && isnan(p.number) && p.pair[1] == 5 && p.turn[3] == 1);
    cr_expect_str_eq(p.text, "KILN");
    cr_expect_eq(p.choice, 1);
    value = numbers(1, 7, 0, 0, 0);
    cr_expect_eq(lb_param_store(&store, lb_params_find(all_table, "pair"), LB_NOWHERE, &value, &p),
                 LB_OK);
    cr_expect(p.pair[0] == 7 && p.pair[1] == 7, "one number sets both");
    /* CSS hex: code 0xbc is 188/255; IEC 61966-2-1 decodes it to ((0.737254902 + 0.055)
     * / 1.055)^2.4 = 0.502886458, computed with a calculator from the formula. */
    value = words("#bc00ff80");
    cr_expect_eq(lb_param_store(&store, lb_params_find(all_table, "color"), LB_NOWHERE, &value, &p),
                 LB_OK);
    cr_expect_float_eq(p.color[0], 0.502886458, 1e-8);
    cr_expect(p.color[1] == 0);
    cr_expect_float_eq(p.color[2], 1, 1e-12);
    cr_expect_float_eq(p.color[3], 128 / 255.0, 1e-12);
    /* 90 degrees about y: (0, sin 45, 0, cos 45). */
    value = numbers(3, 0, 90, 0, 0);
    cr_expect_eq(lb_param_store(&store, lb_params_find(all_table, "turn"), LB_NOWHERE, &value, &p),
                 LB_OK);
    cr_expect_float_eq(p.turn[1], 0.70710678118654752, 1e-12);
    cr_expect_float_eq(p.turn[3], 0.70710678118654752, 1e-12);
    lb_arena_free(&arena);
}

Test(params, refused)
{
    static const struct {
        const char *param;
        lb_datum value;
        const char *message;
    } cases[] = {
        {"number",
         {LB_DATUM_NUMBERS, 1, {-0.5}, NULL},
         "'number' is -0.5; it goes from 0 to 65504"},
        {"number", {LB_DATUM_NUMBERS, 1, {NAN}, NULL}, "it goes from 0 to 65504"},
        {"number", {LB_DATUM_TEXT, 0, {0}, "hot"}, "'number' is 'hot'; it takes a number"},
        {"whole", {LB_DATUM_NUMBERS, 1, {2.5}, NULL}, "'whole' is 2.5; it takes a whole number"},
        {"pair", {LB_DATUM_NUMBERS, 3, {1, 2, 3}, NULL}, "it takes a number or [x, y]"},
        {"color", {LB_DATUM_TEXT, 0, {0}, "#12"}, "it takes a colour"},
        {"choice", {LB_DATUM_TEXT, 0, {0}, "bilinaer"}, "did you mean 'bilinear'?"},
        {"flag", {LB_DATUM_NUMBERS, 1, {1}, NULL}, "'flag' is 1; it takes true or false"},
        {"turn", {LB_DATUM_NUMBERS, 4, {0, 0, 0, 0}, NULL}, "a quaternion cannot be all zeros"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        lb_diag *diag = lb_diag_new();
        lb_arena *arena = lb_arena_new();
        lb_store store = {diag, arena, LB_SPACE_LINEAR_REC709, "."};
        all_params p = {0};
        char *text = NULL;
        size_t size = 0;
        FILE *memory = open_memstream(&text, &size);

        cr_expect_eq(lb_param_store(&store, lb_params_find(all_table, cases[i].param), LB_NOWHERE,
                                    &cases[i].value, &p),
                     LB_INVALID);
        lb_diag_print(diag, memory, false);
        fclose(memory);
        cr_expect_not_null(strstr(text, cases[i].message), "%s", text);
        free(text);
        lb_arena_free(&arena);
        lb_diag_free(&diag);
    }
}

Test(params, scaled)
{
    one_record records[2] = {{10}, {20}};
    all_params p = {.pair = {4, 6}, .number = 8, .list = {2, records}};

    lb_params_scale(all_table, &p, 0.5);
    cr_expect(p.pair[0] == 2 && p.pair[1] == 3, "pixel lengths");
    cr_expect(p.number == 8, "nothing else");
    cr_expect(records[0].reach == 5 && records[1].reach == 10, "in records too");
}
