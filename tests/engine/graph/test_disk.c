/* tests/engine/graph/test_disk.c: what comes back from disk is what went there, or nothing: after
 * any damage, in any folder. Several processes are in test_disk_processes.c. */
#include <criterion/criterion.h>
#include <math.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>

#include "engine/base/file.h"
#include "tests/support/disk_run.h"

TestSuite(disk, .init = enter, .fini = leave);

static unsigned char *load(const char *path, size_t *count)
{
    void *bytes = NULL;

    cr_assert_eq(lb_file_read(NULL, LB_NOWHERE, path, 1 << 20, &bytes, count), LB_OK);
    return bytes;
}

static void store(const char *path, const void *bytes, size_t count)
{
    FILE *file = fopen(path, "wb");

    cr_assert_not_null(file);
    cr_assert_eq(fwrite(bytes, 1, count, file), count);
    fclose(file);
}

/* ---- There and back ---- */

/* Bits stay as they are (quiet NaN with a payload, infinity, -0, the smallest number), also of
 * constant planes and of planes under several names; only the wanted channels come back, and of a
 * larger image the box that was put. */
Test(disk, there_and_back)
{
    static const uint32_t odd[] = {0x7fc12345, 0xff800000, 0x80000000, 1, 0x7f7fffff};
    static const char *const names[] = {"A", "B", "G", "R", "depth.Z", NULL};
    lb_arena *arena = lb_arena_new();
    lb_box all = {-5, 0, 9, 9};
    lb_desc desc = {LB_KIND_IMAGE, {0, 0, 6, 6}, {-9, -9, 9, 9}, 2, lb_channels_make(arena, names)};
    lb_disk *disk = open_disk(NULL, 0);
    lb_image *image = NULL;
    lb_plane *one = NULL, *constant = NULL;
    lb_value value = {0};
    const lb_plane *g;
    float held;

    cr_assert_eq(lb_image_new(desc.display_window, desc.data_window, &image), LB_OK);
    lb_image_set_pixel_aspect(image, 2);
    cr_assert_eq(lb_plane_new(all, &one), LB_OK);
    cr_assert_eq(lb_plane_new_constant(all, 0.75f, &constant), LB_OK);
    for (int32_t y = all.y0; y < all.y1; y++)
        for (int32_t x = all.x0; x < all.x1; x++)
            memcpy(&lb_plane_row_to_fill(one, y)[x - all.x0], &odd[(x - all.x0 + y) % 5], 4);
    cr_assert_eq(lb_image_add(image, "A", constant), LB_OK);
    cr_assert_eq(lb_image_add(image, "G", one), LB_OK);
    cr_assert_eq(lb_image_add(image, "R", one), LB_OK);
    cr_assert_eq(lb_image_add(image, "depth.Z", constant), LB_OK);
    lb_disk_put(disk, image_key(1), &desc, box, 0x1d, image, 1, true);
    cr_expect(lb_disk_has(disk, image_key(1), &desc, box, 0x1d));
    cr_expect(!lb_disk_has(disk, image_key(1), &desc, box, 2), "it had no B");
    cr_expect(!lb_disk_find(disk, image_key(1), &desc, all, 4, &value), "more than was put");
    cr_assert(lb_disk_find(disk, image_key(1), &desc, box, 0xd, &value));
    cr_expect_eq(lb_image_count(value.image), 3);
    cr_expect(lb_box_equal(lb_image_box(value.image), box));
    cr_expect(lb_box_equal(lb_image_display(value.image), desc.display_window));
    cr_expect(lb_box_equal(lb_image_data(value.image), desc.data_window));
    cr_expect_eq(lb_image_pixel_aspect(value.image), 2);
    g = lb_image_find(value.image, "G");
    cr_expect_eq(g, lb_image_find(value.image, "R"), "one plane under two names");
    cr_expect(lb_plane_is_constant(lb_image_find(value.image, "A"), &held) && held == 0.75f);
    for (int32_t y = box.y0; y < box.y1; y++)
        cr_expect_arr_eq(lb_plane_row(g, y), lb_plane_row(one, y) + (box.x0 - all.x0),
                         (size_t)lb_box_width(box) * 4);
    cr_expect_eq(counted().bytes, sizeof(lb_disk_head) + 4 + 7 * 5 * 4 + 0,
                 "one plane, one value (two names each)");
    lb_value_unref(&value);
    lb_plane_unref(&one);
    lb_plane_unref(&constant);
    lb_image_unref(&image);
    lb_disk_free(&disk);
    lb_arena_free(&arena);
}

/* Rows of more than a batch, and more rows than one call moves. */
Test(disk, large)
{
    static const lb_box boxes[] = {{0, 0, 300000, 2}, {0, 0, 3, 1000}, {0, 0, 1024, 700}};
    lb_disk *disk = open_disk(NULL, 0);

    for (uint64_t i = 0; i < 3; i++) {
        lb_desc desc = image_desc(boxes[i]);
        lb_value value = {0};

        put_box(disk, i, boxes[i], 1);
        cr_assert(lb_disk_find(disk, image_key(i), &desc, boxes[i], ALL, &value));
        cr_expect(image_is_right(value.image, image_key(i), boxes[i], ALL));
        lb_value_unref(&value);
    }
    lb_disk_free(&disk);
}

