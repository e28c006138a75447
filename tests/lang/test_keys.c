/* tests/lang/test_keys.c: {keys: ...}. Between two keys a value goes as CSS animations go between
 * two keyframes: the easing function belongs to the earlier one (CSS Animations Level 1, section
 * 3.4), and 0 .. 1 of its output mixes the two. */
#include <math.h>

#include "engine/base/vec.h"
#include "lang/keys.h"
#include "tests/lang/loading.h"
#include "tests/support/table.h"

/* `radius` of a glow for what stands in the braces. */
static loaded load_radius(const char *value)
{
    char text[1024];

    snprintf(text, sizeof text,
             HEAD "nodes:\n  s: {op: solid}\n  g: {op: glow, image: s, radius: {%s}}\n"
                  "outputs: {o: {image: g, file: '#.exr'}}\n",
             value);
    return load(text);
}

static void expect_values(const char *value, const double (*rows)[2], size_t count)
{
    loaded l = load_radius(value);
    lb_arena *arena = lb_arena_new();

    cr_assert(l.graph, "%s: %s", value, l.messages);
    cr_expect_str_eq(l.messages, "");
    for (size_t i = 0; i < count; i++) {
        double got = params_at(&l, "g", rows[i][0], arena).radius;

        cr_expect(fabs(got - rows[i][1]) < 1e-9, "%s at %g: %.17g, not %.17g", value, rows[i][0],
                  got, rows[i][1]);
    }
    lb_arena_free(&arena);
    drop(&l);
}

#define EXPECT(value, ...)                                                                         \
    do {                                                                                           \
        static const double rows[][2] = __VA_ARGS__;                                               \
        expect_values(value, rows, sizeof rows / sizeof rows[0]);                                  \
    } while (0)

/* Dyadic numbers: the answers are exact but for the curves. */
Test(keys, between)
{
    EXPECT("keys: {1: 0, 9: 64, 17: 32}",
           {{1, 0}, {2, 8}, {5, 32}, {9, 64}, {13, 48}, {17, 32}, {4.5, 28}});
    EXPECT("keys: {17: 32, 1: 0, 9: 64}", {{5, 32}, {13, 48}}); /* their order means nothing */
    EXPECT("keys: [{at: 1, value: 0}, {at: 9, value: 64}]", {{5, 32}});
    EXPECT("keys: {1: 0, 9: 64}, ease: step-end", {{1, 0}, {8.9, 0}, {9, 64}, {50, 64}});
    EXPECT("keys: {1: 0, 9: 64}, ease: 'steps(4)'", {{1, 0}, {3, 16}, {4.9, 16}, {7, 48}});
    EXPECT("keys: {1: 0, 9: 64, 17: 0}, ease: 'steps(1, start)'", {{1, 64}, {9, 0}});
    EXPECT("keys: [{at: 1, value: 0, ease: step-end}, {at: 9, value: 64}, {at: 17, value: 0}]",
           {{8, 0}, {13, 32}});
    EXPECT("keys: [{at: 1, value: 0, ease: linear}, {at: 9, value: 64}], ease: step-end",
           {{5, 32}});
    EXPECT("keys: {-7: 8, 1: 0}", {{-3, 4}});
    EXPECT("keys: {1.5: 0, 2.5: 8}", {{2, 4}});
    EXPECT("keys: {3: 5}", {{1, 5}, {3, 5}, {100, 5}});
    /* tests/data/tables/easing.csv: ease-in-out at 0.25, times 40 */
    EXPECT("keys: {1: 0, 41: 40}, ease: ease-in-out", {{11, 40 * 0.129161931047319}, {21, 20}});
    EXPECT("keys: {1: {expr: 'width / 1920'}, 9: {expr: '2 + 3'}}", {{1, 1}, {5, 3}});
}

/* hold, linear, repeat, mirror: common practice for curves outside their keys. */
Test(keys, beyond)
{
    EXPECT("keys: {9: 8, 17: 16}", {{1, 8}, {25, 16}});
    EXPECT("keys: {9: 8, 17: 16}, before: linear, after: linear", {{1, 0}, {25, 24}});
    EXPECT("keys: {9: 8, 17: 16}, before: repeat, after: repeat",
           {{1, 8}, {5, 12}, {16, 15}, {17, 16}, {18, 9}, {26, 9}});
    EXPECT("keys: {9: 8, 17: 16}, before: mirror, after: mirror",
           {{8, 9}, {1, 16}, {18, 15}, {25, 8}, {26, 9}, {33, 16}});
    EXPECT("keys: {9: 8, 17: 16}, after: mirror", {{1, 8}, {18, 15}});
    /* CSS: beyond its end a curve goes on along its tangent; of ease-out it is flat there, and its
     * start rises with 1 / 0.58 */
    EXPECT("keys: {41: 158, 99: 216}, ease: ease-out, before: linear, after: linear",
           {{12, 158 - 58 * 0.5 / 0.58}, {100, 216}});
}

