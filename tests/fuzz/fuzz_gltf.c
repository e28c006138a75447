/* tests/fuzz/fuzz_gltf.c: random files for lb_gltf_read, by libFuzzer. Not part of the build.
 *
 * In the repository's root, with clang-14, libfuzzer-14-dev and libclang-rt-14-dev:
 *
 *   eval sources="(engine/{base,image,color,media,scene}/[a-z]*.c)"
 *   flags="-std=c11 -D_GNU_SOURCE -DLB_NO_CLONES -I. -isystem /usr/include/stb -g -O1"
 *   libs="$(pkg-config --cflags --libs libxxhash libutf8proc jansson spng zlib OpenEXR) -lm"
 *   clang-14 $flags -fsanitize=fuzzer,address,undefined -o /tmp/fuzz_gltf \
 *       tests/fuzz/fuzz_gltf.c "${sources[@]}" $libs -lOpenEXRCore-3_1 -lpthread
 *   mkdir -p /tmp/scenes && find tests/data/gltf* -name '*.gl*' -size -16k \
 *       -exec cp --backup=t {} /tmp/scenes \;
 *   /tmp/fuzz_gltf -max_total_time=60 -rss_limit_mb=2000 -timeout=10 -max_len=16384 /tmp/scenes
 *
 * Buffers and pictures have to be in the file: the folder that it is read from is not there. What
 * it finds becomes a file in tests/data/gltf-invalid. */
#include <stdlib.h>

#include "engine/base/memory.h"
#include "engine/scene/gltf.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static lb_status refuse_file(void *context, const char *path)
{
    (void)context;
    return path[0] ? LB_OK : LB_INVALID;
}

/* Looks at everything that the renderer looks at. */
static void use(const lb_scene *scene)
{
    static const float step[2] = {0.1f, 0.02f};
    lb_vec3d low, high;
    float out[4];

    for (int i = -1; i < 3; i++)
        if (lb_scene_bounds(scene, i * scene->duration_s / 2, &low, &high) && !(low.x <= high.x))
            __builtin_trap();
    for (size_t i = 0; i < scene->item_count; i++) {
        const lb_mesh *mesh = scene->items[i].mesh;

        for (int32_t k = 0; mesh && k < mesh->primitive_count; k++) {
            const lb_material *m = mesh->primitives[k].material;

            for (int32_t slot = 0; slot < LB_SLOT_COUNT; slot++)
                if (m->maps[slot])
                    lb_texture_sample(m->maps[slot], 1.7f, -0.3f, step, step, out);
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    lb_gltf_options options = {.working = LB_SPACE_ACESCG};
    lb_diag *diag = lb_diag_new();
    lb_scene *scene = NULL, *copy = NULL;
    lb_status status;

    lb_memory_set_budget((size_t)1 << 30);
    if (!diag)
        return 0;
    status = lb_gltf_read(NULL, diag, LB_NOWHERE, "nowhere/x.gltf", data, size, &options, &scene);
    if ((status == LB_OK) != (scene != NULL) ||
        (status != LB_OK && lb_diag_count(diag, LB_ERROR) == 0))
        __builtin_trap();
    if (scene) {
        use(scene);
        if (lb_scene_copy(scene, &copy) == LB_OK)
            use(copy);
        lb_scene_unref(&copy);
    }
    lb_scene_unref(&scene);
    status = lb_gltf_files(diag, LB_NOWHERE, "nowhere/x.gltf", data, size, refuse_file, NULL);
    if (lb_gltf_is_binary(data, size) && !lb_gltf_is(data, size))
        __builtin_trap();
    lb_diag_free(&diag);
    return 0;
}