/* Only what is dear enough to be read back sooner, unless `always`; and not twice. */
Test(disk, what_is_written)
{
    lb_disk *disk = open_disk(NULL, 0);
    lb_desc desc = image_desc(box);
    lb_image *image = image_new(image_key(1), box);

    lb_disk_put(disk, image_key(1), &desc, box, ALL, image, 1e-9, false);
    cr_expect(!has(disk, 1, ALL));
    lb_disk_put(disk, image_key(1), &desc, box, 1, image, 1, false);
    cr_expect(has(disk, 1, 1) && !has(disk, 1, ALL));
    lb_disk_put(disk, image_key(1), &desc, box, ALL, image, 1e-9, true);
    cr_expect(has(disk, 1, ALL), "more channels replace fewer");
    cr_expect_eq(lb_disk_stats_of(disk).writes, 2);
    lb_disk_put(disk, image_key(1), &desc, box, ALL, image, 1, true);
    lb_disk_put(disk, image_key(1), &desc, box, 3, image, 1, true);
    cr_expect_eq(lb_disk_stats_of(disk).writes, 2);
    lb_image_unref(&image);
    lb_disk_free(&disk);
}

/* ---- Damage ---- */

/* Every byte changed, one at a time: in the header or a wanted plane the entry is gone for good; in
 * a plane that is not wanted it does not matter until it is. */
Test(disk, every_byte_damaged)
{
    lb_disk *disk = open_disk(NULL, 0);
    size_t count, plane = 7 * 5 * 4;
    unsigned char *good;

    put(disk, 1, 1);
    good = load(path_of(1), &count);
    cr_assert_eq(count, sizeof(lb_disk_head) + 4 * plane);
    for (size_t i = 0; i < count; i++) {
        bool in_last = i >= count - plane;

        good[i] ^= (unsigned char)(1 << (i % 8));
        store(path_of(1), good, count);
        cr_expect_eq(has(disk, 1, 7), in_last, "byte %zu", i);
        cr_expect_eq(is_there(1), in_last, "byte %zu", i);
        cr_expect(!has(disk, 1, ALL), "byte %zu", i);
        cr_expect(!is_there(1), "byte %zu", i);
        good[i] ^= (unsigned char)(1 << (i % 8));
    }
    cr_expect_eq(lb_disk_stats_of(disk).damaged, (int64_t)count);
    store(path_of(1), good, count);
    cr_expect(has(disk, 1, ALL));
    lb_free(good);
    lb_disk_free(&disk);
}

Test(disk, every_length)
{
    lb_disk *disk = open_disk(NULL, 0);
    size_t count;
    unsigned char *good;

    put(disk, 1, 1);
    good = load(path_of(1), &count);
    for (size_t i = 0; i <= count + 9; i++) {
        unsigned char longer[8192] = {0};

        memcpy(longer, good, i < count ? i : count);
        store(path_of(1), longer, i);
        cr_expect_eq(has(disk, 1, ALL), i == count, "%zu bytes", i);
        cr_expect_eq(is_there(1), i == count, "%zu bytes", i);
    }
    lb_free(good);
    lb_disk_free(&disk);
}

/* Headers that are whole (their hash is right) and say something else. */
Test(disk, foreign_headers)
{
    lb_disk *disk = open_disk(NULL, 0);
    size_t count;
    unsigned char *good;

    put(disk, 1, 1);
    good = load(path_of(1), &count);
    for (int i = 0; i < 12; i++) {
        lb_disk_head head;

        memcpy(&head, good, sizeof head);
        switch (i) {
        case 0:
            head.magic[7] = '1';
            break;
        case 1:
            head.order = UINT32_C(0x04030201); /* the other byte order */
            break;
        case 2:
            head.key = image_key(2); /* under another name */
            break;
        case 3:
            head.box = (lb_box){INT32_MIN, INT32_MIN, INT32_MAX, INT32_MAX};
            break;
        case 4:
            head.box = (lb_box){0, 0, 1 << 20, 1 << 20};
            break;
        case 5:
            head.data = (lb_box){0};
            break;
        case 6:
            head.count = UINT32_MAX;
            break;
        case 7:
            head.channels = UINT64_MAX;
            break;
        case 8:
            head.same[0] = 63;
            break;
        case 9:
            head.same[3] = 200;
            break;
        case 10:
            head.pixel_aspect = (double)NAN;
            break;
        case 11:
            head.constant = 1;
            break;
        }
        head.self = (lb_key){0};
        head.self = lb_key_of(&head, sizeof head);
        store(path_of(1), &head, sizeof head);
        cr_assert_eq(truncate(path_of(1), (off_t)count), 0);
        cr_expect(!has(disk, 1, ALL), "%d", i);
        cr_expect(!is_there(1), "%d", i);
    }
    lb_free(good);
    lb_disk_free(&disk);
}

