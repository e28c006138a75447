/* engine/image/compare.c
 *
 * Rows are compared by the pool's threads, each into a place of its own, and added up in their
 * order. */
#include "engine/image/compare.h"

#include <math.h>
#include <string.h>

#include "engine/base/math.h"
#include "engine/image/similarity.h"

#define ROWS 16 /* a piece of the loop */

/* One channel of one picture in the window. */
typedef struct source {
    const lb_plane *plane; /* NULL: `value` everywhere */
    float value;
} source;

/* One channel in one row. */
typedef struct channel_row {
    double sum, largest;
    int32_t count, nans, at_x;
} channel_row;

/* One row, all channels together. */
typedef struct whole_row {
    int32_t count, nans;
    int32_t first, last; /* pixels that differ, if there are any */
} whole_row;

typedef struct job {
    lb_box window;
    const lb_compare_options *options;
    lb_comparison *out;
    source (*sources)[2];  /* of each channel */
    channel_row *channels; /* of each row, of each channel */
    whole_row *rows;
    source seen[2][3];
    lb_plane *luma[2];
    double *squares; /* of each row: of what is seen */
} job;

/* The row within the window: the plane's own, or made in `buffer`, a row long. */
static const float *row_of(source from, lb_box window, int32_t y, float *buffer)
{
    lb_box box = from.plane ? lb_plane_box(from.plane) : (lb_box){0};
    int32_t width = lb_box_width(window);
    lb_box both = lb_box_intersect(box, (lb_box){window.x0, y, window.x1, y + 1});

    if (lb_box_width(both) == width)
        return lb_plane_row(from.plane, y) + (window.x0 - box.x0);
    for (int32_t x = 0; x < width; x++)
        buffer[x] = from.plane ? 0 : from.value;
    if (!lb_box_is_empty(both))
        memcpy(buffer + (both.x0 - window.x0), lb_plane_row(from.plane, y) + (both.x0 - box.x0),
               (size_t)lb_box_width(both) * sizeof(float));
    return buffer;
}

static source source_of(const lb_image *image, const char *name)
{
    const lb_plane *plane = lb_image_find(image, name);

    return (source){.plane = plane, .value = !plane && strcmp(name, "A") == 0 ? 1 : 0};
}

void lb_compare_row(const lb_image *image, const char *channel, lb_box window, int32_t y,
                    float *out)
{
    const float *row = row_of(source_of(image, channel), window, y, out);

    if (row != out)
        memcpy(out, row, (size_t)lb_box_width(window) * sizeof(float));
}

/* ---- Numbers ---- */

enum { DIFFERS = 1, HAS_NAN = 2 };

static void compare_values(const float *a, const float *b, int32_t width, uint8_t *marks,
                           channel_row *out)
{
    for (int32_t x = 0; x < width; x++) {
        bool a_is_nan = isnan(a[x]), b_is_nan = isnan(b[x]);
        double difference;

        if (a[x] == b[x] || (a_is_nan && b_is_nan))
            continue;
        marks[x] |= DIFFERS;
        out->count++;
        if (a_is_nan || b_is_nan) {
            marks[x] |= HAS_NAN;
            out->nans++;
            continue;
        }
        difference = fabs((double)a[x] - (double)b[x]);
        out->sum += difference;
        if (difference > out->largest) {
            out->largest = difference;
            out->at_x = x;
        }
    }
}

static void compare_row(const job *j, int32_t y, float *buffers[2], uint8_t *marks)
{
    int32_t width = lb_box_width(j->window), count = j->out->channel_count;
    size_t index = (size_t)(y - j->window.y0);
    whole_row *row = &j->rows[index];

    memset(marks, 0, (size_t)width);
    for (int32_t c = 0; c < count; c++) {
        const float *a = row_of(j->sources[c][0], j->window, y, buffers[0]);
        const float *b = row_of(j->sources[c][1], j->window, y, buffers[1]);

        if (memcmp(a, b, (size_t)width * sizeof(float)) != 0)
            compare_values(a, b, width, marks, &j->channels[index * (size_t)count + (size_t)c]);
    }
    for (int32_t x = 0; x < width; x++) {
        if (!marks[x])
            continue;
        row->first = row->count == 0 ? x : row->first;
        row->last = x;
        row->count++;
        row->nans += (marks[x] & HAS_NAN) != 0;
    }
}

static lb_status compare_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const job *j = context;
    size_t width = (size_t)lb_box_width(j->window);
    float *scratch = lb_alloc(width, 3 * sizeof(float));
    float *buffers[2] = {scratch, scratch ? scratch + width : NULL};

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    for (int32_t y = begin; y < end; y++)
        compare_row(j, j->window.y0 + y, buffers, (uint8_t *)(scratch + 2 * width));
    lb_free(scratch);
    return LB_OK;
}

