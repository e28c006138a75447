/* tests/nodes/scene/test_uv.c: uv and bump: how a picture lies on a surface. */
#include <criterion/criterion.h>

#include "tests/nodes/scene/scene_run.h"

/* Where the surface's (u, v) looks in the picture. */
static void expect_place(const lb_texture *t, double u, double v, double pu, double pv)
{
    const double *m = lb_texture_mapping(t)->matrix;
    double x = m[0] * u + m[1] * v + m[2], y = m[3] * u + m[4] * v + m[5];

    cr_expect(fabs(x - pu) < 1e-12 && fabs(y - pv) < 1e-12, "(%g, %g) looks at (%g, %g)", u, v, x,
              y);
}

static lb_value connect(op_run *r)
{
    lb_value image = {.kind = LB_KIND_IMAGE};

    image.image = op_noise_image((lb_box){0, 0, 8, 4}, (lb_box){0, 0, 8, 4}, "R G B A", 1);
    (void)r;
    return image;
}

Test(uv, maps_the_surface)
{
    op_run r = op_new(scene_op("uv"), 1);
    lb_value image = connect(&r), out;

    op_set2(&r, "tile", 2, 3);
    op_set2(&r, "offset", 0.25, 0);
    out = scene_make(&r, &image, 1);
    cr_expect(out.kind == LB_KIND_TEXTURE && lb_texture_channels(out.texture) == 4);
    expect_place(out.texture, 0, 0, 0.25, 0);
    expect_place(out.texture, 1, 1, 2.25, 3);
    lb_value_unref(&out);
    /* A quarter turn clockwise: the surface's upper left corner shows the picture's lower left. */
    op_set2(&r, "tile", 1, 1);
    op_set2(&r, "offset", 0, 0);
    op_set(&r, "rotate", 90);
    out = scene_make(&r, &image, 1);
    expect_place(out.texture, 0, 0, 0, 1);
    expect_place(out.texture, 1, 0, 0, 0);
    expect_place(out.texture, 0.5, 0.5, 0.5, 0.5);
    lb_value_unref(&out);
    lb_value_unref(&image);
    op_free(&r);
}

Test(uv, wraps_and_filters)
{
    op_run r = op_new(scene_op("uv"), 1);
    lb_value image = connect(&r), out;

    op_text(&r, "wrap", "mirror");
    op_text(&r, "filter", "nearest");
    op_set(&r, "uv-set", 1);
    out = scene_make(&r, &image, 1);
    cr_expect(lb_texture_mapping(out.texture)->wrap_u == LB_WRAP_MIRROR);
    cr_expect(lb_texture_mapping(out.texture)->wrap_v == LB_WRAP_MIRROR);
    cr_expect(lb_texture_mapping(out.texture)->filter == LB_TEXTURE_NEAREST);
    cr_expect(lb_texture_mapping(out.texture)->uv_set == 1);
    cr_expect(lb_texture_mapping(out.texture)->role == LB_TEXTURE_VALUE);
    lb_value_unref(&out);
    lb_value_unref(&image);
    op_free(&r);
}

Test(bump, says_what_its_numbers_are)
{
    op_run r = op_new(scene_op("bump"), 1);
    lb_value image = connect(&r), out;

    op_set(&r, "scale", 1.5);
    out = scene_make(&r, &image, 1);
    cr_expect(lb_texture_mapping(out.texture)->role == LB_TEXTURE_HEIGHT);
    cr_expect(lb_texture_mapping(out.texture)->scale == 1.5);
    lb_value_unref(&out);
    op_text(&r, "from", "normal");
    out = scene_make(&r, &image, 1);
    cr_expect(lb_texture_mapping(out.texture)->role == LB_TEXTURE_NORMAL);
    lb_value_unref(&out);
    lb_value_unref(&image);
    op_free(&r);
}

/* Textures are asked for at their own size, whatever the scale of the frame. */
Test(uv, takes_pictures_as_they_are)
{
    cr_expect(scene_op("uv")->inputs[0].native && scene_op("bump")->inputs[0].native);
}
