/* engine/scene/obj_build.c: the polygons of an OBJ file to items with meshes. */
#include <string.h>

#include "engine/scene/obj_read.h"

typedef struct {
    obj *o;
    uint32_t *order;       /* polygons, part by part */
    size_t *starts;        /* of each part in it, and the end */
    int32_t *part_of_item; /* parts, item by item */
    int32_t *item_starts;
    int32_t *own;            /* of each object: the item with its ungrouped faces; -1: none */
    int32_t *places;         /* of each object: its item of the scene; -1: not made yet */
    lb_material **materials; /* of each use, then the one of no use; lent or owned, see below */
    bool *is_plain;          /* of each use: made here, owned */
    lb_cutter cutter;
    lb_polygons_tally tally;
} builder;

static void clear(builder *b)
{
    int32_t uses = b->o->uses.table.count + 1;

    for (int32_t i = 0; b->materials && b->is_plain && i < uses; i++)
        if (b->is_plain[i])
            lb_material_unref(&b->materials[i]);
    lb_free(b->order);
    lb_free(b->starts);
    lb_free(b->part_of_item);
    lb_free(b->item_starts);
    lb_free(b->own);
    lb_free(b->places);
    lb_free(b->materials);
    lb_free(b->is_plain);
    lb_cutter_clear(&b->cutter);
}

static lb_status reserve(builder *b)
{
    const obj *o = b->o;
    size_t parts = (size_t)o->part_table.count, items = (size_t)o->item_table.count;
    size_t objects = (size_t)o->objects.table.count + 1, uses = (size_t)o->uses.table.count + 1;

    if (!(b->order = lb_alloc(o->p.polygon_count, sizeof *b->order)) ||
        !(b->starts = lb_alloc(parts + 1, sizeof *b->starts)) ||
        !(b->part_of_item = lb_alloc(parts, sizeof *b->part_of_item)) ||
        !(b->item_starts = lb_alloc(items + 1, sizeof *b->item_starts)) ||
        !(b->own = lb_alloc(objects, sizeof *b->own)) ||
        !(b->places = lb_alloc(objects, sizeof *b->places)) ||
        !(b->materials = lb_alloc(uses, sizeof(lb_material *))) ||
        !(b->is_plain = lb_alloc(uses, sizeof *b->is_plain)))
        return reader_no_memory(&o->r);
    for (size_t i = 0; i < objects; i++)
        b->own[i] = b->places[i] = -1;
    return LB_OK;
}

/* Counting sorts: what comes first in the file stays first. */
static void sort(builder *b)
{
    const obj *o = b->o;
    int32_t parts = o->part_table.count, items = o->item_table.count;

    for (int32_t i = 0; i < parts; i++)
        b->starts[i + 1] = b->starts[i] + o->parts[i].polygons;
    for (int32_t i = 0; i < items; i++) {
        b->item_starts[i + 1] = b->item_starts[i] + o->items[i].parts;
        if (o->items[i].object >= 0 && o->items[i].group < 0)
            b->own[o->items[i].object] = i;
    }
    for (size_t i = 0; i < o->p.polygon_count; i++)
        b->order[b->starts[o->p.polygons[i].part]++] = (uint32_t)i;
    for (int32_t i = 0; i < parts; i++)
        b->part_of_item[b->item_starts[o->parts[i].item]++] = i;
    memmove(b->starts + 1, b->starts, (size_t)parts * sizeof *b->starts);
    memmove(b->item_starts + 1, b->item_starts, (size_t)items * sizeof *b->item_starts);
    b->starts[0] = 0;
    b->item_starts[0] = 0;
}

/* Grey, or white under the colours of vertices, with the name that was asked for. */
static lb_status make_plain(builder *b, const char *name, const char *why, int32_t use)
{
    static const double white[3] = {1, 1, 1}, grey[3] = {0.8, 0.8, 0.8};
    reader *r = &b->o->r;
    bool is_white = b->o->p.colors != NULL;
    lb_material *m;
    lb_status status;

    if ((status = reader_told(r, lb_material_new(name, &m))))
        return status;
    m->diffuse = m->base_color = reader_color(r, is_white ? white : grey, false);
    m->double_sided = true;
    b->materials[use] = m;
    b->is_plain[use] = true;
    return reader_fact(r, LB_FACT_ASSUMED, r->name, "%s: %s.", why,
                       is_white ? "white, under the colours of the vertices"
                                : "a diffuse colour of 0.8 alone");
}

