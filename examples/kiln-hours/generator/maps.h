/* examples/kiln-hours/generator/maps.h: the pictures. */
#ifndef KILN_MAPS_H
#define KILN_MAPS_H

#include <stddef.h>
#include <stdint.h>

/* `channels` numbers a pixel, 0..1, row by row from the top. */
typedef struct picture {
    int width, height, channels;
    float *values;
} picture;

picture picture_new(int width, int height, int channels);
void picture_free(picture *p);
/* bits 8 or 16; values are rounded to `steps` even steps first (0: all that the bits can hold), so
 * that grain does not cost bytes nobody sees. `is_srgb`: values are encoded and tagged so. */
void picture_write(const picture *p, const char *path, int bits, int steps, int is_srgb);
/* The same into memory; free() it. */
uint8_t *picture_png(const picture *p, int bits, int steps, int is_srgb, size_t *bytes);

/* Letters stamped into clay: distance in texels from the nearest edge of a letter, negative
 * inside. Each letter has been set by hand: a little turned, a little off the line. */
picture stamp_distance(const char *text, const char *family, int width, int height,
                       double cap_height, double baseline, double spacing, int *letters);

picture heat_map(void);
void write_maps(const char *folder);

#endif
