/* tests/fuzz/fuzz_fbx.c: random files for lb_fbx_read, by libFuzzer. Not part of the build.
 *
 * In the repository's root, with clang-14, libfuzzer-14-dev and libclang-rt-14-dev:
 *
 *   eval sources="(engine/{base,image,color,media,scene}/[a-z]*.c)"
 *   flags="-std=c11 -D_GNU_SOURCE -DLB_NO_CLONES -I. -isystem /usr/include/stb -g -O1"
 *   libs="$(pkg-config --cflags --libs libxxhash libutf8proc jansson spng zlib libdeflate OpenEXR)"
 *   clang-14 $flags -fsanitize=fuzzer,address,undefined -o /tmp/fuzz_fbx \
 *       tests/fuzz/fuzz_fbx.c "${sources[@]}" $libs -lm -lOpenEXRCore-3_1 -lpthread
 *   mkdir -p /tmp/fbx-corpus && cp tests/data/fbx/[a-z]*.fbx /tmp/fbx-corpus
 *   /tmp/fuzz_fbx -max_total_time=60 -rss_limit_mb=2000 -timeout=10 -max_len=16384 /tmp/fbx-corpus
 *
 * Pictures have to be in the file: the folder that it is read from is not there. */
#include "engine/base/memory.h"
#include "engine/scene/fbx.h"

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
        (void)lb_scene_bounds(scene, i * scene->duration_s / 2, &low, &high);
    for (size_t i = 0; i < scene->item_count; i++) {
        const lb_mesh *mesh = scene->items[i].mesh;

        if (scene->items[i].parent >= (int32_t)i)
            __builtin_trap();
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
    lb_fbx_options options = {.working = LB_SPACE_ACESCG};
    lb_diag *diag = lb_diag_new();
    lb_scene *scene = NULL;
    lb_status status;

    lb_memory_set_budget((size_t)1 << 30);
    if (!diag)
        return 0;
    status = lb_fbx_read(NULL, diag, LB_NOWHERE, "nowhere/x.fbx", data, size, &options, &scene);
    if ((status == LB_OK) != (scene != NULL) ||
        (status != LB_OK && lb_diag_count(diag, LB_ERROR) == 0))
        __builtin_trap();
    if (scene)
        use(scene);
    lb_scene_unref(&scene);
    status = lb_fbx_files(diag, LB_NOWHERE, "nowhere/x.fbx", data, size, refuse_file, NULL);
    if (status == LB_INVALID)
        __builtin_trap();
    lb_diag_free(&diag);
    return 0;
}
