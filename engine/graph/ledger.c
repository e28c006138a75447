/* engine/graph/ledger.c: what kept values hold, counted once.
 *
 * Every part of every value is in a table by its address; the bytes count for the first that enters
 * and the last that leaves. Each stripe of the table has a lock of its own, held for one part. */
#include "engine/graph/ledger.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#define STRIPES 16
#define BUCKETS 128 /* a stripe */

typedef struct stripe {
    pthread_mutex_t lock;
    lb_part *buckets[BUCKETS];
} stripe;

struct lb_ledger {
    stripe stripes[STRIPES];
};

/* ---- The parts of a value ---- */

static lb_status add(lb_parts *parts, const void *at, size_t bytes)
{
    if (!lb_grow((void **)&parts->items, &parts->capacity, parts->count, sizeof *parts->items))
        return LB_MEMORY;
    parts->items[parts->count++] = (lb_part){at, bytes, NULL};
    return LB_OK;
}

static lb_status add_image(lb_parts *parts, const lb_image *image)
{
    lb_status status = LB_OK;

    for (int32_t i = 0; i < lb_image_count(image) && status == LB_OK; i++) {
        const lb_plane *plane = lb_image_plane(image, i);

        status = add(parts, plane, lb_plane_bytes(plane));
    }
    return status;
}

static lb_status add_texture(lb_parts *parts, const lb_texture *texture)
{
    return add(parts, lb_texture_level_at(texture, 0).texels, lb_texture_bytes(texture));
}

static lb_status add_material(lb_parts *parts, const lb_material *material)
{
    lb_status status = add(parts, material, sizeof *material);

    for (int slot = 0; slot < LB_SLOT_COUNT && status == LB_OK; slot++)
        if (material->maps[slot])
            status = add_texture(parts, material->maps[slot]);
    return status;
}

static lb_status add_mesh(lb_parts *parts, const lb_mesh *mesh)
{
    lb_status status = add(parts, mesh, lb_mesh_bytes(mesh));

    for (int32_t i = 0; i < mesh->primitive_count && status == LB_OK; i++)
        if (mesh->primitives[i].material)
            status = add_material(parts, mesh->primitives[i].material);
    return status;
}

/* Items, names and curves are the scene's own; meshes and materials may be others' too. */
static lb_status add_scene(lb_parts *parts, const lb_scene *scene)
{
    size_t own = sizeof *scene + scene->item_capacity * sizeof *scene->items +
                 scene->curve_capacity * sizeof *scene->curves +
                 scene->fact_capacity * sizeof *scene->facts;
    lb_status status = LB_OK;

    for (size_t i = 0; i < scene->item_count && status == LB_OK; i++) {
        const lb_item *item = &scene->items[i];

        own += strlen(item->name) + strlen(item->data_name) + 2;
        if (item->mesh)
            status = add_mesh(parts, item->mesh);
        if (item->material && status == LB_OK)
            status = add_material(parts, item->material);
    }
    for (size_t i = 0; i < scene->curve_count; i++) /* at most a time and three times four values */
        own += (size_t)scene->curves[i].key_count * 13 * sizeof(float);
    return status == LB_OK ? add(parts, scene, own) : status;
}

static int by_address(const void *a, const void *b)
{
    uintptr_t x = (uintptr_t)((const lb_part *)a)->at, y = (uintptr_t)((const lb_part *)b)->at;

    return (x > y) - (x < y);
}

/* Takes out what is there twice, and sums up. */
static void settle(lb_parts *parts)
{
    size_t kept = 0;

    qsort(parts->items, parts->count, sizeof *parts->items, by_address);
    parts->bytes = 0;
    for (size_t i = 0; i < parts->count; i++)
        if (kept == 0 || parts->items[i].at != parts->items[kept - 1].at) {
            parts->items[kept++] = parts->items[i];
            parts->bytes += parts->items[i].bytes;
        }
    parts->count = kept;
}

lb_status lb_parts_of(lb_value value, lb_parts *out)
{
    lb_status status = LB_OK;

    *out = (lb_parts){0};
    switch (value.kind) {
    case LB_KIND_NONE:
        break;
    case LB_KIND_IMAGE:
        status = add_image(out, value.image);
        break;
    case LB_KIND_SCENE:
        status = add_scene(out, value.scene);
        break;
    case LB_KIND_MATERIAL:
        status = add_material(out, value.material);
        break;
    case LB_KIND_TEXTURE:
        status = add_texture(out, value.texture);
        break;
    }
    if (status != LB_OK)
        lb_parts_clear(out);
    else if (out->count > 0)
        settle(out);
    return status;
}

void lb_parts_clear(lb_parts *parts)
{
    lb_free(parts->items);
    *parts = (lb_parts){0};
}

/* ---- The ledger ---- */

lb_status lb_ledger_new(lb_ledger **out)
{
    *out = lb_alloc(1, sizeof **out);
    if (!*out)
        return LB_MEMORY;
    for (int i = 0; i < STRIPES; i++)
        pthread_mutex_init(&(*out)->stripes[i].lock, NULL);
    return LB_OK;
}

void lb_ledger_free(lb_ledger **ledger)
{
    if (!*ledger)
        return;
    for (int i = 0; i < STRIPES; i++)
        pthread_mutex_destroy(&(*ledger)->stripes[i].lock);
    lb_free(*ledger);
    *ledger = NULL;
}

/* Multiplicative hashing: Knuth, The Art of Computer Programming 3, section 6.4, with 2^64 divided
 * by the golden ratio. The bits below are the same for every block of memory. */
static lb_part **bucket_of(lb_ledger *ledger, const void *at, stripe **s)
{
    uint64_t mixed = (uint64_t)((uintptr_t)at >> 4) * UINT64_C(0x9e3779b97f4a7c15);

    *s = &ledger->stripes[mixed >> 60];
    return &(*s)->buckets[mixed >> 53 & (BUCKETS - 1)];
}

static bool is_held(const lb_part *list, const void *at)
{
    for (; list; list = list->next)
        if (list->at == at)
            return true;
    return false;
}

size_t lb_ledger_enter(lb_ledger *ledger, lb_parts *parts)
{
    size_t fresh = 0;

    for (size_t i = 0; i < parts->count; i++) {
        lb_part *part = &parts->items[i];
        stripe *s;
        lb_part **bucket = bucket_of(ledger, part->at, &s);

        pthread_mutex_lock(&s->lock);
        if (!is_held(*bucket, part->at))
            fresh += part->bytes;
        part->next = *bucket;
        *bucket = part;
        pthread_mutex_unlock(&s->lock);
    }
    return fresh;
}

size_t lb_ledger_leave(lb_ledger *ledger, lb_parts *parts)
{
    size_t gone = 0;

    for (size_t i = 0; i < parts->count; i++) {
        lb_part *part = &parts->items[i];
        stripe *s;
        lb_part **bucket = bucket_of(ledger, part->at, &s), **at = bucket;

        pthread_mutex_lock(&s->lock);
        while (*at != part)
            at = &(*at)->next;
        *at = part->next;
        if (!is_held(*bucket, part->at))
            gone += part->bytes;
        pthread_mutex_unlock(&s->lock);
    }
    return gone;
}
