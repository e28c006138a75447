/* engine/graph/disk.c: images on disk.
 *
 * One file a key, FOLDER/ab/cdef….plane: a header, then the planes' floats row by row. The header
 * holds an XXH3 of everything behind it and one of itself. Little-endian machines only, as the
 * pixels are stored as they lie in memory. */
#include "engine/graph/disk.h"

#include <stdatomic.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/media/media.h"

/* What a disk is taken to read in a second, for deciding what is worth keeping. */
#define READ_BYTES_PER_S 400e6

struct lb_disk {
    lb_diag *diag;
    char *folder;
    atomic_bool complained;
};

typedef struct header {
    char magic[8]; /* "LBPLANE1" */
    lb_key key;    /* what it is */
    lb_box display, data, box;
    double pixel_aspect;
    uint64_t channels; /* bits of the node's channels; planes follow in their order */
    lb_key body;       /* XXH3 of the pixels */
    lb_key self;       /* XXH3 of the header with this field 0 */
} header;

static const char magic[8] = {'L', 'B', 'P', 'L', 'A', 'N', 'E', '1'};

lb_status lb_disk_new(lb_diag *diag, const char *folder, lb_disk **out)
{
    lb_status status = lb_folder_make(diag, LB_NOWHERE, folder);

    *out = NULL;
    if (status != LB_OK)
        return status;
    *out = lb_alloc(1, sizeof **out);
    if (*out && ((*out)->folder = lb_strdup(folder))) {
        (*out)->diag = diag;
        return LB_OK;
    }
    lb_disk_free(out);
    return lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
}

void lb_disk_free(lb_disk **disk)
{
    if (!*disk)
        return;
    lb_free((*disk)->folder);
    lb_free(*disk);
    *disk = NULL;
}

static void entry_path(const lb_disk *disk, lb_key key, char *path, size_t size)
{
    char text[LB_KEY_TEXT];

    lb_key_text(key, text);
    snprintf(path, size, "%s/%.2s/%s.plane", disk->folder, text, text + 2);
}

static lb_key header_key(header head)
{
    memset(&head.self, 0, sizeof head.self);
    return lb_key_of(&head, sizeof head);
}

static bool box_is_sane(lb_box box)
{
    return box.x0 < box.x1 && box.y0 < box.y1 && box.x0 >= -LB_BOX_LIMIT &&
           box.y0 >= -LB_BOX_LIMIT && box.x1 <= LB_BOX_LIMIT && box.y1 <= LB_BOX_LIMIT;
}

static size_t plane_bytes(lb_box box)
{
    return (size_t)lb_box_width(box) * (size_t)lb_box_height(box) * sizeof(float);
}

/* The planes of an entry whose header was checked. */
static lb_status read_planes(const header *head, const lb_desc *desc, const char *pixels,
                             lb_image *image)
{
    lb_status status = LB_OK;
    size_t row = (size_t)lb_box_width(head->box) * sizeof(float);

    for (int32_t i = 0; i < desc->channels->count && status == LB_OK; i++) {
        lb_plane *plane = NULL;

        if (!(head->channels >> i & 1))
            continue;
        if ((status = lb_plane_new_raw(head->box, &plane)) != LB_OK)
            break;
        for (int32_t y = head->box.y0; y < head->box.y1; y++, pixels += row)
            memcpy(lb_plane_row_to_fill(plane, y), pixels, row);
        status = lb_image_add(image, desc->channels->names[i], plane);
        lb_plane_unref(&plane);
    }
    return status;
}

bool lb_disk_find(lb_disk *disk, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                  lb_value *out)
{
    char path[4096];
    void *bytes = NULL;
    size_t count = 0, body;
    header head;
    lb_image *image = NULL;
    bool good = false;

    entry_path(disk, key, path, sizeof path);
    if (!lb_file_exists(path) ||
        lb_file_read(NULL, LB_NOWHERE, path, LB_MEDIA_MAX_BYTES, &bytes, &count) != LB_OK)
        return false;
    if (count < sizeof head)
        goto broken;
    memcpy(&head, bytes, sizeof head);
    body = count - sizeof head;
    if (memcmp(head.magic, magic, sizeof magic) != 0 ||
        !lb_key_equal(head.self, header_key(head)) || !lb_key_equal(head.key, key) ||
        !box_is_sane(head.box) ||
        body != plane_bytes(head.box) * (size_t)__builtin_popcountll(head.channels) ||
        !lb_key_equal(head.body, lb_key_of((char *)bytes + sizeof head, body)))
        goto broken;
    if (lb_box_contains(head.box, box) && (channels & ~head.channels) == 0 &&
        lb_image_new(head.display, head.data, &image) == LB_OK) {
        lb_image_set_pixel_aspect(image, head.pixel_aspect);
        good = read_planes(&head, desc, (char *)bytes + sizeof head, image) == LB_OK;
    }
    lb_free(bytes);
    if (good)
        *out = (lb_value){.kind = LB_KIND_IMAGE, .image = image};
    else
        lb_image_unref(&image);
    return good;
broken:
    lb_free(bytes);
    unlink(path);
    return false;
}

static char *pack(const header *head, const lb_desc *desc, const lb_image *image, size_t bytes)
{
    char *packed = lb_alloc(1, bytes), *at = packed + sizeof *head;
    size_t row = (size_t)lb_box_width(head->box) * sizeof(float);
    header with = *head;

    if (!packed)
        return NULL;
    for (int32_t i = 0; i < desc->channels->count; i++) {
        const lb_plane *plane = lb_image_find(image, desc->channels->names[i]);

        if (!(head->channels >> i & 1))
            continue;
        for (int32_t y = head->box.y0; y < head->box.y1; y++, at += row)
            memcpy(at, lb_plane_row(plane, y), row);
    }
    with.body = lb_key_of(packed + sizeof with, bytes - sizeof with);
    with.self = header_key(with);
    memcpy(packed, &with, sizeof with);
    return packed;
}

void lb_disk_put(lb_disk *disk, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                 const lb_image *image, double seconds, bool always)
{
    header head = {.key = key,
                   .display = lb_image_display(image),
                   .data = lb_image_data(image),
                   .box = box,
                   .pixel_aspect = lb_image_pixel_aspect(image),
                   .channels = 0};
    char path[4096], *packed, *folder;
    size_t bytes;

    memcpy(head.magic, magic, sizeof magic);
    if (!box_is_sane(box) || !lb_box_equal(lb_image_box(image), box))
        return;
    for (int32_t i = 0; i < desc->channels->count; i++)
        if ((channels >> i & 1) && lb_image_find(image, desc->channels->names[i]))
            head.channels |= (uint64_t)1 << i;
    bytes = sizeof head + plane_bytes(box) * (size_t)__builtin_popcountll(head.channels);
    if (bytes > LB_MEDIA_MAX_BYTES || (!always && seconds < (double)bytes / READ_BYTES_PER_S))
        return;
    entry_path(disk, key, path, sizeof path);
    folder = lb_path_folder(path);
    packed = pack(&head, desc, image, bytes);
    if (!folder || !packed || lb_folder_make(NULL, LB_NOWHERE, folder) != LB_OK ||
        lb_file_write(NULL, LB_NOWHERE, path, packed, bytes) != LB_OK) {
        if (!atomic_exchange(&disk->complained, true))
            lb_warn(disk->diag, LB_NOWHERE, "'%s': results cannot be kept there", disk->folder);
    }
    lb_free(folder);
    lb_free(packed);
}
