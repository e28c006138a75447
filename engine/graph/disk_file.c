/* engine/graph/disk_file.c: one result on disk.
 *
 * Rows go between the file and the planes without a copy in between, some hundred of them a call
 * (preadv, pwritev), and are hashed while the cache still has them. A file is never mapped: one
 * that another machine cuts short would end the program with SIGBUS. */
#include "engine/graph/disk_file.h"

#include <errno.h>
#include <math.h>
#include <stddef.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

#define ROWS_MOST 128                 /* in one call */
#define BATCH_BYTES ((size_t)1 << 20) /* of rows in one call, about */

static const char magic[8] = {'L', 'B', 'P', 'L', 'A', 'N', 'E', '2'};
_Static_assert(sizeof(lb_disk_head) == 720, "no gaps, which would hold whatever was there");

/* ---- The header ---- */

static lb_key names_key(const lb_channels *channels)
{
    lb_key keys[LB_MAX_CHANNELS];

    for (int32_t i = 0; i < channels->count; i++)
        keys[i] = lb_key_of(channels->names[i], strlen(channels->names[i]));
    return lb_key_of(keys, (size_t)channels->count * sizeof *keys);
}

static lb_key self_key(lb_disk_head head)
{
    memset(&head.self, 0, sizeof head.self);
    return lb_key_of(&head, sizeof head);
}

static size_t row_bytes(const lb_disk_head *head)
{
    return (size_t)lb_box_width(head->box) * sizeof(float);
}

static bool has_plane(const lb_disk_head *head, uint32_t channel)
{
    return (head->channels >> channel & 1) && head->same[channel] == channel;
}

static bool is_constant(const lb_disk_head *head, uint32_t channel)
{
    return head->constant >> channel & 1;
}

static uint64_t stored_bytes(const lb_disk_head *head, uint32_t channel)
{
    if (!has_plane(head, channel))
        return 0;
    return is_constant(head, channel) ? sizeof(float)
                                      : row_bytes(head) * (uint64_t)lb_box_height(head->box);
}

static uint64_t offset_of(const lb_disk_head *head, uint32_t channel)
{
    uint64_t offset = sizeof *head;

    for (uint32_t i = 0; i < channel; i++)
        offset += stored_bytes(head, i);
    return offset;
}

uint64_t lb_disk_head_bytes(const lb_disk_head *head)
{
    return offset_of(head, head->count);
}

/* Within the limit and no empty box but {0, 0, 0, 0}. */
static bool is_normal(lb_box box)
{
    return lb_box_equal(box, lb_box_normal(box));
}

static bool is_sane(const lb_disk_head *head)
{
    uint64_t all = head->count >= 64 ? UINT64_MAX : ((uint64_t)1 << head->count) - 1;

    if (!is_normal(head->display) || !is_normal(head->data) || !is_normal(head->box) ||
        lb_box_is_empty(head->box) || !lb_box_contains(head->data, head->box) ||
        (int64_t)lb_box_width(head->box) * lb_box_height(head->box) > LB_PLANE_MAX_PIXELS ||
        !(head->pixel_aspect > 0 && head->pixel_aspect < HUGE_VAL) || head->channels == 0 ||
        head->count > LB_MAX_CHANNELS || (head->channels & ~all) || (head->constant & ~all))
        return false;
    for (uint32_t i = 0; i < head->count; i++)
        if ((head->channels >> i & 1) && (head->same[i] > i || !has_plane(head, head->same[i])))
            return false;
    return true;
}

lb_status lb_disk_head_make(lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                            const lb_image *image, double seconds, lb_disk_head *out)
{
    const lb_plane *planes[LB_MAX_CHANNELS] = {NULL};
    float value;

    *out = (lb_disk_head){.order = LB_DISK_ORDER,
                          .count = (uint32_t)desc->channels->count,
                          .key = key,
                          .names = names_key(desc->channels),
                          .display = lb_image_display(image),
                          .data = lb_image_data(image),
                          .box = box,
                          .pixel_aspect = lb_image_pixel_aspect(image),
                          .seconds = seconds > 0 ? seconds : 0};
    memcpy(out->magic, magic, sizeof magic);
    for (int32_t i = 0; i < desc->channels->count; i++) {
        planes[i] = lb_image_find(image, desc->channels->names[i]);
        if (!(channels >> i & 1) || !planes[i])
            continue;
        out->channels |= (uint64_t)1 << i;
        if (lb_plane_is_constant(planes[i], &value))
            out->constant |= (uint64_t)1 << i;
        out->same[i] = (uint8_t)i;
        for (int32_t j = 0; j < i && out->same[i] == i; j++)
            if ((out->channels >> j & 1) && planes[j] == planes[i])
                out->same[i] = (uint8_t)j;
    }
    return is_sane(out) && lb_box_contains(lb_image_box(image), box) ? LB_OK : LB_INVALID;
}

