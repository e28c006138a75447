/* tests/fuzz/fuzz_mesh.c: random files for lb_import_read of OBJ, PLY and STL, by libFuzzer. Not
 * part of the build.
 *
 * In the repository's root, with clang-14, libfuzzer-14-dev and libclang-rt-14-dev:
 *
 *   eval sources="(engine/{base,image,color,media,scene}/[a-z]*.c)"
 *   flags="-std=c11 -D_GNU_SOURCE -DLB_NO_CLONES -I. -isystem /usr/include/stb -g -O1"
 *   libs="$(pkg-config --cflags --libs libxxhash libutf8proc jansson spng zlib libdeflate OpenEXR) -lm"
 *   clang-14 $flags -fsanitize=fuzzer,address,undefined -o /tmp/fuzz_mesh \
 *       tests/fuzz/fuzz_mesh.c "${sources[@]}" $libs -lOpenEXRCore-3_1 -lpthread
 *   mkdir -p /tmp/meshes && for f in tests/data/mesh/[ops]*[!Ld]/[!L]*; do
 *       { case $f in *.obj) printf o;; *.mtl) printf m;; *.ply) printf p;; *) printf s;; esac
 *         cat $f; } >/tmp/meshes/$(basename $f); done
 *   /tmp/fuzz_mesh -max_total_time=60 -rss_limit_mb=2000 -timeout=10 -max_len=16384 /tmp/meshes
 *
 * The first byte chooses the format; m is a material library for an OBJ file that uses it, in a
 * folder of its own below /tmp. What it finds becomes a file in tests/data/mesh. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "engine/base/file.h"
#include "engine/scene/import.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const char use_library[] = "mtllib x.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\n"
                                  "usemtl a\nf 1/1 2/1 3/1\nusemtl b\nf 1 2 3\n";

static lb_status count_file(void *context, const char *path)
{
    ++*(int *)context;
    return path[0] ? LB_OK : LB_INVALID;
}

/* Looks at everything that the renderer looks at. */
static void use(const lb_scene *scene)
{
    lb_vec3d low, high;

    if (lb_scene_bounds(scene, 0, &low, &high) && !(low.x <= high.x))
        __builtin_trap();
    for (size_t i = 0; i < scene->item_count; i++) {
        const lb_mesh *mesh = scene->items[i].mesh;

        for (int32_t k = 0; mesh && k < mesh->primitive_count; k++) {
            const lb_primitive *p = &mesh->primitives[k];

            if (!p->material)
                __builtin_trap();
            for (size_t t = 0; t < (size_t)p->triangle_count * 3; t++)
                if (p->indices[t] >= (uint32_t)p->vertex_count)
                    __builtin_trap();
            for (int32_t v = 0; v < p->vertex_count; v++)
                if (!(lb_vec3_length(p->normals[v]) > 0.99f) ||
                    p->positions[v].x - p->positions[v].x != 0)
                    __builtin_trap();
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static char folder[64];
    lb_import_options options = {.working = LB_SPACE_ACESCG};
    lb_diag *diag = lb_diag_new();
    lb_scene *scene = NULL;
    char path[128], library[128];
    int files = 0;
    lb_status status;

    if (!folder[0]) {
        strcpy(folder, "/tmp/fuzz_mesh_XXXXXX");
        if (!mkdtemp(folder))
            abort();
    }
    lb_memory_set_budget((size_t)1 << 30);
    if (!diag || size == 0) {
        lb_diag_free(&diag);
        return 0;
    }
    snprintf(path, sizeof path, "%s/x.%s", folder,
             data[0] == 'p'   ? "ply"
             : data[0] == 's' ? "stl"
                              : "obj");
    snprintf(library, sizeof library, "%s/x.mtl", folder);
    if (data[0] == 'm') {
        if (lb_file_write(NULL, LB_NOWHERE, library, data + 1, size - 1))
            abort();
        data = (const uint8_t *)use_library;
        size = sizeof use_library - 1;
    } else {
        unlink(library);
        data++;
        size--;
    }
    status = lb_import_read(NULL, diag, LB_NOWHERE, path, data, size, &options, &scene);
    if ((status == LB_OK) != (scene != NULL) ||
        (status != LB_OK && lb_diag_count(diag, LB_ERROR) == 0))
        __builtin_trap();
    if (scene)
        use(scene);
    lb_scene_unref(&scene);
    (void)!lb_import_files(diag, LB_NOWHERE, path, data, size, count_file, &files);
    lb_diag_free(&diag);
    return 0;
}