/* Plain numbers know nothing of circles: from 350 to 10 degrees is 340 degrees backwards. Easing
 * functions go on outside their keys as they end: a curve along its tangent, pieces along the last
 * one, steps as steps (CSS Easing Functions, Level 1, sections 2.2 and 2.3; Level 2, 2.2.2). */
Test(keys, rules_of_their_own)
{
    EXPECT("keys: {1: 350, 9: 10}", {{5, 180}, {7, 95}});
    EXPECT("keys: {1: 0, 9: 64}, ease: 'steps(4)', after: linear",
           {{10, 64}, {11, 80}, {12.9, 80}, {13, 96}});
    EXPECT("keys: {1: 0, 9: 64}, ease: 'linear(0, 0.5 25%, 1)', after: linear",
           {{3, 32}, {6, 48}, {15, 64 + 32}});
    EXPECT("keys: [{at: 9, value: 64, ease: step-end}, {at: 1, value: 0, ease: linear}, {at: 17, "
           "value: 0}], before: repeat",
           {{5, 32}, {12, 64}, {-11, 32}, {-4, 64}});
    /* the last key keeps its value when the curve is played again; later rounds begin anew */
    EXPECT("keys: {1: 8, 9: 16}, before: repeat, after: repeat",
           {{9, 16}, {9.5, 8.5}, {17, 8}, {1, 8}, {-7, 8}});
    EXPECT("keys: {1: 8, 9: 16}, after: mirror", {{17, 8}, {25, 16}, {-50, 8}});
}

/* Beyond its keys a turn goes on about the same axis: 90 degrees in eight frames are 180 in 16. */
Test(keys, a_turn_goes_on)
{
    lb_quat quarter = lb_quat_from_euler_deg(0, 90, 0);
    lb_key_frame items[2] = {
        {0, {LB_DATUM_NUMBERS, 4, {0, 0, 0, 1}, NULL}, {0}},
        {8, {LB_DATUM_NUMBERS, 4, {0, -quarter.y, 0, -quarter.w}, NULL}, {0}},
    };
    lb_keys keys = {2, items, LB_BETWEEN_SLERP, LB_BEYOND_LINEAR, LB_BEYOND_LINEAR, false};

    for (int frame = -16; frame <= 40; frame += 4) {
        lb_quat want = lb_quat_from_euler_deg(0, frame * 90 / 8.0, 0);
        lb_datum out;
        double dot;

        lb_keys_at(&keys, frame, &out);
        dot = out.numbers[0] * want.x + out.numbers[1] * want.y + out.numbers[2] * want.z +
              out.numbers[3] * want.w; /* a quaternion and its negative are the same turn */
        cr_expect(fabs(fabs(dot) - 1) < 1e-12, "frame %d: %g", frame, dot);
    }
}

Test(keys, what_cannot_be_mixed)
{
    static const struct {
        const char *text, *messages;
    } rows[] = {
        {"op: text, text: {keys: {1: one, 5: two}, ease: ease}",
         "g.yaml:6:64: warning: 'ease' does nothing here: text holds until the next key\n"},
        {"op: text, text: a, align: {keys: [{at: 1, value: left, ease: ease}, {at: 5, value: "
         "right}]}",
         "g.yaml:6:78: warning: 'ease' does nothing here: text holds until the next key\n"},
        {"op: text, text: {keys: {1: one, 5: two}, after: mirror}", ""},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[1024];
        loaded l;

        snprintf(text, sizeof text,
                 HEAD "nodes: {    t: {%s}}\noutputs: {o: {image: t, file: "
                      "'#.exr'}}\n",
                 rows[i].text);
        l = load(text);
        cr_expect(l.graph && strcmp(l.messages, rows[i].messages) == 0, "%s\n%s", rows[i].text,
                  l.messages);
        if (l.graph && i == 2) {
            lb_arena *arena = lb_arena_new();

            cr_expect_str_eq(params_at(&l, "t", 5, arena).text, "two");
            cr_expect_str_eq(params_at(&l, "t", 7, arena).text, "one");
            cr_expect_str_eq(params_at(&l, "t", 13, arena).text, "two");
            lb_arena_free(&arena);
        }
        drop(&l);
    }
}

