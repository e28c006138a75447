/* tests/nodes/scene/test_material.c: parameters and maps come to their places. */
#include <criterion/criterion.h>

#include "tests/nodes/scene/scene_run.h"

static lb_texture *texture(const char *channels, lb_texture_role role)
{
    lb_box box = {0, 0, 2, 2};
    lb_image *image = op_noise_image(box, box, channels, 1);
    lb_texture_map map = lb_texture_map_default();
    lb_texture *made;

    map.role = role;
    cr_assert(lb_texture_new(NULL, image, &map, &made) == LB_OK);
    lb_image_unref(&image);
    return made;
}

/* The language's defaults: tests/engine/scene has them too. */
Test(material, has_its_parameters)
{
    op_run r = op_new(scene_op("material"), 1);
    lb_value out = scene_make(&r, NULL, 0);
    const lb_material *m = out.material;

    cr_expect(m->shading == LB_SHADING_BLINN && m->diffuse.x == 0.8f && m->specular.x == 0);
    cr_expect(m->exponent == 50 && m->opacity == 1 && m->alpha_mode == LB_ALPHA_OPAQUE);
    cr_expect(strcmp(m->name, "node") == 0 && m->double_sided);
    lb_value_unref(&out);
    op_text(&r, "model", "metal-rough");
    op_set(&r, "specular", 0.6);
    op_set(&r, "metallic", 1);
    op_set(&r, "roughness", 0.25);
    op_set3(&r, "base-color", 1, 0.75, 0.5);
    op_text(&r, "emission", "#bc0000"); /* sRGB 188: 0.502886 (IEC 61966-2-1) */
    op_set(&r, "opacity", 0.5);
    op_bool(&r, "double-sided", false);
    out = scene_make(&r, NULL, 0);
    m = out.material;
    cr_expect(m->shading == LB_SHADING_METAL_ROUGH && m->metallic == 1 && m->roughness == 0.25f);
    cr_expect(m->base_color.y == 0.75f && fabsf(m->emission.x - 0.502886f) < 1e-6f);
    cr_expect(m->specular.x == 0.6f && m->specular.z == 0.6f, "one number sets all three");
    cr_expect(m->alpha_mode == LB_ALPHA_BLEND && !m->double_sided);
    lb_value_unref(&out);
    op_text(&r, "alpha", "mask");
    out = scene_make(&r, NULL, 0);
    cr_expect(out.material->alpha_mode == LB_ALPHA_MASK);
    lb_value_unref(&out);
    op_free(&r);
}

/* Every input is the map of the same name. Alpha in the colour map lets through. */
Test(material, has_its_maps)
{
    op_run r = op_new(scene_op("material"), 1);

    for (int slot = 0; slot < LB_SLOT_COUNT; slot++) {
        lb_value inputs[LB_SLOT_COUNT] = {{0}}, out;

        cr_expect(strcmp(r.op->inputs[slot].name, lb_slot_names[slot]) == 0);
        inputs[slot].kind = LB_KIND_TEXTURE;
        inputs[slot].texture = texture("R G B A", LB_TEXTURE_VALUE);
        op_text(&r, "model",
                slot == LB_SLOT_BASE_COLOR || slot == LB_SLOT_METAL_ROUGH ? "metal-rough"
                                                                          : "blinn");
        out = scene_make(&r, inputs, LB_SLOT_COUNT);
        for (int other = 0; other < LB_SLOT_COUNT; other++)
            cr_expect((out.material->maps[other] != NULL) == (other == slot), "%s",
                      lb_slot_names[other]);
        cr_expect(lb_texture_level_at(out.material->maps[slot], 0).texels ==
                  lb_texture_level_at(inputs[slot].texture, 0).texels);
        cr_expect(
            out.material->alpha_mode ==
                (slot == LB_SLOT_DIFFUSE || slot == LB_SLOT_BASE_COLOR || slot == LB_SLOT_OPACITY
                     ? LB_ALPHA_BLEND
                     : LB_ALPHA_OPAQUE),
            "%s", lb_slot_names[slot]);
        lb_value_unref(&out);
        lb_value_unref(&inputs[slot]);
    }
    cr_expect(op_warnings(&r) == 0);
    op_free(&r);
}

/* Relief is what the texture says it is, by whichever input it came. */
Test(material, relief_goes_where_it_belongs)
{
    static const struct {
        int input;
        lb_texture_role role;
        int slot;
        lb_texture_role becomes;
    } cases[] = {
        {LB_SLOT_BUMP, LB_TEXTURE_HEIGHT, LB_SLOT_BUMP, LB_TEXTURE_HEIGHT},
        {LB_SLOT_BUMP, LB_TEXTURE_NORMAL, LB_SLOT_NORMAL, LB_TEXTURE_NORMAL},
        {LB_SLOT_BUMP, LB_TEXTURE_VALUE, LB_SLOT_BUMP, LB_TEXTURE_HEIGHT},
        {LB_SLOT_NORMAL, LB_TEXTURE_VALUE, LB_SLOT_NORMAL, LB_TEXTURE_NORMAL},
        {LB_SLOT_NORMAL, LB_TEXTURE_HEIGHT, LB_SLOT_BUMP, LB_TEXTURE_HEIGHT},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        op_run r = op_new(scene_op("material"), 1);
        lb_value inputs[LB_SLOT_COUNT] = {{0}}, out;

        inputs[cases[i].input].kind = LB_KIND_TEXTURE;
        inputs[cases[i].input].texture = texture("Y", cases[i].role);
        out = scene_make(&r, inputs, LB_SLOT_COUNT);
        cr_assert(out.material->maps[cases[i].slot], "case %zu", i);
        cr_expect(lb_texture_mapping(out.material->maps[cases[i].slot])->role == cases[i].becomes);
        lb_value_unref(&out);
        lb_value_unref(&inputs[cases[i].input]);
        op_free(&r);
    }
}

Test(material, idle_maps_are_warned_of)
{
    op_run r = op_new(scene_op("material"), 1);
    lb_value inputs[LB_SLOT_COUNT] = {{0}}, out;

    inputs[LB_SLOT_METAL_ROUGH].kind = LB_KIND_TEXTURE;
    inputs[LB_SLOT_METAL_ROUGH].texture = texture("R G B", LB_TEXTURE_VALUE);
    out = scene_make(&r, inputs, LB_SLOT_COUNT);
    cr_expect(op_warnings(&r) == 1);
    cr_expect(strstr(scene_messages(&r), "the model blinn does not use its metal-rough-map"));
    cr_expect(!out.material->maps[LB_SLOT_METAL_ROUGH]);
    lb_value_unref(&out);
    lb_value_unref(&inputs[LB_SLOT_METAL_ROUGH]);
    op_free(&r);
}