/* Rows into the whole. */
static void add_up(const job *j)
{
    lb_comparison *out = j->out;
    int32_t count = out->channel_count;

    for (int32_t y = j->window.y0; y < j->window.y1; y++) {
        size_t index = (size_t)(y - j->window.y0);
        const whole_row *row = &j->rows[index];
        lb_box span = {j->window.x0 + row->first, y, j->window.x0 + row->last + 1, y + 1};

        if (row->count == 0)
            continue;
        out->count += row->count;
        out->nans += row->nans;
        out->region = lb_box_is_empty(out->region) ? span : lb_box_unite(out->region, span);
        for (int32_t c = 0; c < count; c++) {
            const channel_row *from = &j->channels[index * (size_t)count + (size_t)c];
            lb_channel_comparison *to = &out->channels[c];

            to->count += from->count;
            to->nans += from->nans;
            to->mean += from->sum;
            if (from->largest > to->largest) {
                to->largest = from->largest;
                to->at_x = j->window.x0 + from->at_x;
                to->at_y = y;
            }
        }
    }
    for (int32_t c = 0; c < count; c++) {
        lb_channel_comparison *channel = &out->channels[c];

        channel->mean = out->pixels > 0 ? channel->mean / (double)out->pixels : 0;
        out->mean += channel->mean / count;
        if (channel->largest > 0 &&
            (out->worst < 0 || channel->largest > out->channels[out->worst].largest))
            out->worst = c;
    }
}

static lb_status compare_numbers(lb_pool *pool, job *j)
{
    size_t rows = (size_t)lb_box_height(j->window), count;
    lb_status status;

    if (!lb_size_mul(rows, (size_t)j->out->channel_count + 1, &count) ||
        !(j->channels = lb_alloc(count, sizeof *j->channels)) ||
        !(j->rows = lb_alloc(rows, sizeof *j->rows)))
        return LB_MEMORY;
    status = lb_pool_for(pool, (int32_t)rows, ROWS, compare_rows, j);
    if (status == LB_OK)
        add_up(j);
    return status;
}

/* ---- What is seen ---- */

bool lb_compare_shown(const lb_image *image, const char *out[3])
{
    static const char *const names[] = {"R", "G", "B"};
    const char *grey = lb_image_find(image, "Y") ? "Y" : NULL;

    for (int c = 0; c < 3; c++)
        out[c] = names[c];
    if (lb_image_find(image, "R") || lb_image_find(image, "G") || lb_image_find(image, "B"))
        return true;
    if (!grey && lb_image_count(image) == 1)
        grey = lb_image_name(image, 0);
    for (int c = 0; c < 3 && grey; c++)
        out[c] = grey;
    return grey != NULL;
}

static bool find_seen(const lb_image *image, source out[3])
{
    const char *names[3];
    bool has_colour = lb_compare_shown(image, names);

    for (int c = 0; c < 3; c++)
        out[c] = (source){.plane = lb_image_find(image, names[c])};
    return has_colour;
}

/* Both pictures' signal of one row, R, G, B after each other; their luma; the sum of squares. */
static void see_row(const job *j, int32_t y, float *signal[2], float *buffer)
{
    size_t width = (size_t)lb_box_width(j->window);
    double sum = 0;

    for (int side = 0; side < 2; side++) {
        float *s = signal[side], *luma = lb_plane_row_to_fill(j->luma[side], y);

        for (size_t c = 0; c < 3; c++)
            memcpy(s + c * width, row_of(j->seen[side][c], j->window, y, buffer),
                   width * sizeof(float));
        if (j->options->encode)
            j->options->encode(j->options->contexts[side], s, s + width, s + 2 * width,
                               (int32_t)width);
        for (size_t x = 0; x < 3 * width; x++)
            s[x] = s[x] > 0 ? s[x] < 1 ? s[x] : 1 : 0;
        for (size_t x = 0; x < width; x++)
            luma[x] = 0.2126f * s[x] + 0.7152f * s[width + x] + 0.0722f * s[2 * width + x];
    }
    for (size_t x = 0; x < 3 * width; x++) {
        double difference = (double)signal[0][x] - (double)signal[1][x];

        sum += difference * difference;
    }
    j->squares[y - j->window.y0] = sum;
}

