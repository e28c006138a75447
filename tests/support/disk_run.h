/* tests/support/disk_run.h: a folder of kept pictures, for tests of it. */
#ifndef LB_TESTS_SUPPORT_DISK_RUN_H
#define LB_TESTS_SUPPORT_DISK_RUN_H

#include <criterion/criterion.h>
#include <unistd.h>

#include "engine/graph/disk.h"
#include "engine/graph/disk_file.h"
#include "engine/graph/disk_folder.h"
#include "tests/support/cache_images.h"

#define ALL UINT64_C(15) /* A B G R */

static const lb_box box = {-3, 2, 4, 7};
static char folder[64];

static inline void enter(void)
{
    make_folder(folder);
}
static inline void leave(void)
{
    remove_folder(folder);
}
static inline lb_disk *open_disk(lb_diag *diag, uint64_t limit)
{
    lb_disk *disk = NULL;

    cr_assert_eq(lb_disk_open(diag, folder, limit, &disk), LB_OK);
    return disk;
}

static inline void put_box(lb_disk *disk, uint64_t number, lb_box area, double seconds)
{
    lb_key key = image_key(number);
    lb_desc desc = image_desc(area);
    lb_image *image = image_new(key, area);

    cr_assert_not_null(image);
    lb_disk_put(disk, key, &desc, area, ALL, image, seconds, true);
    lb_image_unref(&image);
}

static inline void put(lb_disk *disk, uint64_t number, double seconds)
{
    put_box(disk, number, box, seconds);
}

/* Found or not; what is found is right. */
static inline bool has(lb_disk *disk, uint64_t number, uint64_t channels)
{
    lb_desc desc = image_desc(box);
    lb_value value = {0};
    bool hit = lb_disk_find(disk, image_key(number), &desc, box, channels, &value);

    if (hit)
        cr_expect(image_is_right(value.image, image_key(number), box, channels));
    lb_value_unref(&value);
    return hit;
}

static const char *path_of(uint64_t number)
{
    static char path[LB_DISK_PATH];

    cr_assert(lb_disk_path(folder, image_key(number), path));
    return path;
}

static inline bool is_there(uint64_t number)
{
    return access(path_of(number), F_OK) == 0;
}

static inline lb_disk_count counted(void)
{
    lb_disk_count count;

    cr_assert_eq(lb_disk_survey(folder, NULL, &count), LB_OK);
    return count;
}

#endif
