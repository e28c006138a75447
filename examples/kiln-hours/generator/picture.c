/* examples/kiln-hours/generator/picture.c: pictures to PNG. */
#include "maps.h"

#include "shape.h"

#include <math.h>
#include <spng.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

picture picture_new(int width, int height, int channels)
{
    size_t count = (size_t)width * (size_t)height * (size_t)channels;
    picture p = {width, height, channels, grab(NULL, count, sizeof(float))};

    memset(p.values, 0, count * sizeof(float));
    return p;
}

void picture_free(picture *p)
{
    free(p->values);
    *p = (picture){0};
}

/* Samples in the machine's byte order, as the library wants them. */
static uint8_t *to_samples(const picture *p, int bits, int steps, size_t *bytes)
{
    size_t count = (size_t)p->width * (size_t)p->height * (size_t)p->channels;
    double top = bits == 16 ? 65535 : 255;
    uint8_t *out = grab(NULL, count, (size_t)bits / 8);

    for (size_t i = 0; i < count; i++) {
        double value = clamp01((double)p->values[i]);

        if (steps > 0)
            value = rint(value * steps) / steps;
        unsigned sample = (unsigned)rint(value * top);
        if (bits == 16)
            memcpy(out + 2 * i, &(uint16_t){(uint16_t)sample}, 2);
        else
            out[i] = (uint8_t)sample;
    }
    *bytes = count * (size_t)bits / 8;
    return out;
}

uint8_t *picture_png(const picture *p, int bits, int steps, int is_srgb, size_t *bytes)
{
    size_t count;
    uint8_t *samples = to_samples(p, bits, steps, &count);
    struct spng_ihdr header = {.width = (uint32_t)p->width,
                               .height = (uint32_t)p->height,
                               .bit_depth = (uint8_t)bits,
                               .color_type = p->channels == 3 ? SPNG_COLOR_TYPE_TRUECOLOR
                                                              : SPNG_COLOR_TYPE_GRAYSCALE};
    spng_ctx *context = spng_ctx_new(SPNG_CTX_ENCODER);
    int error = 0;

    if (context == NULL)
        give_up("no memory for a PNG writer");
    spng_set_option(context, SPNG_ENCODE_TO_BUFFER, 1);
    spng_set_option(context, SPNG_IMG_COMPRESSION_LEVEL, 9);
    spng_set_ihdr(context, &header);
    if (is_srgb)
        spng_set_srgb(context, 0);
    error = spng_encode_image(context, samples, count, SPNG_FMT_PNG, SPNG_ENCODE_FINALIZE);
    if (error != 0)
        give_up("PNG: %s", spng_strerror(error));
    uint8_t *png = spng_get_png_buffer(context, bytes, &error);
    if (png == NULL)
        give_up("PNG: %s", spng_strerror(error));
    spng_ctx_free(context);
    free(samples);
    return png;
}

void picture_write(const picture *p, const char *path, int bits, int steps, int is_srgb)
{
    size_t bytes;
    uint8_t *png = picture_png(p, bits, steps, is_srgb, &bytes);
    FILE *file = fopen(path, "wb");

    if (file == NULL || fwrite(png, 1, bytes, file) != bytes || fclose(file) != 0)
        give_up("cannot write %s", path);
    printf("%-42s %4d x %-4d %8zu bytes\n", path, p->width, p->height, bytes);
    free(png);
}
