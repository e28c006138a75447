/* tests/engine/graph/test_ledger.c: shared pieces count once, for the first that enters and the
 * last that leaves; bytes are those of planes and textures themselves. */
#include <criterion/criterion.h>

#include "engine/graph/ledger.h"
#include "tests/support/cache_images.h"

static const lb_box box = {0, 0, 40, 30};

/* Another image with the same planes but for its alpha. */
static lb_image *image_sharing(const lb_image *from)
{
    lb_image *image = NULL;
    lb_plane *alpha = NULL;

    cr_assert_eq(lb_image_new(box, box, &image), LB_OK);
    for (int32_t i = 0; i < lb_image_count(from); i++)
        cr_assert_eq(lb_image_add(image, lb_image_name(from, i), lb_image_plane(from, i)), LB_OK);
    cr_assert_eq(lb_plane_new(box, &alpha), LB_OK);
    cr_assert_eq(lb_image_add(image, "A", alpha), LB_OK);
    lb_plane_unref(&alpha);
    return image;
}

Test(ledger, images)
{
    lb_ledger *ledger = NULL;
    lb_value one = {.kind = LB_KIND_IMAGE, .image = image_new(image_key(1), box)};
    lb_value two = {.kind = LB_KIND_IMAGE, .image = image_sharing(one.image)};
    size_t plane = lb_plane_bytes(lb_image_plane(one.image, 0));
    lb_parts a, b, again;

    cr_assert_eq(lb_ledger_new(&ledger), LB_OK);
    cr_assert_eq(lb_parts_of(one, &a), LB_OK);
    cr_assert_eq(lb_parts_of(two, &b), LB_OK);
    cr_assert_eq(lb_parts_of(one, &again), LB_OK);
    cr_expect_eq(a.bytes, 4 * plane);
    cr_expect_eq(lb_ledger_enter(ledger, &a), 4 * plane);
    cr_expect_eq(lb_ledger_enter(ledger, &b), plane);
    cr_expect_eq(lb_ledger_enter(ledger, &again), 0);
    cr_expect_eq(lb_ledger_leave(ledger, &a), 0);
    cr_expect_eq(lb_ledger_leave(ledger, &again), plane, "the alpha that only the first had");
    cr_expect_eq(lb_ledger_leave(ledger, &b), 4 * plane);
    lb_parts_clear(&a);
    lb_parts_clear(&b);
    lb_parts_clear(&again);
    lb_value_unref(&one);
    lb_value_unref(&two);
    lb_ledger_free(&ledger);
}

/* A scene of 500 items with one mesh and one material with a texture on two slots: each counts
 * once, and the texture that is kept beside the scene costs nothing more. */
Test(ledger, scenes)
{
    lb_image *picture = image_new(image_key(2), (lb_box){0, 0, 64, 64});
    lb_texture_map map = lb_texture_map_default();
    lb_value texture = {.kind = LB_KIND_TEXTURE}, material = {.kind = LB_KIND_MATERIAL},
             scene = {.kind = LB_KIND_SCENE};
    lb_mesh *mesh = NULL;
    lb_ledger *ledger = NULL;
    lb_parts t, m, s;
    size_t items, fresh;

    cr_assert_eq(lb_texture_new(NULL, picture, &map, &texture.texture), LB_OK);
    cr_assert_eq(lb_material_new("clay", &material.material), LB_OK);
    lb_material_set_map(material.material, LB_SLOT_DIFFUSE, texture.texture);
    lb_material_set_map(material.material, LB_SLOT_BUMP, texture.texture);
    cr_assert_eq(lb_mesh_sphere(1, 32, 16, &mesh), LB_OK);
    cr_assert_eq(lb_scene_new(&scene.scene), LB_OK);
    for (int i = 0; i < 500; i++) {
        lb_item *item;

        cr_assert_eq(lb_scene_add_item(scene.scene, "pot", "", LB_ITEM_MESH, -1, &item), LB_OK);
        item->mesh = lb_mesh_ref(mesh);
        item->material = lb_material_ref(material.material);
    }
    cr_assert_eq(lb_parts_of(texture, &t), LB_OK);
    cr_assert_eq(lb_parts_of(material, &m), LB_OK);
    cr_assert_eq(lb_parts_of(scene, &s), LB_OK);
    items = sizeof *scene.scene + scene.scene->item_capacity * sizeof(lb_item) + 500 * 5;
    cr_expect_eq(t.bytes, lb_texture_bytes(texture.texture));
    cr_expect_eq(m.bytes, t.bytes + sizeof *material.material);
    cr_expect_eq(s.bytes, m.bytes + lb_mesh_bytes(mesh) + items);
    cr_assert_eq(lb_ledger_new(&ledger), LB_OK);
    cr_expect_eq(lb_ledger_enter(ledger, &t), t.bytes);
    cr_expect_eq(lb_ledger_enter(ledger, &m), sizeof *material.material);
    fresh = lb_ledger_enter(ledger, &s);
    cr_expect_eq(fresh, lb_mesh_bytes(mesh) + items);
    cr_expect_eq(lb_ledger_leave(ledger, &t) + lb_ledger_leave(ledger, &m), 0);
    cr_expect_eq(lb_ledger_leave(ledger, &s), s.bytes);
    lb_parts_clear(&t);
    lb_parts_clear(&m);
    lb_parts_clear(&s);
    lb_ledger_free(&ledger);
    lb_value_unref(&texture);
    lb_value_unref(&material);
    lb_value_unref(&scene);
    lb_mesh_unref(&mesh);
    lb_image_unref(&picture);
}
