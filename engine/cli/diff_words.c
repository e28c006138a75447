/* engine/cli/diff_words.c */
#include "engine/cli/diff_words.h"

#include <math.h>
#include <string.h>

#define MOST_NODES 8 /* that are named in words */

bool lb_picture_diff_is_same(const lb_picture_diff *diff)
{
    return diff->comparison.count == 0 && lb_box_equal(diff->windows[0], diff->windows[1]);
}

/* ---- Words ---- */

/* 2073600 as 2,073,600. */
static void put_count(lb_text *out, int64_t count)
{
    char digits[32];
    int length = snprintf(digits, sizeof digits, "%lld", (long long)count);

    for (int i = 0; i < length; i++) {
        if (i > 0 && (length - i) % 3 == 0)
            lb_text_put(out, ",");
        lb_text_add(out, &digits[i], 1);
    }
}

/* A share that is neither rounded to nothing nor to all. */
static void put_share(lb_text *out, int64_t count, int64_t of)
{
    double percent = 100 * (double)count / (double)of;

    if (count == of)
        lb_text_put(out, "100 %");
    else if (percent > 99)
        lb_text_put(out, "more than 99 %");
    else
        lb_text_printf(out, percent < 10 ? "%.2g %%" : "%.0f %%", percent);
}

static void put_box(lb_text *out, lb_box box)
{
    lb_text_printf(out, "%dx%d%+d%+d", (int)lb_box_width(box), (int)lb_box_height(box), (int)box.x0,
                   (int)box.y0);
}

void lb_put_decibels(lb_text *out, double psnr_db)
{
    lb_text_printf(out, "%.1f dB", psnr_db);
}

static void put_headline(lb_text *out, const lb_picture_diff *diff)
{
    const lb_comparison *c = &diff->comparison;

    lb_text_printf(out, "frame %d, %s: ", (int)diff->frame, diff->outputs[1]->name);
    if (c->count > 0) {
        put_count(out, c->count);
        lb_text_put(out, " of ");
        put_count(out, c->pixels);
        lb_text_put(out, " pixels differ (");
        put_share(out, c->count, c->pixels);
        lb_text_put(out, "), in ");
        put_box(out, c->region);
    } else if (lb_picture_diff_is_same(diff)) {
        lb_text_put(out, "the same");
    } else {
        lb_text_put(out, "the ");
        put_count(out, c->pixels);
        lb_text_put(out, " pixels that both have are the same");
    }
    lb_text_put(out, "\n");
}

static void put_sizes(lb_text *out, const lb_picture_diff *diff, const char *const names[2])
{
    const lb_box *w = diff->windows;

    if (lb_box_equal(w[0], w[1]))
        return;
    lb_text_put(out, "  ");
    for (int i = 0; i < 2; i++) {
        lb_text_printf(out, "%s%s has ", i ? ", " : "", names[i]);
        put_box(out, w[i]);
    }
    lb_text_put(out, diff->comparison.pixels > 0 ? "; compared where both have pixels\n"
                                                 : "; no pixel is in both\n");
}

/* Whether the signal of the pictures says anything beside that they differ. */
static void put_seen(lb_text *out, const lb_comparison *c)
{
    if (isnan(c->psnr_db))
        return;
    if (isinf(c->psnr_db)) {
        lb_text_put(out, "; what is seen is the same");
        return;
    }
    lb_text_put(out, "; PSNR ");
    lb_put_decibels(out, c->psnr_db);
    if (isnan(c->ssim))
        return;
    if (c->ssim > 0.99995)
        lb_text_put(out, ", SSIM more than 0.9999");
    else
        lb_text_printf(out, ", SSIM %.4f", c->ssim);
}

static void put_figures(lb_text *out, const lb_comparison *c)
{
    if (c->count == 0)
        return;
    lb_text_put(out, "  ");
    if (c->worst >= 0) {
        const lb_channel_comparison *channel = &c->channels[c->worst];

        lb_text_printf(out, "largest difference %.3g (%s at %d, %d), mean %.3g", channel->largest,
                       channel->name, (int)channel->at_x, (int)channel->at_y, c->mean);
    }
    if (c->nans > 0) {
        lb_text_put(out, c->worst >= 0 ? "; NaN beside a number in " : "NaN beside a number in ");
        put_count(out, c->nans);
        lb_text_put(out, c->nans == 1 ? " pixel" : " pixels");
    }
    put_seen(out, c);
    lb_text_put(out, "\n");
}

static void put_lone_channels(lb_text *out, const lb_comparison *c, const char *const names[2])
{
    for (int side = 0; side < 2; side++) {
        int32_t shown = 0;

        for (int32_t i = 0; i < c->channel_count; i++) {
            if (c->channels[i].has[!side])
                continue;
            if (shown++ == 0)
                lb_text_printf(out, "  only in %s: ", names[side]);
            else
                lb_text_put(out, ", ");
            lb_text_put(out, c->channels[i].name);
        }
        if (shown > 0)
            lb_text_put(out, "\n");
    }
}

/* "'plate.depth' (image)": what an output shows. */
static void put_shown(lb_text *out, const lb_picture_diff *diff, int side)
{
    const lb_edge_ref *ref = &diff->outputs[side]->image;
    const lb_node *node = &diff->graphs[side]->nodes[ref->node];

    lb_text_printf(out, "'%s%s%s' (%s)", node->name, ref->layer ? "." : "",
                   ref->layer ? ref->layer : "", node->op->name);
}

