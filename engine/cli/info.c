/* engine/cli/info.c: lampblack info IMAGE.... */
#include <math.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/cli/cli.h"

static void print_header(const char *path, const lb_media_info *info)
{
    printf("%s: %s, %d x %d, %d bits%s", path, info->format, (int)lb_box_width(info->display),
           (int)lb_box_height(info->display), (int)info->bits, info->is_float ? " float" : "");
    if (info->compression[0])
        printf(", %s", info->compression);
    if (info->parts > 1)
        printf(", %d parts", (int)info->parts);
    printf(", usually %s\n", lb_space_names[info->space]);
    if (info->pixel_aspect != 1)
        printf("  pixel aspect %g\n", info->pixel_aspect);
    if (!lb_box_equal(info->display, info->data) || info->display.x0 || info->display.y0)
        printf("  display window [%d, %d, %d, %d], data window [%d, %d, %d, %d]\n",
               (int)info->display.x0, (int)info->display.y0, (int)info->display.x1,
               (int)info->display.y1, (int)info->data.x0, (int)info->data.y0, (int)info->data.x1,
               (int)info->data.y1);
    if (info->has_primaries)
        printf("  primaries R %g %g, G %g %g, B %g %g, white %g %g\n", info->primaries.red[0],
               info->primaries.red[1], info->primaries.green[0], info->primaries.green[1],
               info->primaries.blue[0], info->primaries.blue[1], info->primaries.white[0],
               info->primaries.white[1]);
}

/* Lowest, highest and mean of the finite values; how many are not. */
static void print_statistics(const char *name, const lb_plane *plane)
{
    lb_box box = lb_plane_box(plane);
    double low = INFINITY, high = -INFINITY, sum = 0;
    int64_t nans = 0, infinite = 0, finite = 0;

    for (int32_t y = box.y0; y < box.y1; y++) {
        const float *row = lb_plane_row(plane, y);

        for (int32_t x = 0; x < lb_box_width(box); x++) {
            double value = row[x];

            if (isnan(value)) {
                nans++;
            } else if (isinf(value)) {
                infinite++;
            } else {
                finite++;
                sum += value;
                low = value < low ? value : low;
                high = value > high ? value : high;
            }
        }
    }
    printf("  %-16s", name);
    if (finite > 0)
        printf(" lowest %-12g highest %-12g mean %-12g", low, high, sum / (double)finite);
    if (nans > 0)
        printf(" NaN %lld", (long long)nans);
    if (infinite > 0)
        printf(" infinite %lld", (long long)infinite);
    putchar('\n');
}

static lb_status print_image(lb_pool *pool, lb_diag *diag, const char *path)
{
    lb_loc loc = {.file = lb_diag_intern(diag, path)};
    lb_media_info info = {0};
    lb_image *image = NULL;
    void *bytes = NULL;
    size_t count;
    lb_status status = lb_file_read(diag, LB_NOWHERE, path, LB_MEDIA_MAX_BYTES, &bytes, &count);

    if (status == LB_OK && (status = lb_media_probe(diag, loc, path, bytes, count, &info)) == LB_OK)
        print_header(path, &info);
    if (status == LB_OK &&
        (status = lb_media_decode(pool, diag, loc, path, bytes, count, false, &image)) == LB_OK)
        for (int32_t i = 0; i < lb_image_count(image); i++)
            print_statistics(lb_image_name(image, i), lb_image_plane(image, i));
    lb_image_unref(&image);
    lb_media_info_clear(&info);
    lb_free(bytes);
    return status;
}

typedef struct info_options {
    lb_texts images;
} info_options;

/* Goes on after an image that cannot be read: the answer is the worst. */
static lb_status run_info(lb_session *session, const void *words)
{
    const info_options *options = words;
    lb_status status = lb_session_threads(session, 0);

    for (int32_t i = 0; session->pool && i < options->images.count; i++) {
        lb_status one = print_image(session->pool, session->diag, options->images.list[i]);

        fflush(stdout);
        lb_print_messages(session->diag);
        if (one != LB_OK)
            status = lb_diag_worst(session->diag);
    }
    return status;
}

static const lb_operand operands[] = {
    LB_OPERAND(info_options, images, "IMAGE", .min = 1, .offer = LB_OFFER_FILE,
               .doc =
                   "An image file: its header, and of each channel lowest, highest and mean value "
                   "and how many are not finite."),
    {0},
};

static const lb_example examples[] = {
    {"lampblack info out/kiln.0001.exr", NULL},
    {0},
};

const lb_command lb_command_info = {
    .name = "info",
    .summary = "size, windows, channels, colour, statistics of image files",
    .no = "a file is damaged, or not an image",
    .operands = operands,
    .examples = examples,
    .options_size = sizeof(info_options),
    .run = run_info,
};
