/* tests/engine/cli/test_reference.c: the committed reference pages and pictures are what the
 * program makes of the operators' tables and examples. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/text.h"
#include "engine/media/media.h"
#include "nodes/nodes.h"

#define PAGES LB_SOURCE_DIR "/docs/operators"
#define ANEW "write them anew: lampblack ops --pages docs/operators"

static lb_image *read_picture(const char *folder, const char *name)
{
    const lb_media_wish wish = {.space = LB_SPACE_RAW, .working = LB_SPACE_LINEAR_REC709};
    lb_diag *diag = lb_diag_new();
    lb_image *image = NULL;
    char path[512];

    snprintf(path, sizeof path, "%s/%s.png", folder, name);
    cr_assert_eq(lb_media_read(NULL, diag, LB_NOWHERE, path, &wish, &image), LB_OK, "%s", path);
    lb_diag_free(&diag);
    return image;
}

/* The largest difference of two pictures, in steps of 8 bits. */
static double farthest(const lb_image *a, const lb_image *b)
{
    double most = 0;

    cr_assert_eq(lb_image_count(a), lb_image_count(b));
    for (int32_t i = 0; i < lb_image_count(a); i++) {
        const lb_plane *p = lb_image_plane(a, i), *q = lb_image_plane(b, i);
        lb_box box = lb_plane_box(p);

        cr_assert(lb_box_equal(box, lb_plane_box(q)));
        for (int32_t y = box.y0; y < box.y1; y++)
            for (int32_t x = 0; x < lb_box_width(box); x++)
                most = fmax(most, fabs((double)lb_plane_row(p, y)[x] - lb_plane_row(q, y)[x]));
    }
    return most * 255;
}

static bool same_text(const char *folder, const char *name)
{
    char command[1200];

    snprintf(command, sizeof command, "diff -u '" PAGES "/%s.md' '%s/%s.md' >&2", name, folder,
             name);
    return system(command) == 0;
}

/* Pictures may differ by a step where a compiler or a processor rounds a conversion to 8 bits the
 * other way. */
Test(reference, pages_and_pictures, .timeout = 120)
{
    char folder[] = "/tmp/lampblack-pages-XXXXXX", command[512];
    int32_t pictures = 0;

    cr_assert(mkdtemp(folder));
    snprintf(command, sizeof command,
             "cp " PAGES "/tile.png " PAGES "/stand.gltf %s && '" LB_PROGRAM "' ops --pages %s",
             folder, folder);
    cr_assert_eq(system(command), 0);
    cr_expect(same_text(folder, "README"), ANEW);
    for (const lb_op *const *op = lb_nodes_registry; *op; op++) {
        lb_image *kept, *made;

        cr_expect((*op)->example, "'%s' has no example", (*op)->name);
        cr_expect(same_text(folder, (*op)->name), ANEW);
        if (!(*op)->example)
            continue;
        kept = read_picture(PAGES, (*op)->name);
        made = read_picture(folder, (*op)->name);
        cr_expect_lt(farthest(kept, made), 1.5, "%s.png: " ANEW, (*op)->name);
        lb_image_unref(&kept);
        lb_image_unref(&made);
        pictures++;
    }
    cr_expect_geq(pictures, 30);
    snprintf(command, sizeof command, "rm -r %s", folder);
    cr_expect_eq(system(command), 0);
}

/* Nothing is left of an operator that is gone. */
Test(reference, has_no_page_too_many)
{
    DIR *folder = opendir(PAGES);
    struct dirent *entry;

    cr_assert(folder);
    while ((entry = readdir(folder))) {
        const char *end = strstr(entry->d_name, ".md");
        bool is_known = !end || strcmp(entry->d_name, "README.md") == 0;

        for (const lb_op *const *op = lb_nodes_registry; *op && !is_known; op++)
            is_known = strlen((*op)->name) == (size_t)(end - entry->d_name) &&
                       strncmp((*op)->name, entry->d_name, strlen((*op)->name)) == 0;
        cr_expect(is_known, "%s", entry->d_name);
    }
    closedir(folder);
}
