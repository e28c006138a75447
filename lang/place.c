/* lang/place.c: positions in a text. */
#include "lang/place.h"

#define STRIDE 256

static bool is_start(char byte)
{
    return ((unsigned char)byte & 0xC0) != 0x80;
}

/* Steps over one code point; over as many bytes as belong together in what is not UTF-8. */
static void step(const char *text, size_t bytes, lb_place *place)
{
    if (text[place->byte] == '\n') {
        place->line++;
        place->column = 0;
    }
    place->column++;
    do
        place->byte++;
    while (place->byte < bytes && !is_start(text[place->byte]));
}

size_t lb_place_points(const char *text, size_t bytes)
{
    size_t points = 0;

    for (size_t i = 0; i < bytes; i++)
        points += is_start(text[i]);
    return points;
}

bool lb_place_index_make(const char *text, size_t bytes, lb_place_index *out)
{
    lb_place place = {0, 1, 1};

    *out = (lb_place_index){.text = text, .bytes = bytes};
    out->points = bytes > 0 ? 1 + lb_place_points(text + 1, bytes - 1) : 0;
    if (!(out->marks = lb_alloc(out->points / STRIDE + 1, sizeof *out->marks)))
        return false;
    for (size_t point = 0;; point++) {
        if (point % STRIDE == 0)
            out->marks[point / STRIDE] = place;
        if (place.byte >= bytes)
            return true;
        step(text, bytes, &place);
    }
}

void lb_place_index_clear(lb_place_index *index)
{
    lb_free(index->marks);
    *index = (lb_place_index){0};
}

lb_place lb_place_of(const lb_place_index *index, size_t point)
{
    lb_place place;

    if (point > index->points)
        point = index->points;
    place = index->marks[point / STRIDE];
    for (size_t i = point % STRIDE; i > 0; i--)
        step(index->text, index->bytes, &place);
    return place;
}

lb_place lb_place_of_byte(const lb_place_index *index, size_t byte)
{
    size_t low = 0, high = index->points / STRIDE + 1;
    lb_place place;

    if (byte > index->bytes)
        byte = index->bytes;
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;

        if (index->marks[middle].byte <= byte)
            low = middle;
        else
            high = middle;
    }
    place = index->marks[low];
    while (place.byte < byte)
        step(index->text, index->bytes, &place);
    return place;
}
