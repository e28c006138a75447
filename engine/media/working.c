/* engine/media/working.c: from what a file holds to what the graph works in. */
#include <string.h>

#include "engine/media/codec.h"

#define ROWS_A_PIECE 16

/* The colour channels of one layer. */
typedef struct colour {
    char layer[LB_CHANNEL_NAME]; /* with its dot; "" for none */
    lb_plane *r, *g, *b, *a, *y; /* lent; NULL where there is none */
} colour;

typedef struct conversion {
    const lb_media_wish *wish;
    const lb_picture *picture;
    const colour *colour;
} conversion;

/* Whether the layer is there and has something to convert. */
static bool find_colour(const lb_picture *picture, const char *channel, colour *out)
{
    static const char *const names[] = {"R", "G", "B", "A", "Y"};
    lb_plane **places[] = {&out->r, &out->g, &out->b, &out->a, &out->y};
    const char *dot = strrchr(channel, '.');
    size_t length = dot ? (size_t)(dot - channel) + 1 : 0;
    char name[LB_CHANNEL_NAME + 2];

    *out = (colour){0};
    memcpy(out->layer, channel, length);
    for (int i = 0; i < 5; i++) {
        snprintf(name, sizeof name, "%s%s", out->layer, names[i]);
        *places[i] = lb_picture_find(picture, name);
    }
    return out->r || out->g || out->b || out->y;
}

/* Colour divided by alpha, where there is any; a pixel without keeps what it has. */
static void divide_row(float *row, const float *alpha, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        row[x] = alpha[x] > 0.0f ? row[x] / alpha[x] : row[x];
}

static void multiply_row(float *row, const float *alpha, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        row[x] *= alpha[x];
}

static void multiply_back_row(float *row, const float *alpha, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        row[x] *= alpha[x] > 0.0f ? alpha[x] : 1.0f;
}

static lb_status convert_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const conversion *c = context;
    const colour *k = c->colour;
    lb_transfer transfer = lb_space_transfer(c->wish->space);
    bool is_grey = !k->r;
    lb_plane *const planes[3] = {is_grey ? k->y : k->r, k->g, k->b};
    int32_t count = lb_box_width(c->picture->data), rows = is_grey ? 1 : 3;
    bool divide = k->a && c->picture->is_premultiplied && transfer != LB_TRANSFER_LINEAR;

    (void)worker;
    for (int32_t y = c->picture->data.y0 + begin; y < c->picture->data.y0 + end; y++) {
        const float *alpha = k->a ? lb_plane_row(k->a, y) : NULL;
        float *row[3] = {0};

        for (int i = 0; i < rows; i++) {
            row[i] = lb_plane_row_to_fill(planes[i], y);
            if (divide)
                divide_row(row[i], alpha, count);
        }
        if (is_grey) /* neutral in every space: only the curve matters */
            lb_transfer_decode_row(transfer, row[0], count);
        else
            lb_space_convert_row(c->wish->space, c->wish->working, row[0], row[1], row[2], count);
        for (int i = 0; i < rows && alpha; i++) {
            if (divide)
                multiply_back_row(row[i], alpha, count);
            else if (!c->picture->is_premultiplied)
                multiply_row(row[i], alpha, count);
        }
    }
    return LB_OK;
}

/* Y becomes R, G and B, which share its plane. */
static lb_status spread_grey(lb_picture *picture, const colour *k)
{
    static const char *const names[] = {"R", "G", "B"};
    char name[LB_CHANNEL_NAME + 2];
    lb_status status = LB_OK;
    lb_plane *grey;

    snprintf(name, sizeof name, "%sY", k->layer);
    grey = lb_picture_take(picture, name);
    for (int i = 0; i < 3 && status == LB_OK; i++) {
        snprintf(name, sizeof name, "%s%s", k->layer, names[i]);
        status = lb_picture_add(picture, name, lb_plane_ref(grey));
    }
    lb_plane_unref(&grey);
    return status;
}

static lb_status convert_layer(const lb_encoded *file, const lb_media_wish *wish,
                               lb_picture *picture, const colour *k)
{
    conversion c = {wish, picture, k};
    bool is_grey = !k->r && !k->g && !k->b;
    lb_status status;

    if (!is_grey && !(k->r && k->g && k->b)) {
        lb_warn(file->diag, file->loc,
                "'%s' has not all of %sR, %sG and %sB; they are taken as they are", file->name,
                k->layer, k->layer, k->layer);
        return LB_OK;
    }
    status = lb_pool_for(file->pool, lb_box_height(picture->data), ROWS_A_PIECE, convert_rows, &c);
    if (status == LB_OK && is_grey)
        status = spread_grey(picture, k);
    if (status != LB_OK)
        return lb_fail(file->diag, status, file->loc, "'%s' could not be made %s: %s", file->name,
                       lb_space_names[wish->working], lb_status_text(status));
    return LB_OK;
}

static bool is_near(const double a[2], const double b[2])
{
    double x = a[0] - b[0], y = a[1] - b[1];

    /* Chromaticities are published with three decimals or more. */
    return x < 0.001 && x > -0.001 && y < 0.001 && y > -0.001;
}

/* Says so when the header names other primaries than the graph does. */
static void compare_primaries(const lb_encoded *file, const lb_media_wish *wish,
                              const lb_picture *picture)
{
    const lb_primaries *has = &picture->primaries;
    lb_primaries asked = lb_space_primaries(wish->space);

    if (!picture->has_primaries ||
        (is_near(has->red, asked.red) && is_near(has->green, asked.green) &&
         is_near(has->blue, asked.blue) && is_near(has->white, asked.white)))
        return;
    lb_warn(file->diag, file->loc,
            "'%s' says that its primaries are R %g %g, G %g %g, B %g %g, white %g %g; it is taken "
            "as %s all the same",
            file->name, has->red[0], has->red[1], has->green[0], has->green[1], has->blue[0],
            has->blue[1], has->white[0], has->white[1], lb_space_names[wish->space]);
}

/* Every layer that has colour, once. */
static int32_t find_layers(const lb_picture *picture, colour *layers)
{
    int32_t count = 0;

    for (int32_t i = 0; i < picture->count; i++) {
        const char *channel = picture->channels[i].name;
        bool known = false;

        if (!find_colour(picture, channel, &layers[count]))
            continue;
        for (int32_t k = 0; k < count; k++)
            known = known || strcmp(layers[k].layer, layers[count].layer) == 0;
        count += known ? 0 : 1;
    }
    return count;
}

lb_status lb_picture_to_working(const lb_encoded *file, const lb_media_wish *wish,
                                lb_picture *picture)
{
    lb_status status = LB_OK;
    int32_t count;
    colour *layers;

    if (wish->space == LB_SPACE_RAW)
        return LB_OK;
    /* One more than there can be: the search tries the next place. */
    if (!(layers = lb_alloc(LB_MAX_CHANNELS + 1, sizeof *layers)))
        return lb_fail(file->diag, LB_MEMORY, file->loc, "'%s': no room for its channels",
                       file->name);
    compare_primaries(file, wish, picture);
    count = find_layers(picture, layers);
    for (int32_t k = 0; k < count && status == LB_OK; k++)
        status = convert_layer(file, wish, picture, &layers[k]);
    lb_free(layers);
    return status;
}