static lb_status see_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const job *j = context;
    size_t width = (size_t)lb_box_width(j->window);
    float *scratch = lb_alloc(width, 7 * sizeof(float));
    float *signal[2] = {scratch, scratch ? scratch + 3 * width : NULL};

    (void)worker;
    if (!scratch)
        return LB_MEMORY;
    for (int32_t y = begin; y < end; y++)
        see_row(j, j->window.y0 + y, signal, scratch + 6 * width);
    lb_free(scratch);
    return LB_OK;
}

static double decibels(double mean_square)
{
    return mean_square > 0 ? -10 / lb_log(10) * lb_log(mean_square) : (double)INFINITY;
}

/* Where no number differs and both are shown in the same way, nothing seen does. */
static void see_the_same(const job *j)
{
    bool has_windows = lb_box_width(j->window) >= LB_SIMILARITY_SIDE &&
                       lb_box_height(j->window) >= LB_SIMILARITY_SIDE;

    j->out->psnr_db = (double)INFINITY;
    j->out->ssim = has_windows ? 1 : (double)NAN;
}

static lb_status compare_seen(lb_pool *pool, job *j)
{
    int32_t rows = lb_box_height(j->window);
    double sum = 0;
    lb_status status;

    if (j->out->count == 0 && j->options->contexts[0] == j->options->contexts[1]) {
        see_the_same(j);
        return LB_OK;
    }
    if (!(j->squares = lb_alloc((size_t)rows, sizeof *j->squares)))
        return LB_MEMORY;
    for (int side = 0; side < 2; side++)
        if ((status = lb_plane_new_raw(j->window, &j->luma[side])) != LB_OK)
            return status;
    if ((status = lb_pool_for(pool, rows, ROWS, see_rows, j)) != LB_OK)
        return status;
    for (int32_t y = 0; y < rows; y++)
        sum += j->squares[y];
    j->out->psnr_db = decibels(sum / (3 * (double)j->out->pixels));
    return lb_similarity(pool, j->luma[0], j->luma[1], &j->out->ssim);
}

/* ---- Together ---- */

/* The channels of either picture, both lists being sorted. */
static lb_status list_channels(job *j, const lb_image *const images[2])
{
    int32_t at[2] = {0}, counts[2] = {lb_image_count(images[0]), lb_image_count(images[1])};
    size_t room = (size_t)counts[0] + (size_t)counts[1] + 1;
    lb_comparison *out = j->out;

    out->channels = lb_alloc(room, sizeof *out->channels);
    j->sources = lb_alloc(room, sizeof *j->sources);
    if (!out->channels || !j->sources)
        return LB_MEMORY;
    while (at[0] < counts[0] || at[1] < counts[1]) {
        lb_channel_comparison *channel = &out->channels[out->channel_count];
        int order = at[0] == counts[0] ? 1
                    : at[1] == counts[1]
                        ? -1
                        : strcmp(lb_image_name(images[0], at[0]), lb_image_name(images[1], at[1]));

        channel->has[0] = order <= 0;
        channel->has[1] = order >= 0;
        channel->name =
            order <= 0 ? lb_image_name(images[0], at[0]) : lb_image_name(images[1], at[1]);
        for (int side = 0; side < 2; side++) {
            at[side] += channel->has[side];
            j->sources[out->channel_count][side] = source_of(images[side], channel->name);
        }
        out->channel_count++;
    }
    return LB_OK;
}

lb_status lb_compare(lb_pool *pool, const lb_image *a, const lb_image *b,
                     const lb_compare_options *options, lb_comparison *out)
{
    const lb_image *const images[2] = {a, b};
    lb_box window =
        options->window ? *options->window : lb_box_unite(lb_image_display(a), lb_image_display(b));
    job j = {.window = lb_box_normal(window), .options = options, .out = out};
    bool is_seen[2];
    lb_status status;

    *out = (lb_comparison){.window = j.window,
                           .pixels = (int64_t)lb_box_width(j.window) * lb_box_height(j.window),
                           .worst = -1,
                           .psnr_db = (double)NAN,
                           .ssim = (double)NAN};
    status = list_channels(&j, images);
    if (status == LB_OK && out->pixels > 0)
        status = compare_numbers(pool, &j);
    for (int side = 0; side < 2; side++)
        is_seen[side] = find_seen(images[side], j.seen[side]);
    if (status == LB_OK && out->pixels > 0 && (is_seen[0] || is_seen[1]))
        status = compare_seen(pool, &j);
    for (int side = 0; side < 2; side++)
        lb_plane_unref(&j.luma[side]);
    lb_free(j.squares);
    lb_free(j.rows);
    lb_free(j.channels);
    lb_free(j.sources);
    return status;
}

void lb_comparison_clear(lb_comparison *comparison)
{
    lb_free(comparison->channels);
    *comparison = (lb_comparison){0};
}
