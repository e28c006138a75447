/* tests/bench/rival_spng.c: PNG by libspng, to and from memory. */
#include "tests/bench/rivals.h"

#include <spng.h>
#include <stdlib.h>

static int color_type(int channels)
{
    return channels == 4 ? SPNG_COLOR_TYPE_TRUECOLOR_ALPHA : SPNG_COLOR_TYPE_TRUECOLOR;
}

int rival_spng_encode(const void *pixels, int width, int height, int channels, int bits, int level,
                      void **bytes, size_t *count)
{
    spng_ctx *ctx = spng_ctx_new(SPNG_CTX_ENCODER);
    struct spng_ihdr header = {.width = (uint32_t)width,
                               .height = (uint32_t)height,
                               .bit_depth = (uint8_t)bits,
                               .color_type = (uint8_t)color_type(channels)};
    size_t size = (size_t)width * (size_t)height * (size_t)channels * (size_t)(bits / 8);
    int status;

    *bytes = NULL;
    if (!ctx)
        return 1;
    spng_set_option(ctx, SPNG_ENCODE_TO_BUFFER, 1);
    spng_set_option(ctx, SPNG_IMG_COMPRESSION_LEVEL, level);
    if ((status = spng_set_ihdr(ctx, &header)) == 0 &&
        (status = spng_encode_image(ctx, pixels, size, SPNG_FMT_PNG, SPNG_ENCODE_FINALIZE)) == 0)
        *bytes = spng_get_png_buffer(ctx, count, &status);
    spng_ctx_free(ctx);
    return status;
}

int rival_spng_decode(const void *bytes, size_t count, void *pixels, size_t size)
{
    spng_ctx *ctx = spng_ctx_new(0);
    int status;

    if (!ctx)
        return 1;
    if ((status = spng_set_png_buffer(ctx, bytes, count)) == 0)
        status = spng_decode_image(ctx, pixels, size, SPNG_FMT_PNG, 0);
    spng_ctx_free(ctx);
    return status;
}

void rival_spng_free(void *bytes)
{
    free(bytes);
}
