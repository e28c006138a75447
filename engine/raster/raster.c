/* engine/raster/raster.c: a scene to an image, tile by tile. */
#include "engine/raster/raster.h"

#include <stddef.h>

#include "engine/base/memory.h"
#include "engine/raster/tile.h"

typedef struct {
    const lb_shot *shot;
    const lb_bins *bins;
    lb_layers layers;
    lb_tile **tiles; /* of each worker; made when it first works */
    lb_box grid;     /* tiles */
} rendering;

static lb_status render_tiles(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const rendering *r = context;
    lb_tile *tile = r->tiles[worker];
    int32_t width = r->grid.x1 - r->grid.x0;
    lb_status status = LB_OK;

    if (!tile) {
        if (!(tile = r->tiles[worker] = lb_alloc(1, sizeof *tile)))
            return LB_MEMORY;
        if ((status = lb_tile_init(tile, r->shot, r->bins)))
            return status;
    }
    if (!tile->cover.keys || !tile->cover.ids) /* it could not be made before */
        return LB_MEMORY;
    for (int32_t i = begin; i < end && !status; i++)
        status = lb_tile_render(tile, r->grid.x0 + i % width, r->grid.y0 + i / width, &r->layers);
    return status;
}

static lb_status render_all(lb_pool *pool, rendering *r)
{
    int32_t workers = pool ? lb_pool_threads(pool) : 1;
    lb_box region = r->shot->options.region;
    lb_status status;

    r->grid = (lb_box){lb_bins_tile(r->shot, region.x0), lb_bins_tile(r->shot, region.y0),
                       lb_bins_tile(r->shot, region.x1 - 1) + 1,
                       lb_bins_tile(r->shot, region.y1 - 1) + 1};
    if (!(r->tiles = lb_alloc((size_t)workers, sizeof *r->tiles)))
        return LB_MEMORY;
    status = lb_pool_for(pool, (r->grid.x1 - r->grid.x0) * (r->grid.y1 - r->grid.y0), 1,
                         render_tiles, r);
    for (int32_t i = 0; i < workers; i++)
        if (r->tiles[i]) {
            lb_tile_clear(r->tiles[i]);
            lb_free(r->tiles[i]);
        }
    lb_free(r->tiles);
    return status;
}

/* Makes a plane of the region, gives it to the image and keeps a hold of it to fill it. */
static lb_status add_plane(lb_image *image, lb_box region, const char *name, lb_plane **held)
{
    lb_status status;

    if ((status = lb_plane_new_raw(region, held)))
        return status;
    return lb_image_add(image, name, *held);
}

static lb_status add_planes(lb_image *image, const lb_raster_options *o, lb_layers *layers)
{
    static const struct {
        uint32_t layer;
        const char *name;
        size_t held;
    } planes[] = {
        {LB_LAYER_COLOR, "R", offsetof(lb_layers, rgba[0])},
        {LB_LAYER_COLOR, "G", offsetof(lb_layers, rgba[1])},
        {LB_LAYER_COLOR, "B", offsetof(lb_layers, rgba[2])},
        {LB_LAYER_COLOR, "A", offsetof(lb_layers, rgba[3])},
        {LB_LAYER_DEPTH, "depth.Z", offsetof(lb_layers, depth)},
        {LB_LAYER_NORMAL, "normal.X", offsetof(lb_layers, normal[0])},
        {LB_LAYER_NORMAL, "normal.Y", offsetof(lb_layers, normal[1])},
        {LB_LAYER_NORMAL, "normal.Z", offsetof(lb_layers, normal[2])},
        {LB_LAYER_UV, "uv.U", offsetof(lb_layers, uv[0])},
        {LB_LAYER_UV, "uv.V", offsetof(lb_layers, uv[1])},
    };
    lb_status status = LB_OK;

    for (size_t i = 0; i < sizeof planes / sizeof planes[0] && !status; i++)
        if (o->layers & planes[i].layer)
            status = add_plane(image, o->region, planes[i].name,
                               (lb_plane **)(void *)((char *)layers + planes[i].held));
    return status;
}

static void drop_planes(lb_layers *layers)
{
    for (int c = 0; c < 4; c++)
        lb_plane_unref(&layers->rgba[c]);
    lb_plane_unref(&layers->depth);
    for (int c = 0; c < 3; c++)
        lb_plane_unref(&layers->normal[c]);
    for (int c = 0; c < 2; c++)
        lb_plane_unref(&layers->uv[c]);
}

lb_status lb_raster_render(lb_pool *pool, const lb_instant *instants, int32_t count,
                           const lb_raster_options *options, lb_image **out)
{
    rendering r = {0};
    lb_shot *shot = NULL;
    lb_bins *bins = NULL;
    lb_status status;

    *out = NULL;
    if ((status = lb_shot_new(instants, count, options, &shot)) ||
        (status = lb_shot_project(pool, shot)) || (status = lb_bins_new(pool, shot, &bins)) ||
        (status =
             lb_image_new((lb_box){0, 0, options->width, options->height}, options->region, out)))
        goto done;
    lb_image_set_pixel_aspect(*out, options->pixel_aspect);
    r.shot = shot;
    r.bins = bins;
    if (!(status = add_planes(*out, options, &r.layers)))
        status = render_all(pool, &r);
done:
    drop_planes(&r.layers);
    lb_bins_free(&bins);
    lb_shot_free(&shot);
    if (status)
        lb_image_unref(out);
    return status;
}
