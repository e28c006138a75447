/* tests/engine/graph/test_operand.c: rows beyond a plane, masks, kinds of channels. */
#include <criterion/criterion.h>
#include <math.h>

#include "engine/graph/operand.h"

static lb_plane *ramp(lb_box box)
{
    lb_plane *plane;

    cr_assert(lb_plane_new(box, &plane) == LB_OK);
    for (int32_t y = box.y0; y < box.y1; y++)
        for (int32_t x = box.x0; x < box.x1; x++)
            lb_plane_row_to_fill(plane, y)[x - box.x0] = (float)(100 * y + x);
    return plane;
}

Test(operand, row_over)
{
    lb_plane *plane = ramp((lb_box){2, 1, 6, 3});
    static const int32_t spans[][2] = {{2, 6}, {3, 5}, {0, 9}, {-4, 3}, {5, 9}, {6, 8}, {-3, 2}};
    float scratch[16];

    for (int i = 0; i < 7; i++)
        for (int32_t y = 0; y < 4; y++) {
            int32_t x0 = spans[i][0], x1 = spans[i][1];
            const float *row = lb_plane_row_over(plane, x0, x1, y, scratch);

            for (int32_t x = x0; x < x1; x++)
                cr_expect(row[x - x0] == lb_plane_at(plane, x, y), "(%d, %d)", (int)x, (int)y);
        }
    cr_expect(lb_plane_row_over(plane, 2, 6, 1, scratch) == lb_plane_row(plane, 1)); /* no copy */
    cr_expect(lb_plane_row_over(NULL, 0, 3, 1, scratch)[2] == 0);
    lb_plane_unref(&plane);
}

Test(operand, mask_over)
{
    static const float in[5] = {-1, 0.25f, 7, NAN, INFINITY}, want[5] = {0, 0.125f, 0.5f, 0, 0.5f};
    lb_plane *plane;
    float scratch[8];
    const float *row;

    cr_assert(lb_plane_new((lb_box){1, 0, 6, 1}, &plane) == LB_OK);
    memcpy(lb_plane_row_to_fill(plane, 0), in, sizeof in);
    row = lb_plane_mask_over(plane, 0.5f, 0, 7, 0, scratch);
    for (int i = 0; i < 5; i++)
        cr_expect(row[i + 1] == want[i]);
    cr_expect(row[0] == 0 && row[6] == 0);
    row = lb_plane_mask_over(plane, 0.5f, 0, 7, 4, scratch);
    cr_expect(row[2] == 0);
    row = lb_plane_mask_over(NULL, 0.5f, 0, 7, 4, scratch);
    cr_expect(row[0] == 0.5f && row[6] == 0.5f);
    lb_plane_unref(&plane);
}

Test(operand, copy)
{
    lb_plane *plane = ramp((lb_box){2, 1, 6, 3}), *copy, *constant;

    cr_assert(lb_plane_copy(plane, (lb_box){0, 0, 5, 4}, &copy) == LB_OK);
    for (int32_t y = 0; y < 4; y++)
        for (int32_t x = 0; x < 5; x++)
            cr_expect(lb_plane_at(copy, x, y) == lb_plane_at(plane, x, y));
    lb_plane_unref(&copy);
    lb_plane_unref(&plane);
    cr_assert(lb_plane_new_constant((lb_box){0, 0, 9, 9}, 3, &constant) == LB_OK);
    cr_assert(lb_plane_copy(constant, (lb_box){1, 1, 3, 3}, &copy) == LB_OK);
    lb_plane_row_to_fill(copy, 1)[0] = 4; /* may be changed, constant or not */
    cr_expect(lb_plane_at(copy, 1, 1) == 4 && lb_plane_at(copy, 2, 2) == 3);
    lb_plane_unref(&copy);
    lb_plane_unref(&constant);
}

Test(operand, channels)
{
    static const char *const light[] = {"R", "G", "B", "A", "Y", "key.R", "a.b.A"};
    static const char *const data[] = {"Z", "depth.Z", "normal.X", "RY", "id", "R.id", "x.", ""};
    lb_arena *arena = lb_arena_new();
    const lb_channels *names =
        lb_channels_make(arena, (const char *const[]){"R", "G", "B", "depth.Z", NULL});

    for (size_t i = 0; i < sizeof light / sizeof light[0]; i++)
        cr_expect(lb_channel_is_color(light[i]), "%s", light[i]);
    for (size_t i = 0; i < sizeof data / sizeof data[0]; i++)
        cr_expect(!lb_channel_is_color(data[i]), "%s", data[i]);
    cr_expect(lb_channels_have_color(names));
    cr_expect(lb_channels_bit(names, "depth.Z") == 8 && lb_channels_bit(names, "A") == 0);
    cr_expect(lb_channels_bit(names, NULL) == 0);
    cr_expect(lb_channels_rgba_bits(names) == 7);
    cr_expect(lb_channels_with(arena, names, "G") == names);
    cr_expect(lb_channels_with(arena, names, "A")->count == 5);
    cr_expect(lb_channels_find(lb_channels_with(arena, names, "A"), "A") == 0); /* sorted */
    lb_arena_free(&arena);
}

Test(operand, mask_channel)
{
    static const char *const sets[][4] = {
        {"A", "R", "G", NULL}, {"R", "G", "B", NULL}, {"Z", NULL}, {"X", "Y", NULL}, {NULL}};
    static const char *const want[] = {"A", "R", "Z", NULL, NULL};
    lb_arena *arena = lb_arena_new();

    for (int i = 0; i < 5; i++) {
        const char *name = lb_mask_channel(lb_channels_make(arena, sets[i]));

        cr_expect(want[i] ? name && strcmp(name, want[i]) == 0 : name == NULL, "%d", i);
    }
    lb_arena_free(&arena);
}