/* Half a turn about y in eight frames: the shorter way, at constant speed. glTF 2.0, appendix C.4;
 * tests/data/tables/slerp.csv has such turns. */
Test(keys, quaternions)
{
    table t = table_load("slerp");

    for (int i = 0; i < t.rows; i++) {
        lb_key_frame items[2] = {
            {0, {LB_DATUM_NUMBERS, 4, {0}, NULL}, {0}},
            {8, {LB_DATUM_NUMBERS, 4, {0}, NULL}, {0}},
        };
        lb_keys keys = {2, items, LB_BETWEEN_SLERP, LB_BEYOND_HOLD, LB_BEYOND_HOLD, false};
        static const char *const axes[] = {"x", "y", "z", "w"};
        lb_datum out;

        for (int k = 0; k < 4; k++) {
            char name[16];

            snprintf(name, sizeof name, "a_%s", axes[k]);
            items[0].value.numbers[k] = table_number(&t, i, name);
            snprintf(name, sizeof name, "b_%s", axes[k]);
            items[1].value.numbers[k] = table_number(&t, i, name);
        }
        lb_keys_at(&keys, 8 * table_number(&t, i, "t"), &out);
        for (int k = 0; k < 4; k++)
            cr_expect(fabs(out.numbers[k] - table_number(&t, i, axes[k])) < 1e-9, "row %d", i);
    }
    table_free(&t);
}

Test(keys, kinds)
{
    loaded l = load(
        HEAD "params: {blink: {keys: {1: true, 5: false}}, hue: {keys: {1: '#000', 9: '#fff'}}}\n"
             "nodes:\n"
             "  c:\n"
             "    op: camera\n"
             "    position: {keys: {1: [0, 0, 0], 9: [8, 16, -8]}}\n"
             "    rotation: {keys: {1: [0, 0, 0], 9: [0, 90, 0]}}\n"
             "  d: {op: camera, rotation: {keys: {1: [0, 0, 0, 2], 9: [0, 1, 0, 0]}},\n"
             "      position: [{keys: {1: 0, 9: 8}}, 5, {expr: 'frame * 2'}]}\n"
             "  r: {op: render, scene: c, samples: {keys: {1: 1, 9: 8}},\n"
             "      lighting: {param: blink}}\n"
             "  q: {op: render, scene: d}\n"
             "  t: {op: text, text: {keys: {1: one, 5: 2}}, align: {keys: {3: left, 5: right}}}\n"
             "  s: {op: solid, color: {keys: {1: '#ff000080', 9: [0, 0, 1]}}}\n"
             "  u: {op: solid, color: {param: hue}}\n"
             "  m: {op: composite, source: r, backdrop: q}\n"
             "  n: {op: composite, source: t, backdrop: s}\n"
             "  o: {op: composite, source: m, backdrop: n, mask: u}\n"
             "outputs: {o: {image: o, file: '#.exr'}}\n");
    lb_arena *arena = lb_arena_new();
    any_params p;
    lb_quat half = lb_quat_from_euler_deg(0, 45, 0), turn = lb_quat_from_euler_deg(0, 90, 0);

    cr_assert(l.graph, "%s", l.messages);
    cr_expect_str_eq(l.messages, "");
    p = params_at(&l, "c", 5, arena);
    cr_expect(p.position[0] == 4 && p.position[1] == 8 && p.position[2] == -4);
    cr_expect(fabs(p.rotation[1] - half.y) < 1e-15 && fabs(p.rotation[3] - half.w) < 1e-15);
    p = params_at(&l, "d", 5, arena);
    cr_expect(fabs(p.rotation[1] - turn.y) < 1e-12 && fabs(p.rotation[3] - turn.w) < 1e-12);
    cr_expect(p.position[0] == 4 && p.position[1] == 5 && p.position[2] == 10);
    cr_expect(params_at(&l, "r", 4, arena).samples == 4); /* 3.625 */
    cr_expect(params_at(&l, "r", 4.9, arena).lighting && !params_at(&l, "r", 5, arena).lighting);
    cr_expect_str_eq(params_at(&l, "t", 4, arena).text, "one");
    cr_expect_str_eq(params_at(&l, "t", 5, arena).text, "2");
    cr_expect(params_at(&l, "t", 1, arena).align == 0 && params_at(&l, "t", 5, arena).align == 2);
    p = params_at(&l, "s", 1, arena);
    cr_expect(p.color[0] == 1 && p.color[2] == 0 && p.color[3] == 128 / 255.0);
    p = params_at(&l, "s", 5, arena); /* mixed in linear light, alpha 1 where none is given */
    cr_expect(p.color[0] == 0.5 && p.color[2] == 0.5 &&
              fabs(p.color[3] - (128 / 255.0 + 1) / 2) < 1e-15);
    p = params_at(&l, "u", 5, arena);
    cr_expect(fabs(p.color[0] - 0.5) < 1e-12 && fabs(p.color[1] - 0.5) < 1e-12 && p.color[3] == 1);
    lb_arena_free(&arena);
    drop(&l);
}

