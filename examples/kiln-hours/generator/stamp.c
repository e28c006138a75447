/* examples/kiln-hours/generator/stamp.c: letters as exact distances to their outlines. */
#include "maps.h"

#include "shape.h"

#include <ft2build.h>
#include FT_FREETYPE_H
#include FT_OUTLINE_H
#include <fontconfig/fontconfig.h>
#include <hb.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct segment {
    double x0, y0, x1, y1;
} segment;

/* The outline of one letter in texels, curves cut into short lines. */
typedef struct outline {
    segment *segments;
    size_t count, room;
    double x, y;         /* pen, font units */
    double m[4], tx, ty; /* font units to texels */
    double low[2], high[2];
} outline;

static void to_texels(const outline *o, double x, double y, double *tx, double *ty)
{
    *tx = o->m[0] * x + o->m[1] * y + o->tx;
    *ty = o->m[2] * x + o->m[3] * y + o->ty;
}

static void line(outline *o, double x, double y)
{
    segment s;

    to_texels(o, o->x, o->y, &s.x0, &s.y0);
    to_texels(o, x, y, &s.x1, &s.y1);
    if (o->count == o->room) {
        o->room = o->room * 2 + 64;
        o->segments = grab(o->segments, o->room, sizeof *o->segments);
    }
    o->segments[o->count++] = s;
    o->low[0] = fmin(o->low[0], fmin(s.x0, s.x1));
    o->low[1] = fmin(o->low[1], fmin(s.y0, s.y1));
    o->high[0] = fmax(o->high[0], fmax(s.x0, s.x1));
    o->high[1] = fmax(o->high[1], fmax(s.y0, s.y1));
    o->x = x;
    o->y = y;
}

static int move_to(const FT_Vector *to, void *user)
{
    outline *o = user;

    o->x = (double)to->x;
    o->y = (double)to->y;
    return 0;
}

static int line_to(const FT_Vector *to, void *user)
{
    line(user, (double)to->x, (double)to->y);
    return 0;
}

static int cubic(outline *o, double x1, double y1, double x2, double y2, double x3, double y3)
{
    double x0 = o->x, y0 = o->y;

    for (int i = 1; i <= 16; i++) {
        double t = i / 16.0, u = 1 - t;

        line(o, u * u * u * x0 + 3 * u * u * t * x1 + 3 * u * t * t * x2 + t * t * t * x3,
             u * u * u * y0 + 3 * u * u * t * y1 + 3 * u * t * t * y2 + t * t * t * y3);
    }
    return 0;
}

static int conic_to(const FT_Vector *control, const FT_Vector *to, void *user)
{
    outline *o = user;
    double cx = (double)control->x, cy = (double)control->y, x = (double)to->x, y = (double)to->y;

    return cubic(o, o->x + (cx - o->x) * 2 / 3, o->y + (cy - o->y) * 2 / 3, x + (cx - x) * 2 / 3,
                 y + (cy - y) * 2 / 3, x, y);
}

static int cubic_to(const FT_Vector *a, const FT_Vector *b, const FT_Vector *to, void *user)
{
    return cubic(user, (double)a->x, (double)a->y, (double)b->x, (double)b->y, (double)to->x,
                 (double)to->y);
}

/* Signed distance by all segments, sign by the non-zero winding rule. */
static double outline_distance(const outline *o, double x, double y)
{
    double nearest = 1e30;
    int winding = 0;

    for (size_t i = 0; i < o->count; i++) {
        const segment *s = &o->segments[i];
        double dx = s->x1 - s->x0, dy = s->y1 - s->y0, px = x - s->x0, py = y - s->y0;
        double length = dx * dx + dy * dy,
               t = length > 0 ? clamp01((px * dx + py * dy) / length) : 0;
        double ex = px - t * dx, ey = py - t * dy, d = ex * ex + ey * ey;

        nearest = d < nearest ? d : nearest;
        if ((s->y0 <= y) != (s->y1 <= y)) {
            double at = s->x0 + (y - s->y0) / dy * dx;

            if (at > x)
                winding += dy > 0 ? 1 : -1;
        }
    }
    return (winding != 0 ? -1 : 1) * sqrt(nearest);
}

/* The file of a font that fits the pattern exactly; the caller frees it. (A match would rather
 * answer some other font than none.) */
