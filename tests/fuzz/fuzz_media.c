/* tests/fuzz/fuzz_media.c: random files for lb_media_probe, _decode and _read, by libFuzzer. Not
 * part of the build.
 *
 * In the repository's root, with clang-14, libfuzzer-14-dev and libclang-rt-14-dev:
 *
 *   eval sources="(engine/{base,image,color,media}/[a-z]*.c)"
 *   flags="-std=c11 -D_GNU_SOURCE -DLB_NO_CLONES -I. -isystem /usr/include/stb -g -O1 -fwrapv"
 *   libs="$(pkg-config --cflags --libs libxxhash libutf8proc spng zlib OpenEXR) -lm"
 *   clang-14 $flags -fsanitize=fuzzer,address,undefined -o /tmp/fuzz_media \
 *       tests/fuzz/fuzz_media.c "${sources[@]}" $libs -lOpenEXRCore-3_1 -lpthread
 *   mkdir -p /tmp/pictures && find tests/data/exr tests/data/png -type f -size -12k \
 *       -exec cp --backup=t {} /tmp/pictures \;
 *   /tmp/fuzz_media -max_total_time=60 -rss_limit_mb=2000 -timeout=10 -max_len=16384 /tmp/pictures
 *
 * The last byte chooses the name and what is asked for. What it finds becomes a test beside
 * tests/engine/media. */
#include <stdlib.h>

#include "engine/media/media.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* A picture that came must be one. */
static void look(lb_status status, lb_image **image)
{
    if ((status == LB_OK) != (*image != NULL))
        abort();
    if (status == LB_OK && lb_box_is_empty(lb_image_display(*image)))
        abort();
    lb_image_unref(image);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char *const names[] = {"a.tga", "a"};
    lb_media_wish wish = {LB_SPACE_SRGB, LB_SPACE_ACESCG};
    const char *name;
    lb_media_info info;
    lb_image *image;
    unsigned how;

    if (size == 0)
        return 0;
    how = data[--size];
    name = names[how & 1];
    lb_memory_set_budget((size_t)256 << 20);
    if (lb_media_probe(NULL, LB_NOWHERE, name, data, size, &info) == LB_OK)
        lb_media_info_clear(&info);
    if (how & 2)
        look(lb_media_read_memory(NULL, NULL, LB_NOWHERE, name, data, size, &wish, &image), &image);
    else
        look(lb_media_decode(NULL, NULL, LB_NOWHERE, name, data, size, how & 4, &image), &image);
    return 0;
}