/* The same key with channels of other names is not the same; a pipe, a folder or a link in the
 * place of an entry is none and stays. */
Test(disk, in_the_way)
{
    static const char *const names[] = {"A", "B", "G", "X", NULL};
    lb_arena *arena = lb_arena_new();
    lb_disk *disk = open_disk(NULL, 0);
    lb_desc desc = image_desc(box);
    lb_value value = {0};
    struct stat info;
    char link[LB_DISK_PATH];

    put(disk, 1, 1);
    desc.channels = lb_channels_make(arena, names);
    cr_expect(!lb_disk_find(disk, image_key(1), &desc, box, 1, &value));
    cr_expect(has(disk, 1, ALL));
    cr_assert_eq(unlink(path_of(1)), 0);
    cr_assert_eq(mkfifo(path_of(1), 0600), 0);
    cr_expect(!has(disk, 1, ALL));
    cr_expect(stat(path_of(1), &info) == 0 && S_ISFIFO(info.st_mode));
    cr_assert_eq(unlink(path_of(1)), 0);
    cr_assert_eq(mkdir(path_of(1), 0700), 0);
    cr_expect(!has(disk, 1, ALL) && is_there(1));
    put(disk, 2, 1);
    strcpy(link, path_of(2));
    cr_assert_eq(rmdir(path_of(1)), 0);
    cr_assert_eq(symlink(link, path_of(1)), 0);
    cr_expect(!has(disk, 1, ALL) && has(disk, 2, ALL) && is_there(1));
    lb_disk_free(&disk);
    lb_arena_free(&arena);
}

/* ---- Folders and disks that fail ---- */

Test(disk, folder_disappears)
{
    lb_diag *diag = lb_diag_new();
    lb_disk *disk = open_disk(diag, 0);
    char command[128];

    put(disk, 1, 1);
    snprintf(command, sizeof command, "rm -r %s", folder);
    cr_assert_eq(system(command), 0);
    cr_expect(!has(disk, 1, ALL));
    put(disk, 2, 1);
    cr_expect(has(disk, 2, ALL), "made again");
    cr_expect_eq(lb_diag_count(diag, LB_WARNING), 0);
    lb_disk_free(&disk);
    lb_diag_free(&diag);
}

/* Something that is no folder stands where folders of entries would be: one warning in all. */
Test(disk, cannot_be_written)
{
    lb_diag *diag = lb_diag_new();
    lb_disk *disk = open_disk(diag, 0);
    char name[96];

    for (unsigned i = 0; i < 256; i++) {
        snprintf(name, sizeof name, "%s/%02x", folder, i);
        store(name, "", 0);
    }
    for (uint64_t i = 0; i < 5; i++)
        put(disk, i, 1);
    cr_expect(!has(disk, 1, ALL));
    cr_expect_eq(lb_diag_count(diag, LB_WARNING), 1);
    cr_expect_eq(lb_diag_count(diag, LB_ERROR), 0);
    cr_expect_eq(lb_disk_stats_of(disk).writes, 0);
    lb_disk_free(&disk);
    lb_diag_free(&diag);
}

/* A write that ends half-way, as on a full disk: one warning, no entry, no temporary; what was
 * there is still found. */
Test(disk, full)
{
    lb_diag *diag = lb_diag_new();
    lb_disk *disk = open_disk(diag, 0);
    struct rlimit before, little = {1000, RLIM_INFINITY};

    put(disk, 1, 1);
    signal(SIGXFSZ, SIG_IGN);
    cr_assert_eq(getrlimit(RLIMIT_FSIZE, &before), 0);
    cr_assert_eq(setrlimit(RLIMIT_FSIZE, &little), 0);
    put(disk, 2, 1);
    put(disk, 3, 1);
    cr_assert_eq(setrlimit(RLIMIT_FSIZE, &before), 0);
    cr_expect(has(disk, 1, ALL) && !is_there(2) && !is_there(3));
    cr_expect_eq(counted().temporaries, 0);
    cr_expect_eq(lb_diag_count(diag, LB_WARNING), 1);
    lb_disk_free(&disk);
    lb_diag_free(&diag);
}

Test(disk, cannot_be_opened)
{
    lb_diag *diag = lb_diag_new();
    lb_disk *disk = NULL;
    static char far_too_long[LB_DISK_PATH + 100];
    char name[96];

    snprintf(name, sizeof name, "%s/file", folder);
    store(name, "", 0);
    cr_expect_eq(lb_disk_open(diag, name, 0, &disk), LB_IO);
    cr_expect_null(disk);
    memset(far_too_long, '/', sizeof far_too_long - 1);
    memcpy(far_too_long, folder, strlen(folder));
    cr_expect_neq(lb_disk_open(diag, far_too_long, 0, &disk), LB_OK);
    cr_expect_null(disk);
    cr_expect_eq(lb_diag_count(diag, LB_ERROR), 2);
    lb_diag_free(&diag);
}
