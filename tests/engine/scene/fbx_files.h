/* tests/engine/scene/fbx_files.h: scenes of tests/data/fbx, each in three encodings. */
#ifndef LB_TESTS_SCENE_FBX_FILES_H
#define LB_TESTS_SCENE_FBX_FILES_H

#include "engine/scene/fbx.h"
#include "tests/engine/scene/files.h"

#define FBX_ENCODINGS 3
static const char *const fbx_encodings[FBX_ENCODINGS] = {"text", "7400", "7500"};

static inline void *fbx_load(const char *name, int encoding, size_t *count, char path[512])
{
    snprintf(path, 512, "%s/fbx/%s-%s.fbx", LB_TEST_DATA, name, fbx_encodings[encoding]);
    return files_load(path, count);
}

static inline lb_status fbx_read_bytes(lb_diag *diag, const char *path, const void *bytes,
                                       size_t count, lb_scene **out)
{
    lb_fbx_options options = {.working = LB_SPACE_LINEAR_REC709};

    return lb_fbx_read(NULL, diag, LB_NOWHERE, path, bytes, count, &options, out);
}

/* Ends the test if it cannot be read. */
static inline lb_scene *fbx_scene(const char *name, int encoding)
{
    lb_diag *diag = lb_diag_new();
    char path[512];
    size_t count;
    void *bytes = fbx_load(name, encoding, &count, path);
    lb_scene *scene;

    if (fbx_read_bytes(diag, path, bytes, count, &scene))
        files_die(files_messages(diag), path);
    lb_diag_free(&diag);
    lb_free(bytes);
    return scene;
}

static inline const lb_item *fbx_item(const lb_scene *scene, const char *name)
{
    for (size_t i = 0; i < scene->item_count; i++)
        if (strcmp(scene->items[i].name, name) == 0)
            return &scene->items[i];
    files_die("no such item", name);
    return NULL;
}

static inline lb_mat4 fbx_world(const lb_scene *scene, const lb_item *item, double time_s)
{
    lb_mat4 *world = lb_alloc(scene->item_count, sizeof *world), out;

    if (!world)
        files_die("no memory", item->name);
    lb_scene_pose(scene, time_s, world, NULL);
    out = world[item - scene->items];
    lb_free(world);
    return out;
}

#endif
