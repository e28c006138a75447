/* engine/scene/import.c: which format a file is of, and its reader. */
#include "engine/scene/import.h"

#include <string.h>

#include "engine/base/file.h"
#include "engine/scene/fbx.h"
#include "engine/scene/gltf.h"
#include "engine/scene/obj.h"
#include "engine/scene/ply.h"
#include "engine/scene/stl.h"

const char *const lb_import_format_names[] = {"none", "gltf", "obj", "ply", "stl", "fbx", NULL};

static bool ends_like(const char *path, const char *extension)
{
    const char *end = lb_path_extension(path);

    if (strlen(end) != strlen(extension))
        return false;
    for (size_t i = 0; end[i]; i++)
        if ((end[i] >= 'A' && end[i] <= 'Z' ? end[i] - 'A' + 'a' : end[i]) != extension[i])
            return false;
    return true;
}

bool lb_import_is_name(const char *path)
{
    static const char *const extensions[] = {"gltf", "glb", "obj", "ply", "stl", "fbx"};

    for (size_t i = 0; i < sizeof extensions / sizeof extensions[0]; i++)
        if (ends_like(path, extensions[i]))
            return true;
    return false;
}

lb_import_format lb_import_format_of(const char *path, const void *bytes, size_t count)
{
    if (lb_gltf_is(bytes, count))
        return LB_IMPORT_GLTF;
    if (lb_fbx_is(bytes, count))
        return LB_IMPORT_FBX;
    if (lb_ply_is(bytes, count))
        return LB_IMPORT_PLY;
    if (ends_like(path, "obj"))
        return LB_IMPORT_OBJ;
    return ends_like(path, "stl") || lb_stl_is(bytes, count) ? LB_IMPORT_STL : LB_IMPORT_NONE;
}

lb_status lb_import_check(lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                          size_t count)
{
    if (lb_import_format_of(path, bytes, count) != LB_IMPORT_NONE)
        return LB_OK;
    return lb_fail(diag, LB_UNSUPPORTED, loc,
                   "'%s' is none of what is read: glTF 2.0 (.gltf, .glb), OBJ, PLY, STL, FBX",
                   path);
}

lb_status lb_import_read(lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                         const void *bytes, size_t count, const lb_import_options *options,
                         lb_scene **out)
{
    lb_gltf_options gltf = {.working = options->working};
    lb_fbx_options fbx = {.working = options->working};

    *out = NULL;
    switch (lb_import_format_of(path, bytes, count)) {
    case LB_IMPORT_GLTF:
        return lb_gltf_read(pool, diag, loc, path, bytes, count, &gltf, out);
    case LB_IMPORT_FBX:
        return lb_fbx_read(pool, diag, loc, path, bytes, count, &fbx, out);
    case LB_IMPORT_OBJ:
        return lb_obj_read(pool, diag, loc, path, bytes, count, options, out);
    case LB_IMPORT_PLY:
        return lb_ply_read(pool, diag, loc, path, bytes, count, options, out);
    case LB_IMPORT_STL:
        return lb_stl_read(pool, diag, loc, path, bytes, count, options, out);
    default:
        return lb_import_check(diag, loc, path, bytes, count);
    }
}

lb_status lb_import_files(lb_diag *diag, lb_loc loc, const char *path, const void *bytes,
                          size_t count, lb_import_file_fn fn, void *context)
{
    switch (lb_import_format_of(path, bytes, count)) {
    case LB_IMPORT_GLTF:
        return lb_gltf_files(diag, loc, path, bytes, count, fn, context);
    case LB_IMPORT_FBX:
        return lb_fbx_files(diag, loc, path, bytes, count, fn, context);
    case LB_IMPORT_OBJ:
        return lb_obj_files(diag, loc, path, bytes, count, fn, context);
    case LB_IMPORT_PLY:
        return lb_ply_files(diag, loc, path, bytes, count, fn, context);
    default:
        return LB_OK;
    }
}
