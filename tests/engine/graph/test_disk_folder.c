/* tests/engine/graph/test_disk_folder.c: the folder of kept results: its bound, who goes first,
 * what clearing leaves alone. */
#include <criterion/criterion.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <time.h>

#include "engine/base/file.h"
#include "tests/support/disk_run.h"

TestSuite(disk_folder, .init = enter, .fini = leave);

static void store(const char *path, const void *bytes, size_t count)
{
    FILE *file = fopen(path, "wb");

    cr_assert_not_null(file);
    cr_assert_eq(fwrite(bytes, 1, count, file), count);
    fclose(file);
}

/* ---- Room ---- */

static void set_use(uint64_t number, double ago_s)
{
    struct timespec times[2];

    clock_gettime(CLOCK_REALTIME, &times[0]);
    times[0].tv_sec -= (time_t)ago_s;
    times[1] = times[0];
    cr_assert_eq(utimensat(AT_FDCWD, path_of(number), times, 0), 0);
}

static double use_ago_s(uint64_t number)
{
    struct timespec now;
    struct stat info;

    clock_gettime(CLOCK_REALTIME, &now);
    cr_assert_eq(stat(path_of(number), &info), 0);
    return difftime(now.tv_sec, info.st_mtim.tv_sec);
}

/* Finding notes the use; looking whether it is there does not. */
Test(disk_folder, use_is_noted)
{
    lb_disk *disk = open_disk(NULL, 0);
    lb_desc desc = image_desc(box);

    put(disk, 1, 1);
    set_use(1, 5000);
    cr_expect(lb_disk_has(disk, image_key(1), &desc, box, ALL));
    cr_expect_geq(use_ago_s(1), 4999);
    cr_expect(has(disk, 1, ALL));
    cr_expect_leq(use_ago_s(1), 60);
    set_use(1, 30);
    cr_expect(has(disk, 1, ALL));
    cr_expect_geq(use_ago_s(1), 29, "within the minute it is not noted again");
    lb_disk_free(&disk);
}

/* Who goes: seconds / idle seconds (60 at least), farther apart than the 64 that the key may draw.
 * The bytes are the same. */
Test(disk_folder, shrinks_least_worth_first)
{
    static const struct {
        double seconds, idle_s; /* worth */
    } entries[] = {
        {6e2, 6000},  /* 1e-1 third */
        {6e2, 50},    /* 1e1  fourth */
        {0.06, 6000}, /* 1e-5 first */
        {6e6, 0},     /* 1e5  sixth */
        {0.06, 10},   /* 1e-3 second */
        {6e6, 6000},  /* 1e3  fifth */
    };
    static const int order[] = {2, 4, 0, 1, 5, 3};
    lb_disk *disk = open_disk(NULL, 0);
    lb_disk_count removed;
    uint64_t each;

    for (uint64_t i = 0; i < 6; i++) {
        put(disk, i, entries[i].seconds);
        set_use(i, entries[i].idle_s);
    }
    lb_disk_free(&disk);
    each = counted().bytes / 6;
    for (int left = 6; left-- > 0;) {
        cr_assert_eq(lb_disk_shrink(folder, each * (uint64_t)(left + 1) - 1, NULL, &removed),
                     LB_OK);
        cr_expect_eq(removed.entries, 1);
        cr_expect_eq(removed.bytes, each);
        for (int i = 0; i < 6; i++)
            cr_expect_eq(is_there((uint64_t)order[i]), i >= 6 - left, "%d left: %d", left, i);
    }
}

/* A sequence of 60 frames, ten seconds each, rendered four times into room for 40: keeping what was
 * used last would find nothing at all (each frame goes just before it is asked for again); this
 * finds most of what there is room for. */
Test(disk_folder, sequence_that_does_not_fit)
{
    enum { FRAMES = 60, ROOM = 40, ROUNDS = 4 };
    lb_disk *disk = open_disk(NULL, 0);
    lb_disk_count removed;
    int hits[ROUNDS] = {0};
    uint64_t each = 0;

    for (int i = 0; i < ROUNDS * FRAMES; i++) {
        uint64_t frame = (uint64_t)(i % FRAMES);

        if (is_there(frame))
            hits[i / FRAMES]++;
        else
            put(disk, frame, 2 + 0.01 * (double)(frame * 37 % 11));
        set_use(frame, -10 * i); /* the newest time of the folder is what counts as now */
        each = each ? each : counted().bytes;
        if (counted().bytes > ROOM * each)
            cr_assert_eq(lb_disk_shrink(folder, ROOM * each / 10 * 9, NULL, &removed), LB_OK);
    }
    cr_expect_eq(hits[0], 0);
    for (int round = 1; round < ROUNDS; round++)
        cr_expect_geq(hits[round], ROOM / 2, "round %d: %d", round, hits[round]);
    lb_disk_free(&disk);
}

/* A small one before a large one of the same cost; a damaged one before all. */
Test(disk_folder, shrinks_large_and_damaged_first)
{
    lb_disk *disk = open_disk(NULL, 0);
    lb_disk_count removed;

    put(disk, 1, 1);
    put_box(disk, 2, (lb_box){0, 0, 100, 100}, 1);
    put(disk, 3, 100);
    lb_disk_free(&disk);
    cr_assert_eq(truncate(path_of(3), 100), 0);
    cr_assert_eq(lb_disk_shrink(folder, counted().bytes - 1, NULL, &removed), LB_OK);
    cr_expect(is_there(1) && is_there(2) && !is_there(3));
    cr_assert_eq(lb_disk_shrink(folder, counted().bytes - 1, NULL, &removed), LB_OK);
    cr_expect(is_there(1) && !is_there(2));
}