bool lb_disk_head_covers(const lb_disk_head *head, const lb_desc *desc, lb_box box,
                         uint64_t channels)
{
    return lb_box_contains(head->box, box) && (channels & ~head->channels) == 0 &&
           head->count == (uint32_t)desc->channels->count &&
           lb_key_equal(head->names, names_key(desc->channels));
}

/* ---- Rows ---- */

/* Reads or writes all of `rows` at `offset`; *got is how much, less only at the end of the file.
 * False: errno says why. */
static bool move_rows(int fd, const struct iovec *rows, int count, uint64_t offset, bool writes,
                      size_t *got)
{
    struct iovec left[ROWS_MOST], *at = left;

    memcpy(left, rows, (size_t)count * sizeof *rows);
    *got = 0;
    while (count > 0) {
        ssize_t moved = writes ? pwritev(fd, at, count, (off_t)(offset + *got))
                               : preadv(fd, at, count, (off_t)(offset + *got));

        if (moved < 0 && errno == EINTR)
            continue;
        if (moved < 0)
            return false;
        if (moved == 0) {
            errno = ENOSPC;
            return !writes;
        }
        *got += (size_t)moved;
        for (; count > 0 && (size_t)moved >= at->iov_len; count--, at++)
            moved -= (ssize_t)at->iov_len;
        if (count > 0) {
            at->iov_base = (char *)at->iov_base + moved;
            at->iov_len -= (size_t)moved;
        }
    }
    return true;
}

/* Moves a block of `bytes` and adds it to the hash. Short: LB_FORMAT. */
static lb_status move_batch(int fd, const struct iovec *rows, int count, uint64_t offset,
                            bool writes, lb_hasher *hasher)
{
    size_t got, wanted = 0;

    for (int i = 0; i < count; i++)
        wanted += rows[i].iov_len;
    if (!move_rows(fd, rows, count, offset, writes, &got))
        return LB_IO;
    if (got != wanted)
        return LB_FORMAT;
    for (int i = 0; i < count; i++)
        lb_hash_bytes(hasher, rows[i].iov_base, rows[i].iov_len);
    return LB_OK;
}

/* Where row y of the file's box lies in a plane; one that is read has that very box. */
typedef struct rows_of {
    const lb_disk_head *head;
    lb_plane *plane; /* NULL: `scratch` takes every row */
    float *scratch;
} rows_of;

static void *row_at(const rows_of *rows, int32_t y)
{
    if (!rows->plane)
        return rows->scratch;
    return (float *)lb_plane_row(rows->plane, y) +
           (rows->head->box.x0 - lb_plane_box(rows->plane).x0);
}

/* All rows of one plane, in batches. */
static lb_status move_plane(int fd, const rows_of *rows, uint64_t offset, bool writes,
                            lb_hasher *hasher)
{
    lb_box box = rows->head->box;
    size_t bytes = row_bytes(rows->head);
    int32_t most = (int32_t)(BATCH_BYTES / bytes);
    lb_status status = LB_OK;

    most = most < 1 || !rows->plane ? 1 : most > ROWS_MOST ? ROWS_MOST : most;
    for (int32_t y = box.y0; y < box.y1 && status == LB_OK; y += most) {
        struct iovec batch[ROWS_MOST];
        int32_t count = box.y1 - y < most ? box.y1 - y : most;

        for (int32_t i = 0; i < count; i++)
            batch[i] = (struct iovec){row_at(rows, y + i), bytes};
        status = move_batch(fd, batch, count, offset, writes, hasher);
        offset += (uint64_t)count * bytes;
    }
    return status;
}

static uint64_t sum_of(const lb_hasher *hasher)
{
    return lb_hasher_key(hasher).low;
}

/* ---- Whole files ---- */