/* The material of a use; the one past the last is for faces without. Lent. */
static lb_status material_of(builder *b, int32_t use, lb_material **out)
{
    obj *o = b->o;
    int32_t slot = use < 0 ? o->uses.table.count : use, known = o->mtl.names.count, number;
    lb_status status = LB_OK;
    char why[128], *name;

    if (!b->materials[slot] && use < 0) {
        status = make_plain(b, "", "Faces without a material", slot);
    } else if (!b->materials[slot]) {
        /* A name that is not there is added behind the materials, which does no harm. */
        status = reader_told(&o->r, mtl_name_number(&o->mtl.names, o->uses.words[use], &number));
        if (status)
            return status;
        if (number < known && (size_t)number < o->mtl.material_count) {
            status = mtl_material_get(&o->r, &o->mtl, number, &b->materials[slot]);
        } else if ((status = reader_name(&o->r, o->uses.words[use], &name)) == LB_OK) {
            snprintf(why, sizeof why, "The material '%.80s' is in no library", name);
            status = make_plain(b, name, why, slot);
            lb_free(name);
        }
    }
    *out = b->materials[slot];
    return status;
}

static lb_status make_mesh(builder *b, int32_t item, const char *name, lb_mesh **out)
{
    obj *o = b->o;
    int32_t first = b->item_starts[item], count = b->item_starts[item + 1] - first;
    lb_status status = reader_told(&o->r, lb_mesh_new(name, count, out));

    for (int32_t i = 0; i < count && status == LB_OK; i++) {
        int32_t part = b->part_of_item[first + i];
        lb_primitive *primitive = &(*out)->primitives[i];
        size_t start = b->starts[part];
        lb_material *material;

        if ((status = material_of(b, o->parts[part].material, &material)))
            break;
        primitive->material = lb_material_ref(material);
        status = reader_told(&o->r, lb_polygons_primitive(&o->p, b->order + start,
                                                          b->starts[part + 1] - start, &b->cutter,
                                                          &b->tally, primitive));
    }
    if (status == LB_OK)
        status = reader_told(&o->r, lb_mesh_finish(*out));
    if (status)
        lb_mesh_unref(out);
    return status;
}

/* The item of the scene for one of the file's, or a group without a mesh (item -1). */
static lb_status add_item(builder *b, int32_t item, lb_word word, bool has_name, int32_t parent)
{
    obj *o = b->o;
    lb_mesh *mesh = NULL;
    lb_item *added;
    char *name;
    lb_status status = has_name ? reader_name(&o->r, word, &name) : reader_stem(&o->r, &name);

    if (status)
        return status;
    if (item < 0 || (status = make_mesh(b, item, name, &mesh)) == LB_OK)
        status = reader_told(&o->r, lb_scene_add_item(o->r.scene, name, name,
                                                      item < 0 ? LB_ITEM_GROUP : LB_ITEM_MESH,
                                                      parent, &added));
    if (status)
        lb_mesh_unref(&mesh);
    else
        added->mesh = mesh;
    lb_free(name);
    return status;
}

/* The item that stands for an object; made with the first that needs it. */
static lb_status place_object(builder *b, int32_t object, int32_t *out)
{
    lb_status status = LB_OK;

    if (b->places[object] < 0) {
        status = add_item(b, b->own[object], b->o->objects.words[object], true, -1);
        b->places[object] = (int32_t)b->o->r.scene->item_count - 1;
    }
    *out = b->places[object];
    return status;
}

static lb_status add_items(builder *b)
{
    const obj *o = b->o;
    lb_status status = LB_OK;

    for (int32_t i = 0; i < o->item_table.count && status == LB_OK; i++) {
        const obj_item *item = &o->items[i];
        int32_t parent = -1;

        if (item->object >= 0)
            status = place_object(b, item->object, &parent);
        if (status == LB_OK && item->group >= 0)
            status = add_item(b, i, o->groups.words[item->group], true, parent);
        else if (status == LB_OK && item->object < 0)
            status = add_item(b, i, (lb_word){"", 0}, false, -1);
    }
    return status;
}

lb_status obj_build(obj *o)
{
    builder b = {.o = o};
    lb_status status;

    if (o->p.polygon_count == 0)
        return LB_OK;
    if ((status = reserve(&b)) == LB_OK) {
        sort(&b);
        if ((status = add_items(&b)) == LB_OK)
            status = reader_tally(&o->r, &b.tally);
    }
    clear(&b);
    return status;
}