static bool shows_another_layer(const lb_picture_diff *diff)
{
    const char *a = diff->outputs[0]->image.layer, *b = diff->outputs[1]->image.layer;

    return a && b ? strcmp(a, b) != 0 : a || b;
}

static void put_first(lb_text *out, const lb_picture_diff *diff)
{
    const lb_changes *changes = &diff->changes;
    const lb_graph *graph = diff->graphs[1];

    if (!diff->has_formats) {
        lb_text_put(out, "  the graphs' frames differ, so every node's result does\n");
        return;
    }
    for (int32_t i = 0; i < changes->count && i < MOST_NODES; i++) {
        const lb_node *node = &graph->nodes[changes->nodes[i]];

        lb_text_printf(out, "%s'%s' (%s)", i ? ", " : "  differs first at ", node->name,
                       node->op->name);
    }
    if (changes->count > MOST_NODES)
        lb_text_printf(out, " and %d more", (int)changes->count - MOST_NODES);
    if (changes->count > 0) {
        lb_text_put(out, "\n");
    } else if (!changes->same || shows_another_layer(diff)) {
        lb_text_put(out, "  shows ");
        put_shown(out, diff, 1);
        lb_text_put(out, " instead of ");
        put_shown(out, diff, 0);
        lb_text_put(out, "\n");
    }
}

void lb_picture_diff_text(const lb_picture_diff *diff, const char *const names[2], lb_text *out)
{
    put_headline(out, diff);
    if (!lb_picture_diff_is_same(diff)) {
        put_sizes(out, diff, names);
        put_figures(out, &diff->comparison);
        put_lone_channels(out, &diff->comparison, names);
        put_first(out, diff);
    }
    if (diff->file && diff->factor > 0)
        lb_text_printf(out, "  side by side in %s, the difference times %.3g\n", diff->file,
                       diff->factor);
    else if (diff->file)
        lb_text_printf(out, "  side by side in %s\n", diff->file);
}

/* ---- JSON ---- */

static void put_number(lb_json *json, const char *key, double number)
{
    lb_json_key(json, key);
    lb_json_number(json, number);
}

static void put_json_box(lb_json *json, const char *key, lb_box box)
{
    lb_json_key(json, key);
    lb_json_open(json, '{', true);
    put_number(json, "x", box.x0);
    put_number(json, "y", box.y0);
    put_number(json, "width", lb_box_width(box));
    put_number(json, "height", lb_box_height(box));
    lb_json_close(json, '}');
}

static void put_channel(lb_json *json, const lb_channel_comparison *channel)
{
    lb_json_open(json, '{', true);
    lb_json_key(json, "name");
    lb_json_text(json, channel->name);
    lb_json_key(json, "in_a");
    lb_json_bool(json, channel->has[0]);
    lb_json_key(json, "in_b");
    lb_json_bool(json, channel->has[1]);
    put_number(json, "pixels_that_differ", (double)channel->count);
    put_number(json, "pixels_with_nan", (double)channel->nans);
    put_number(json, "largest", channel->largest);
    put_number(json, "mean", channel->mean);
    if (channel->largest > 0) {
        put_number(json, "x", channel->at_x);
        put_number(json, "y", channel->at_y);
    }
    lb_json_close(json, '}');
}

static void put_comparison(lb_json *json, const lb_comparison *c)
{
    put_json_box(json, "compared", c->window);
    put_number(json, "pixels", (double)c->pixels);
    put_number(json, "pixels_that_differ", (double)c->count);
    put_number(json, "pixels_with_nan", (double)c->nans);
    if (c->count > 0)
        put_json_box(json, "region", c->region);
    put_number(json, "largest", c->worst >= 0 ? c->channels[c->worst].largest : 0);
    put_number(json, "mean", c->mean);
    put_number(json, "psnr_db", c->psnr_db);
    put_number(json, "ssim", c->ssim);
    lb_json_key(json, "channels");
    lb_json_open(json, '[', false);
    for (int32_t i = 0; i < c->channel_count; i++)
        put_channel(json, &c->channels[i]);
    lb_json_close(json, ']');
}

static void put_nodes(lb_json *json, const lb_picture_diff *diff)
{
    lb_json_key(json, "differs_first_at");
    lb_json_open(json, '[', true);
    for (int32_t i = 0; i < diff->changes.count; i++) {
        const lb_node *node = &diff->graphs[1]->nodes[diff->changes.nodes[i]];

        lb_json_open(json, '{', true);
        lb_json_key(json, "node");
        lb_json_text(json, node->name);
        lb_json_key(json, "op");
        lb_json_text(json, node->op->name);
        lb_json_close(json, '}');
    }
    lb_json_close(json, ']');
}

void lb_picture_diff_json(const lb_picture_diff *diff, lb_json *json)
{
    lb_json_open(json, '{', false);
    put_number(json, "frame", diff->frame);
    lb_json_key(json, "output");
    lb_json_text(json, diff->outputs[1]->name);
    lb_json_key(json, "same");
    lb_json_bool(json, lb_picture_diff_is_same(diff));
    lb_json_key(json, "rendered");
    lb_json_bool(json, diff->is_rendered);
    put_json_box(json, "frame_a", diff->windows[0]);
    put_json_box(json, "frame_b", diff->windows[1]);
    if (diff->is_rendered)
        put_comparison(json, &diff->comparison);
    put_nodes(json, diff);
    if (diff->file) {
        lb_json_key(json, "image");
        lb_json_text(json, diff->file);
        put_number(json, "factor", diff->factor > 0 ? diff->factor : (double)NAN);
    }
    lb_json_close(json, '}');
}