Test(keys, faults)
{
    static const struct {
        const char *value, *messages;
    } rows[] = {
        {"keys: {}", "7:7: error: 'keys' is empty; it takes {frame: value}\n"},
        {"keys: 5", "7:7: error: 'keys' is 5; it takes a mapping\n"},
        {"keys: {1: 0, one: 2}", "7:14: error: a key's frame is 'one'; it is a number\n"},
        {"keys: {1: 0, .inf: 2}", "7:14: error: a key's frame is .inf; it is a number\n"},
        {"keys: {1: 0, 1.0: 2}",
         "7:14: error: two keys at frame 1\n7:8: note: the other is here\n"},
        {"keys: {9: 1, 1: 0, 9.0: 2}",
         "7:20: error: two keys at frame 9\n7:8: note: the other is here\n"},
        {"keys: {1: 0, 9: -5}", "7:17: error: 'radius' is -5; it goes from 0 to 1000\n"},
        {"keys: {1: 0, 9: [1, 2]}", "7:17: error: 'radius' is a list; it takes a number\n"},
        {"keys: {1: 0, 9: wide}",
         "7:17: error: the keys of 'radius' have values of different types\n"
         "7:11: note: the first is here\n"},
        {"keys: {1: 0, 9: }", "7:14: error: 'radius' is empty; it takes a number\n"},
        {"keys: {1: 0, 9: {expr: frame}}",
         "7:24: error: a key's value cannot depend on the frame\n"},
        {"keys: {1: 0, 9: 5}, ease: easy",
         "7:27: error: unknown easing function 'easy'; did you mean 'ease'?\n"},
        {"keys: {1: 0, 9: 5}, after: loop",
         "7:28: error: 'after' is 'loop'; it is one of hold, linear, repeat, mirror\n"},
        {"keys: {1: 0, 9: 5}, befor: hold",
         "7:21: error: 'keys' has no key 'befor'; did you mean 'before'?\n"},
        {"keys: [{at: 1}]", "7:8: error: a key needs 'value'\n"},
        {"keys: [{value: 1}]", "7:8: error: a key needs 'at'\n"},
        {"keys: [{at: 1, value: 2, eas: linear}]",
         "7:26: error: 'keys' has no key 'eas'; did you mean 'ease'?\n"},
        {"keys: [5]", "7:8: error: 'keys' is 5; it takes a mapping\n"},
        /* a curve that overshoots is found before it is rendered */
        {"keys: {1: 0, 9: 5}, ease: 'cubic-bezier(0.5, -1, 1, 1)'",
         "6:39: error: 'radius' is -0.70138562; it goes from 0 to 1000\n6:39: note: at frame 3\n"},
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[1024], *shown, *from;
        loaded l;

        snprintf(text, sizeof text,
                 HEAD "nodes: {s: {op: solid}, g: {op: glow, image: s, radius: {\n%s\n}}}\n"
                      "outputs: {o: {image: g, file: '#.exr'}}\n",
                 rows[i].value);
        l = load(text);
        cr_expect(!l.graph, "%s", rows[i].value);
        shown = l.messages;
        while ((from = strstr(shown, "g.yaml:"))) /* places without the file's name */
            memmove(from, from + 7, strlen(from + 7) + 1);
        if (i + 1 < sizeof rows / sizeof rows[0])
            cr_expect_str_eq(shown, rows[i].messages, "%s\n%s", rows[i].value, shown);
        else
            cr_expect(strstr(shown, "it goes from 0 to 1000") && strstr(shown, "at frame 2"), "%s",
                      shown);
        drop(&l);
    }
}
