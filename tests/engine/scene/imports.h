/* tests/engine/scene/imports.h: scenes from files written here, for the tests of the readers of
 * OBJ, PLY and STL. What goes wrong in these functions themselves ends the test. */
#ifndef LB_TESTS_SCENE_IMPORTS_H
#define LB_TESTS_SCENE_IMPORTS_H

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/media/media.h"
#include "engine/scene/import.h"

/* A folder of its own, and a scene that was read from a file in it. */
typedef struct {
    char folder[64];
    lb_diag *diag;
    lb_scene *scene;
    lb_status status;
    char messages[8192];
} import_run;

static inline import_run import_begin(void)
{
    import_run r = {.folder = "/tmp/lampblack-import-XXXXXX"};

    if (!mkdtemp(r.folder) || !(r.diag = lb_diag_new()))
        abort();
    return r;
}

static inline void import_path(const import_run *r, const char *name, char out[1024])
{
    snprintf(out, 1024, "%s/%s", r->folder, name);
}

static inline void import_put(const import_run *r, const char *name, const void *bytes,
                              size_t count)
{
    char path[1024];

    import_path(r, name, path);
    if (lb_file_write(NULL, LB_NOWHERE, path, bytes, count))
        abort();
}

static inline void import_text(const import_run *r, const char *name, const char *text)
{
    import_put(r, name, text, strlen(text));
}

/* Reads a file that is there already, in this folder or by its whole path. */
static inline void import_read(import_run *r, const char *name)
{
    lb_import_options options = {.working = LB_SPACE_LINEAR_REC709};
    char path[1024];
    void *bytes = NULL;
    size_t count;
    FILE *out;

    if (name[0] == '/')
        snprintf(path, sizeof path, "%s", name);
    else
        import_path(r, name, path);
    lb_scene_unref(&r->scene);
    if (lb_file_read(r->diag, LB_NOWHERE, path, (size_t)1 << 30, &bytes, &count))
        abort();
    r->status = lb_import_read(NULL, r->diag, LB_NOWHERE, path, bytes, count, &options, &r->scene);
    lb_free(bytes);
    r->messages[0] = 0;
    if ((out = fmemopen(r->messages, sizeof r->messages, "w"))) {
        lb_diag_print(r->diag, out, false);
        fclose(out);
    }
}

static inline void import_end(import_run *r)
{
    char command[128];

    lb_scene_unref(&r->scene);
    lb_diag_free(&r->diag);
    snprintf(command, sizeof command, "rm -rf '%s'", r->folder);
    if (system(command))
        abort();
}

/* The scene of a text alone; the folder is gone again. */
static inline import_run import_of(const char *name, const void *bytes, size_t count)
{
    import_run r = import_begin();

    import_put(&r, name, bytes, count);
    import_read(&r, name);
    return r;
}

static inline bool import_has_fact(const lb_scene *scene, lb_fact_kind kind, const char *where,
                                   const char *what)
{
    for (size_t i = 0; i < scene->fact_count; i++)
        if (scene->facts[i].kind == kind && strstr(scene->facts[i].where, where) &&
            strstr(scene->facts[i].what, what))
            return true;
    return false;
}

static inline void import_totals(const lb_scene *scene, int64_t *triangles, int64_t *vertices)
{
    *triangles = *vertices = 0;
    for (size_t i = 0; i < scene->item_count; i++)
        for (int32_t k = 0; scene->items[i].mesh && k < scene->items[i].mesh->primitive_count;
             k++) {
            *triangles += scene->items[i].mesh->primitives[k].triangle_count;
            *vertices += scene->items[i].mesh->primitives[k].vertex_count;
        }
}

/* What the renderer relies on. */
static inline void import_expect_sound(const char *name, const lb_scene *scene)
{
    for (size_t i = 0; i < scene->item_count; i++) {
        const lb_mesh *mesh = scene->items[i].mesh;

        cr_expect(scene->items[i].parent < (int32_t)i, "%s: a parent after its child", name);
        for (int32_t k = 0; mesh && k < mesh->primitive_count; k++) {
            const lb_primitive *p = &mesh->primitives[k];

            cr_expect(p->material != NULL, "%s: a primitive without material", name);
            for (size_t t = 0; t < (size_t)p->triangle_count * 3; t++)
                cr_assert(p->indices[t] < (uint32_t)p->vertex_count, "%s: index", name);
            for (int32_t v = 0; v < p->vertex_count; v++) {
                cr_expect(fabsf(lb_vec3_length(p->normals[v]) - 1) < 1e-6f, "%s: normal", name);
                cr_expect(isfinite(p->positions[v].x + p->positions[v].y + p->positions[v].z),
                          "%s: position", name);
            }
        }
    }
}

/* A small RGBA picture, a pixel a word 0xRRGGBBAA. */
static inline void import_picture(const import_run *r, const char *name, int32_t width,
                                  int32_t height, const uint32_t *pixels)
{
    static const char *const names[] = {"R", "G", "B", "A"};
    lb_write_options options = {.depth = LB_DEPTH_8, .view = LB_VIEW_RAW};
    lb_box box = {0, 0, width, height};
    lb_image *image;
    char path[1024];

    import_path(r, name, path);
    if (lb_image_new(box, box, &image))
        abort();
    for (int c = 0; c < 4; c++) {
        lb_plane *plane;

        if (lb_plane_new_raw(box, &plane))
            abort();
        for (int32_t i = 0; i < width * height; i++) {
            float alpha = (float)(pixels[i] & 255) / 255;
            float value = (float)(pixels[i] >> (24 - 8 * c) & 255) / 255;

            lb_plane_row_to_fill(plane, i / width)[i % width] = c < 3 ? value * alpha : alpha;
        }
        if (lb_image_add(image, names[c], plane))
            abort();
        lb_plane_unref(&plane);
    }
    if (lb_media_write(NULL, NULL, LB_NOWHERE, path, image, &options))
        abort();
    lb_image_unref(&image);
}

#endif