/* Writing keeps the folder within its bound, also for runs that end at once, and what is dear
 * stays. */
Test(disk_folder, stays_within_its_bound)
{
    const uint64_t each = sizeof(lb_disk_head) + 4 * 7 * 5 * 4, limit = 20 * each;
    lb_disk *disk;

    for (uint64_t run = 0; run < 10; run++) {
        disk = open_disk(NULL, limit);
        for (uint64_t i = 0; i < 10; i++)
            put(disk, 10 * run + i, i == 0 ? 100 : 1);
        lb_disk_free(&disk);
        cr_expect_leq(counted().bytes, limit);
    }
    cr_expect_geq(counted().entries, 17);
    for (uint64_t run = 0; run < 10; run++)
        cr_expect(is_there(10 * run), "run %d", (int)run);
    disk = open_disk(NULL, each - 1);
    put(disk, 1000, 1);
    cr_expect(!is_there(1000), "larger than the whole bound");
    lb_disk_free(&disk);
}

/* ---- Clearing ---- */

/* Temporaries that nobody writes to any more go after a day. */
Test(disk_folder, stale_temporaries)
{
    char names[2][LB_DISK_PATH];
    lb_disk *disk = open_disk(NULL, 0);
    struct timespec old[2];

    put(disk, 1, 1);
    lb_disk_free(&disk);
    clock_gettime(CLOCK_REALTIME, &old[0]);
    for (unsigned i = 0; i < 2; i++) {
        cr_assert(lb_disk_temporary(folder, image_key(1), i, names[i]));
        store(names[i], "half", 4);
        old[0].tv_sec -= (time_t)i * 90000; /* 25 hours */
        old[1] = old[0];
        cr_assert_eq(utimensat(AT_FDCWD, names[i], old, 0), 0);
    }
    cr_expect_eq(counted().temporaries, 1);
    cr_expect(access(names[0], F_OK) == 0 && access(names[1], F_OK) != 0);
    cr_expect_eq(counted().entries, 1);
}

/* Clearing removes entries and temporaries and nothing that only looks a little like them. */
Test(disk_folder, clear_leaves_others_alone)
{
    static const char *const others[] = {"notes.txt",
                                         "00",
                                         "ab/readme",
                                         "ab/0123456789abcdef0123456789abcd.plan",
                                         "ab/0123456789abcdef0123456789abcd.plane.bak",
                                         "ab/0123456789ABCDEF0123456789abcd.plane",
                                         "ab/0123456789abcdef0123456789abc.plane",
                                         "ab/0123456789abcdef0123456789abcde.plane",
                                         "ab/.0123456789abcdef0123456789abcd.plane.12-x.part",
                                         "ab/.0123456789abcdef0123456789abcd.plane.12-3.part~",
                                         "ab/.plane.1-1.part",
                                         "abc/0123456789abcdef0123456789abcd.plane",
                                         "0123456789abcdef0123456789abcd.plane",
                                         "AB/0123456789abcdef0123456789abcd.plane",
                                         "ab/.hidden",
                                         "ab/deep/ab/0123456789abcdef0123456789abcd.plane"};
    char path[LB_DISK_PATH], outside[64];
    lb_disk *disk = open_disk(NULL, 0);
    lb_disk_count removed;
    struct stat info;

    make_folder(outside);
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        char *in;

        snprintf(path, sizeof path, "%s/%s", folder, others[i]);
        in = lb_path_folder(path);
        cr_assert_eq(lb_folder_make(NULL, LB_NOWHERE, in), LB_OK);
        store(path, "mine", 4);
        lb_free(in);
    }
    snprintf(path, sizeof path, "%s/12", folder);
    cr_assert_eq(mkdir(path, 0700), 0); /* an empty folder of somebody's */
    snprintf(path, sizeof path, "%s/0123456789abcdef0123456789abcd.plane", outside);
    store(path, "mine", 4);
    snprintf(path, sizeof path, "%s/cd", folder);
    cr_assert_eq(symlink(outside, path), 0); /* a link to a folder is not followed */
    snprintf(path, sizeof path, "%s/ab/00000000000000000000000000000a.plane", folder);
    cr_assert_eq(mkdir(path, 0700), 0);
    for (uint64_t i = 0; i < 20; i++)
        put(disk, i, 1);
    lb_disk_free(&disk);
    cr_assert(lb_disk_temporary(folder, image_key(3), 7, path));
    store(path, "half", 4);
    cr_assert_eq(lb_disk_clear(folder, &removed), LB_OK);
    cr_expect_eq(removed.entries, 20);
    cr_expect_eq(removed.temporaries, 1);
    cr_expect_eq(counted().entries, 0);
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        snprintf(path, sizeof path, "%s/%s", folder, others[i]);
        cr_expect_eq(access(path, F_OK), 0, "%s", others[i]);
    }
    snprintf(path, sizeof path, "%s/12", folder);
    cr_expect_eq(access(path, F_OK), 0);
    snprintf(path, sizeof path, "%s/0123456789abcdef0123456789abcd.plane", outside);
    cr_expect_eq(access(path, F_OK), 0);
    snprintf(path, sizeof path, "%s/ab/00000000000000000000000000000a.plane", folder);
    cr_expect(stat(path, &info) == 0 && S_ISDIR(info.st_mode));
    for (uint64_t i = 0; i < 20; i++) {
        char *in = lb_path_folder(path_of(i));
        bool was_there = strstr(in, "/00") || strstr(in, "/ab") || strstr(in, "/12");

        cr_expect(was_there || access(in, F_OK) != 0, "folders that are empty now are gone");
        lb_free(in);
    }
    remove_folder(outside);
}
