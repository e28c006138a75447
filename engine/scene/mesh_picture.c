/* engine/scene/mesh_picture.c: pictures beside OBJ and PLY files to textures. */
#include <string.h>

#include "engine/base/file.h"
#include "engine/media/media.h"
#include "engine/scene/mesh_read.h"

#define MAX_PICTURES 10000 /* each is looked for among those before it */

/* What keeps a picture from being used is told once, and the material does without it. */
static lb_status give_up(reader *r, reader_image *p, const char *where, const char *path,
                         const char *why)
{
    p->is_broken = true;
    lb_warn(r->diag, r->loc, "'%s': %s: '%s' %s; surfaces do without it", r->path, where, path,
            why);
    return reader_fact(r, LB_FACT_DROPPED, where, "'%.200s' %s.", path, why);
}

typedef struct {
    const lb_plane *in[4]; /* red, green, blue, alpha; NULL: none */
    lb_plane *out[3];
    lb_box box;
    const picture_wish *wish;
    lb_space from, working;
} convert_job;

static void fill_numbers(const convert_job *job, const float *row, float *out, int32_t width)
{
    float gain = job->wish->gain, base = job->wish->base;

    for (int32_t x = 0; x < width; x++)
        out[x] = row[x] * gain + base;
}

static void fill_scalar(const convert_job *job, const float *const in[4], float *out, int32_t width)
{
    picture_use use = job->wish->use;
    int channel = use == PICTURE_RED ? 0 : use == PICTURE_GREEN ? 1 : use == PICTURE_BLUE ? 2 : 3;

    if (use == PICTURE_OPACITY && !in[3])
        use = PICTURE_LUMINANCE;
    for (int32_t x = 0; x < width; x++) {
        if (use == PICTURE_LUMINANCE)
            out[x] = in[0] == in[1] ? in[0][x]
                                    : 0.2126f * in[0][x] + 0.7152f * in[1][x] + 0.0722f * in[2][x];
        else
            out[x] = in[channel] ? in[channel][x] : 1;
    }
    fill_numbers(job, out, out, width);
}

static lb_status convert_rows(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const convert_job *job = context;
    int32_t width = lb_box_width(job->box);

    (void)worker;
    for (int32_t y = job->box.y0 + begin; y < job->box.y0 + end; y++) {
        const float *in[4] = {NULL};
        float *out[3] = {NULL};

        for (int c = 0; c < 4; c++)
            in[c] = job->in[c] ? lb_plane_row(job->in[c], y) : NULL;
        for (int c = 0; c < 3; c++)
            out[c] = job->out[c] ? lb_plane_row_to_fill(job->out[c], y) : NULL;
        if (!out[1]) {
            fill_scalar(job, in, out[0], width);
            continue;
        }
        for (int c = 0; c < 3; c++)
            fill_numbers(job, in[c], out[c], width);
        if (job->wish->use == PICTURE_COLOR)
            lb_space_convert_row(job->from, job->working, out[0], out[1], out[2], width);
    }
    return LB_OK;
}

static lb_status convert(reader *r, const lb_image *stored, lb_space from, const picture_wish *wish,
                         bool *had_alpha, lb_image **out)
{
    static const char *const names[] = {"R", "G", "B", "A"};
    int count = wish->use == PICTURE_COLOR || wish->use == PICTURE_NUMBERS ? 3 : 1;
    const lb_plane *grey = lb_image_find(stored, "Y");
    convert_job job = {.box = lb_image_box(stored),
                       .wish = wish,
                       .from = wish->is_linear ? LB_SPACE_LINEAR_REC709 : from,
                       .working = r->options->working};
    lb_status status = lb_image_new(lb_image_display(stored), lb_image_data(stored), out);

    for (int c = 0; c < 4; c++)
        job.in[c] = grey && c < 3 ? grey : lb_image_find(stored, names[c]);
    *had_alpha = job.in[3] != NULL;
    if (status == LB_OK && (!job.in[0] || !job.in[1] || !job.in[2]))
        status = LB_UNSUPPORTED;
    for (int c = 0; c < count && status == LB_OK; c++)
        status = lb_plane_new_raw(job.box, &job.out[c]);
    if (status == LB_OK)
        status = lb_pool_for(r->pool, lb_box_height(job.box), 16, convert_rows, &job);
    for (int c = 0; c < count && status == LB_OK; c++)
        status = lb_image_add(*out, count == 1 ? "Y" : names[c], job.out[c]);
    for (int c = 0; c < 3; c++)
        lb_plane_unref(&job.out[c]);
    if (status)
        lb_image_unref(out);
    return status;
}

