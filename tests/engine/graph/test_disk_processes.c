/* tests/engine/graph/test_disk_processes.c: one folder, several processes, some of which die. */
#include <criterion/criterion.h>
#include <signal.h>
#include <sys/wait.h>
#include <time.h>

#include "engine/graph/disk.h"
#include "engine/graph/disk_file.h"
#include "engine/graph/disk_folder.h"
#include "tests/support/cache_images.h"

#define ALL UINT64_C(15) /* A B G R */

static const lb_box box = {0, 0, 64, 48};
static char folder[64];

static void enter(void)
{
    make_folder(folder);
}
static void leave(void)
{
    remove_folder(folder);
}
TestSuite(disk_processes, .init = enter, .fini = leave, .timeout = 120);

static uint64_t entry_bytes(void)
{
    return sizeof(lb_disk_head) + 4 * 64 * 48 * 4;
}

/* Finds or makes things out of `count`; false: something that was found is not right. */
static bool work(lb_disk *disk, uint64_t seed, int steps, uint64_t count)
{
    lb_desc desc = image_desc(box);
    bool good = true;

    for (int i = 0; i < steps && good; i++) {
        lb_key key;
        lb_value value = {0};

        seed = seed * UINT64_C(6364136223846793005) + 1442695040888963407u; /* Knuth's MMIX */
        key = image_key((seed >> 33) % count);
        if (!lb_disk_find(disk, key, &desc, box, ALL, &value)) {
            value = (lb_value){.kind = LB_KIND_IMAGE, .image = image_new(key, box)};
            lb_disk_put(disk, key, &desc, box, ALL, value.image, 1, true);
        }
        good = value.image && image_is_right(value.image, key, box, ALL);
        lb_value_unref(&value);
    }
    return good;
}

/* Entries that are not whole. */
static bool visit(void *context, const lb_disk_found *found)
{
    int fd = lb_disk_found_open(found);
    lb_disk_head head;

    if (!found->is_temporary &&
        (fd < 0 || lb_disk_file_head(fd, &head) != LB_OK || !lb_key_equal(head.key, found->key) ||
         lb_disk_file_check(fd, &head) != LB_OK))
        ++*(int *)context;
    if (fd >= 0)
        close(fd);
    return true;
}

static int count_broken(void)
{
    int broken = 0;

    cr_assert_eq(lb_disk_walk(folder, visit, &broken), LB_OK);
    return broken;
}

/* Runs in a child; its exit status is 0 when all that it found was right and nobody complained. It
 * writes a byte to `ready` after its first thing; -1: it does not. */
static pid_t start(uint64_t seed, int steps, uint64_t count, uint64_t limit, int ready)
{
    pid_t child = fork();

    if (child == 0) {
        lb_diag *diag = lb_diag_new();
        lb_disk *disk = NULL;
        bool good = lb_disk_open(diag, folder, limit, &disk) == LB_OK &&
                    work(disk, seed, 1, count) && (ready < 0 || write(ready, "", 1) == 1) &&
                    work(disk, seed, steps, count);

        lb_disk_free(&disk);
        good = good && lb_diag_count(diag, LB_WARNING) == 0;
        lb_diag_free(&diag);
        _exit(good ? 0 : 1);
    }
    cr_assert_gt(child, 0);
    return child;
}

/* Four processes want 60 things from a folder with room for 16. */
Test(disk_processes, share_a_small_folder)
{
    const uint64_t limit = 16 * entry_bytes();
    pid_t children[4];
    lb_disk_count count;

    for (uint64_t i = 0; i < 4; i++)
        children[i] = start(i + 1, 400, 60, limit, -1);
    for (int i = 0; i < 4; i++) {
        int status;

        cr_assert_eq(waitpid(children[i], &status, 0), children[i]);
        cr_expect(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    }
    cr_expect_eq(count_broken(), 0);
    cr_assert_eq(lb_disk_survey(folder, NULL, &count), LB_OK);
    cr_expect_eq(count.temporaries, 0);
    cr_expect_leq(count.bytes, limit + 4 * (limit / 16), "each may write a sixteenth unseen");
    cr_expect_geq(count.entries, 4, "not emptied by all of them making room at once");
}

/* Writers that are killed at any moment leave whole entries only, and temporaries that go after a
 * day. */
Test(disk_processes, killed)
{
    lb_disk_count count;
    char command[256];
    int unfinished = 0;

    for (int i = 0; i < 40; i++) {
        struct timespec nap = {0, 200000L * (1 + i % 20)};
        int status, ready[2];
        char byte;
        pid_t child;

        cr_assert_eq(pipe(ready), 0);
        child = start((uint64_t)i, 1000000, 1000000, 0, ready[1]);
        cr_assert_eq(read(ready[0], &byte, 1), 1);
        close(ready[0]);
        close(ready[1]);
        nanosleep(&nap, NULL);
        kill(child, SIGKILL);
        cr_assert_eq(waitpid(child, &status, 0), child);
        cr_expect(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
    }
    cr_expect_eq(count_broken(), 0);
    cr_assert_eq(lb_disk_survey(folder, NULL, &count), LB_OK);
    cr_expect_geq(count.entries, 30, "about one each at least");
    unfinished = (int)count.temporaries;
    snprintf(command, sizeof command, "find %s -name '*.part' -exec touch -d '25 hours ago' {} +",
             folder);
    cr_assert_eq(system(command), 0);
    cr_assert_eq(lb_disk_survey(folder, NULL, &count), LB_OK);
    cr_expect_eq(count.temporaries, 0, "of %d", unfinished);
}

/* One clears the folder again and again under the hands of two others. */
Test(disk_processes, cleared_meanwhile)
{
    pid_t children[2];
    int left = 2;

    for (uint64_t i = 0; i < 2; i++)
        children[i] = start(i + 9, 400, 50, 0, -1);
    while (left > 0) {
        lb_disk_count removed;
        int status;
        pid_t ended;

        cr_expect_eq(lb_disk_clear(folder, &removed), LB_OK);
        while ((ended = waitpid(-1, &status, WNOHANG)) > 0) {
            cr_expect(ended == children[0] || ended == children[1]);
            cr_expect(WIFEXITED(status) && WEXITSTATUS(status) == 0, "right, and no warning");
            left--;
        }
    }
    cr_expect_eq(count_broken(), 0);
}