lb_status lb_disk_file_write(int fd, const lb_disk_head *head, const lb_desc *desc,
                             const lb_image *image)
{
    lb_disk_head with = *head;
    struct iovec start = {&with, sizeof with};
    lb_hasher *hasher = lb_hasher_new();
    uint64_t offset = sizeof with;
    lb_status status = hasher ? LB_OK : LB_MEMORY;
    size_t got;

    for (uint32_t i = 0; i < head->count && status == LB_OK; i++) {
        float value;
        struct iovec one = {&value, sizeof value};
        rows_of rows = {head, NULL, NULL};

        if (!has_plane(head, i))
            continue;
        lb_hasher_reset(hasher);
        rows.plane = (lb_plane *)lb_image_find(image, desc->channels->names[i]); /* only read */
        if (is_constant(head, i) && lb_plane_is_constant(rows.plane, &value))
            status = move_batch(fd, &one, 1, offset, true, hasher);
        else
            status = move_plane(fd, &rows, offset, true, hasher);
        with.sums[i] = sum_of(hasher);
        offset += stored_bytes(head, i);
    }
    with.self = self_key(with);
    if (status == LB_OK && !move_rows(fd, &start, 1, 0, true, &got))
        status = LB_IO;
    lb_hasher_free(&hasher);
    return status;
}

lb_status lb_disk_file_head(int fd, lb_disk_head *out)
{
    struct iovec start = {out, sizeof *out};
    struct stat info;
    size_t got;

    if (fstat(fd, &info) != 0 || !S_ISREG(info.st_mode) ||
        !move_rows(fd, &start, 1, 0, false, &got))
        return LB_IO;
    if (got != sizeof *out || memcmp(out->magic, magic, sizeof magic) != 0 ||
        out->order != LB_DISK_ORDER || !lb_key_equal(out->self, self_key(*out)) || !is_sane(out) ||
        (uint64_t)info.st_size != lb_disk_head_bytes(out))
        return LB_FORMAT;
    return LB_OK;
}

/* Reads the plane of channel i and checks it. */
static lb_status read_plane(int fd, const lb_disk_head *head, uint32_t i, lb_hasher *hasher,
                            lb_plane **out)
{
    float value = 0;
    struct iovec one = {&value, sizeof value};
    rows_of rows = {head, NULL, NULL};
    lb_status status;

    lb_hasher_reset(hasher);
    if (is_constant(head, i)) {
        if ((status = move_batch(fd, &one, 1, offset_of(head, i), false, hasher)) == LB_OK)
            status = lb_plane_new_constant(head->box, value, out);
    } else if ((status = lb_plane_new_raw(head->box, out)) == LB_OK) {
        rows.plane = *out;
        status = move_plane(fd, &rows, offset_of(head, i), false, hasher);
    }
    if (status == LB_OK && sum_of(hasher) != head->sums[i])
        status = LB_FORMAT;
    return status;
}

lb_status lb_disk_file_read(int fd, const lb_disk_head *head, const lb_desc *desc,
                            uint64_t channels, lb_image **out)
{
    lb_plane *planes[LB_MAX_CHANNELS] = {NULL};
    lb_hasher *hasher = lb_hasher_new();
    lb_status status = hasher ? lb_image_new(head->display, head->data, out) : LB_MEMORY;

    if (status == LB_OK)
        lb_image_set_pixel_aspect(*out, head->pixel_aspect);
    for (uint32_t i = 0; i < head->count && status == LB_OK; i++) {
        uint32_t from = head->same[i];

        if (!(channels & head->channels & (uint64_t)1 << i))
            continue;
        if (!planes[from])
            status = read_plane(fd, head, from, hasher, &planes[from]);
        if (status == LB_OK)
            status = lb_image_add(*out, desc->channels->names[i], planes[from]);
    }
    for (uint32_t i = 0; i < head->count; i++)
        lb_plane_unref(&planes[i]);
    if (status != LB_OK)
        lb_image_unref(out);
    lb_hasher_free(&hasher);
    return status;
}

lb_status lb_disk_file_check(int fd, const lb_disk_head *head)
{
    rows_of rows = {head, NULL, NULL};
    lb_hasher *hasher = lb_hasher_new();
    uint64_t offset = sizeof *head;
    lb_status status = LB_OK;

    rows.scratch = lb_block_new(row_bytes(head));
    if (!hasher || !rows.scratch)
        status = LB_MEMORY;
    for (uint32_t i = 0; i < head->count && status == LB_OK; i++) {
        struct iovec one = {rows.scratch, sizeof(float)};

        if (!has_plane(head, i))
            continue;
        lb_hasher_reset(hasher);
        status = is_constant(head, i) ? move_batch(fd, &one, 1, offset, false, hasher)
                                      : move_plane(fd, &rows, offset, false, hasher);
        if (status == LB_OK && sum_of(hasher) != head->sums[i])
            status = LB_FORMAT;
        offset += stored_bytes(head, i);
    }
    lb_block_free(rows.scratch);
    lb_hasher_free(&hasher);
    return status;
}