static char *font_file(const char *pattern, int *face)
{
    FcPattern *wanted = FcNameParse((const FcChar8 *)pattern);
    FcObjectSet *fields = FcObjectSetBuild(FC_FILE, FC_INDEX, (char *)NULL);
    FcFontSet *fonts = FcFontList(NULL, wanted, fields);
    FcChar8 *path;

    if (fonts == NULL || fonts->nfont == 0 ||
        FcPatternGetString(fonts->fonts[0], FC_FILE, 0, &path) != FcResultMatch)
        give_up("there is no font '%s' here", pattern);
    FcPatternGetInteger(fonts->fonts[0], FC_INDEX, 0, face);
    char *copy = strcpy(grab(NULL, strlen((char *)path) + 1, 1), (char *)path);
    FcFontSetDestroy(fonts);
    FcObjectSetDestroy(fields);
    FcPatternDestroy(wanted);
    return copy;
}

static void lay_letter(picture *out, const outline *o)
{
    int reach = 34; /* texels around a letter in which its rim is seen */
    int x0 = (int)o->low[0] - reach, x1 = (int)o->high[0] + reach;
    int y0 = (int)o->low[1] - reach, y1 = (int)o->high[1] + reach;

    for (int y = y0 < 0 ? 0 : y0; y < y1 && y < out->height; y++) {
        for (int x = x0 < 0 ? 0 : x0; x < x1 && x < out->width; x++) {
            float *at = &out->values[(size_t)y * (size_t)out->width + (size_t)x];

            *at = fminf(*at, (float)outline_distance(o, x + 0.5, y + 0.5));
        }
    }
}

typedef struct setting {
    double scale, baseline, spacing;
} setting;

static void lay_glyph(picture *out, FT_Face face, unsigned glyph, double pen, const setting *s,
                      uint32_t letter)
{
    static const FT_Outline_Funcs funcs = {move_to, line_to, conic_to, cubic_to, 0, 0};
    double angle = chance_between(-0.016, 0.016, letter, 1, 800);
    double c = s->scale * lb_cos(angle), k = s->scale * lb_sin(angle);
    outline o = {.m = {c, k, k, -c}, .low = {1e9, 1e9}, .high = {-1e9, -1e9}};

    o.tx = pen;
    o.ty = s->baseline + chance_between(-1.4, 1.4, letter, 2, 800);
    if (FT_Load_Glyph(face, glyph, FT_LOAD_NO_SCALE) != 0 ||
        FT_Outline_Decompose(&face->glyph->outline, &funcs, &o) != 0)
        give_up("a letter has no outline");
    if (o.count > 0)
        lay_letter(out, &o);
    free(o.segments);
}

picture stamp_distance(const char *text, const char *family, int width, int height,
                       double cap_height, double baseline, double spacing, int *letters)
{
    picture out = picture_new(width, height, 1);
    int index = 0;
    char *path = font_file(family, &index);
    FT_Library library;
    FT_Face face;
    hb_blob_t *blob = hb_blob_create_from_file(path);
    hb_face_t *shape_face = hb_face_create(blob, (unsigned)index);
    hb_font_t *font = hb_font_create(shape_face);
    hb_buffer_t *buffer = hb_buffer_create();
    unsigned count;

    for (size_t i = 0; i < (size_t)width * (size_t)height; i++)
        out.values[i] = 1000;
    if (FT_Init_FreeType(&library) != 0 || FT_New_Face(library, path, index, &face) != 0)
        give_up("cannot read %s", path);
    hb_buffer_add_utf8(buffer, text, -1, 0, -1);
    hb_buffer_guess_segment_properties(buffer);
    hb_shape(font, buffer, NULL, 0);
    const hb_glyph_info_t *info = hb_buffer_get_glyph_infos(buffer, &count);
    const hb_glyph_position_t *place = hb_buffer_get_glyph_positions(buffer, &count);
    /* 650 of 1000 units is the height of this family's capitals (its OS/2 table) */
    setting s = {cap_height / (0.65 * face->units_per_EM), baseline, spacing};
    double length = -spacing;
    for (unsigned i = 0; i < count; i++)
        length += place[i].x_advance * s.scale + spacing;
    double pen = (width - length) / 2;
    for (unsigned i = 0; i < count; i++) {
        lay_glyph(&out, face, info[i].codepoint, pen + place[i].x_offset * s.scale, &s, i);
        pen += place[i].x_advance * s.scale + spacing;
    }
    *letters = (int)count;
    hb_buffer_destroy(buffer);
    hb_font_destroy(font);
    hb_face_destroy(shape_face);
    hb_blob_destroy(blob);
    FT_Done_Face(face);
    FT_Done_FreeType(library);
    free(path);
    return out;
}