static lb_status decode(reader *r, reader_image *p, const char *path, const void *bytes,
                        size_t count, const picture_wish *wish)
{
    lb_texture_map map = lb_texture_map_default();
    lb_image *stored = NULL, *taken = NULL;
    lb_media_info info;
    lb_space space;
    lb_status status;

    if ((status = lb_media_probe(NULL, r->loc, path, bytes, count, &info)))
        return status;
    space = info.is_float ? LB_SPACE_LINEAR_REC709 : LB_SPACE_SRGB;
    lb_media_info_clear(&info);
    if ((status = lb_media_decode(r->pool, NULL, r->loc, path, bytes, count, false, &stored)))
        return status;
    status = convert(r, stored, space, wish, &p->had_alpha, &taken);
    lb_image_unref(&stored);
    if (status == LB_OK)
        status = lb_texture_new(r->pool, taken, &map, &p->texture);
    lb_image_unref(&taken);
    return status;
}

static lb_status load(reader *r, reader_image *p, const char *where, const char *path,
                      const picture_wish *wish)
{
    void *bytes = NULL;
    size_t count;
    lb_status status;

    if (!lb_file_exists(path))
        return give_up(r, p, where, path, "is missing");
    status = lb_file_read(NULL, r->loc, path, LB_MEDIA_MAX_BYTES, &bytes, &count);
    if (status == LB_OK)
        status = decode(r, p, path, bytes, count, wish);
    lb_free(bytes);
    if (status == LB_MEMORY)
        return reader_no_memory(r);
    if (status == LB_CANCELLED)
        return lb_fail(r->diag, status, r->loc, "'%s': stopped", r->path);
    if (status)
        return give_up(r, p, where, path,
                       status == LB_UNSUPPORTED ? "is of a kind that is not read"
                       : status == LB_LIMIT     ? "is too big"
                       : status == LB_IO        ? "cannot be read"
                                                : "is damaged or no picture");
    return LB_OK;
}

/* Surfaces that share a picture share its pixels: found again by path and wish. */
static lb_status entry_of(reader *r, const char *path, const picture_wish *wish, reader_image **out)
{
    char key[96];
    size_t length = strlen(path), head;
    char *text;

    snprintf(key, sizeof key, "%d %d %a %a ", (int)wish->use, wish->is_linear, (double)wish->base,
             (double)wish->gain);
    head = strlen(key);
    for (size_t i = 0; i < r->picture_count; i++)
        if (strncmp(r->pictures[i].key, key, head) == 0 &&
            strcmp(r->pictures[i].key + head, path) == 0) {
            *out = &r->pictures[i];
            return LB_OK;
        }
    if (r->picture_count >= MAX_PICTURES)
        return reader_fail(r, LB_LIMIT, 0, "more than %d pictures", MAX_PICTURES);
    if (!lb_grow((void **)&r->pictures, &r->picture_capacity, r->picture_count,
                 sizeof *r->pictures) ||
        !(text = lb_alloc(head + length + 1, 1)))
        return reader_no_memory(r);
    memcpy(text, key, head);
    memcpy(text + head, path, length + 1);
    *out = &r->pictures[r->picture_count++];
    **out = (reader_image){.key = text};
    return LB_OK;
}

lb_status reader_picture(reader *r, const char *where, const char *path, const picture_wish *wish,
                         const lb_texture **out, bool *had_alpha)
{
    reader_image *p = NULL;
    lb_status status = entry_of(r, path, wish, &p);

    *out = NULL;
    if (status == LB_OK && !p->texture && !p->is_broken)
        status = load(r, p, where, path, wish);
    if (status)
        return status;
    *out = p->texture;
    if (had_alpha)
        *had_alpha = p->had_alpha;
    return LB_OK;
}
