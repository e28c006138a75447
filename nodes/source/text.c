/* nodes/source/text.c: lines of type.
 *
 * HarfBuzz shapes, FreeType gives the outlines in font units, without hinting, and every pixel gets
 * the area of the outline within it, at any subpixel position: slowly moving or growing type does
 * not jump, and its edges have no steps to show when it is blurred. */
#include <string.h>
#include <strings.h>

#include <fontconfig/fontconfig.h>
#include <ft2build.h>
#include FT_FREETYPE_H
#include FT_MULTIPLE_MASTERS_H
#include FT_OUTLINE_H
#include <hb-ot.h>
#include <hb.h>

#include "engine/base/clones.h"
#include "engine/base/file.h"
#include "engine/base/text.h"
#include "engine/graph/op.h"
#include "engine/image/outline.h"

enum { LEFT, CENTER, RIGHT };
static const char *const align_names[] = {"left", "center", "right", NULL};

enum { TOP, MIDDLE, BASELINE, BOTTOM };
static const char *const vertical_names[] = {"top", "middle", "baseline", "bottom", NULL};

typedef struct {
    const char *text, *font;
    double size, position[2];
    int align, vertical;
    double color[4], tracking, line_height;
    int32_t weight;
    bool italic;
} text_params;

#define MOST_BYTES 65536

static const lb_param params[] = {
    LB_PARAM(text_params, text, LB_TEXT, .required = true,
             .doc = "What is set; a line break starts a new line."),
    /* LB_FILE, so that a path is one beside the graph; family() takes the folder off again. */
    LB_PARAM(text_params, font, LB_FILE, .initial_text = "DejaVu Sans",
             .doc = "A family that is installed, or the path of a font file with its extension "
                    "(ttf, otf, ttc, otc, woff)."),
    LB_PARAM(text_params, size, LB_NUMBER, .initial = {72}, .min = 0.01, .max = 20000,
             .unit = LB_PIXELS, .usual_min = 1, .usual_max = 4000,
             .doc = "The em: from one line to the next when set solid."),
    LB_PARAM(text_params, position, LB_VEC2, .initial = {LB_UNSET, LB_UNSET}, .min = -1e6,
             .max = 1e6, .unit = LB_PIXELS,
             .doc = "Where the text is put, by 'align' and 'vertical-align'; by itself the middle "
                    "of the frame."),
    LB_PARAM(text_params, align, LB_CHOICE, .names = align_names, .initial = {CENTER},
             .doc = "What of each line is at the position."),
    LB_PARAM_AS(text_params, vertical, "vertical-align", LB_CHOICE, .names = vertical_names,
                .initial = {MIDDLE},
                .doc = "What of the lines is at the position: the first one's ascender, the middle "
                       "between the first one's capitals' top and the last one's baseline, the "
                       "first one's baseline, or the last one's descender."),
    LB_PARAM(text_params, color, LB_COLOR, .initial = {1, 1, 1, 1}, .usual_max = 200,
             .doc = "The colour, with straight alpha."),
    LB_PARAM(text_params, tracking, LB_NUMBER, .initial = {0}, .min = -1000, .max = 10000,
             .usual_min = -500, .usual_max = 2000,
             .doc = "Added between letters, in thousandths of the size; other than 0 it takes "
                    "ligatures apart."),
    LB_PARAM_AS(text_params, line_height, "line-height", LB_NUMBER, .initial = {LB_UNSET}, .min = 0,
                .max = 100, .usual_min = 0.5, .usual_max = 5,
                .doc = "From baseline to baseline, in sizes; by itself what the font says."),
    LB_PARAM(text_params, weight, LB_INT, .initial = {400}, .min = 1, .max = 1000, .usual_min = 100,
             .usual_max = 950,
             .doc = "CSS weight of the family's member (400 regular, 700 bold), or of a variable "
                    "font."),
    LB_PARAM(text_params, italic, LB_BOOL, .initial = {false},
             .doc = "The family's italic or oblique member."),
    {0},
};

/* ---- Which file ---- */

typedef struct font_choice {
    const char *path;       /* in the arena */
    int32_t index;          /* of the face in the file */
    const char *variations; /* "wght=700,..." or NULL */
} font_choice;

static bool is_font_file(const char *name)
{
    static const char *const extensions[] = {"ttf", "otf", "ttc", "otc", "woff"};
    const char *extension = lb_path_extension(name);

    for (size_t i = 0; i < sizeof extensions / sizeof extensions[0]; i++)
        if (strcasecmp(extension, extensions[i]) == 0)
            return true;
    return false;
}

static const char *family(const text_params *p)
{
    const char *slash = strrchr(p->font, '/');

    return slash ? slash + 1 : p->font;
}

static FcPattern *match(const char *name, int32_t weight, bool italic)
{
    FcPattern *asked = FcPatternCreate(), *answer = NULL;
    FcResult result;

    if (!asked)
        return NULL;
    if (FcPatternAddString(asked, FC_FAMILY, (const FcChar8 *)name) &&
        FcPatternAddDouble(asked, FC_WEIGHT, FcWeightFromOpenTypeDouble(weight)) &&
        FcPatternAddInteger(asked, FC_SLANT, italic ? FC_SLANT_ITALIC : FC_SLANT_ROMAN) &&
        FcPatternAddBool(asked, FC_SCALABLE, FcTrue) &&
        FcConfigSubstitute(NULL, asked, FcMatchPattern)) {
        FcDefaultSubstitute(asked);
        answer = FcFontMatch(NULL, asked, &result);
    }
    FcPatternDestroy(asked);
    return answer;
}

/* Tells what of the wish the answer does not meet. */
static void compare(const lb_call *call, FcPattern *answer)
{
    const text_params *p = call->params;
    const char *name = family(p);
    FcChar8 *got = NULL, *first = NULL;
    bool same = false;
    double weight;
    int slant;

    for (int i = 0; FcPatternGetString(answer, FC_FAMILY, i, &got) == FcResultMatch; i++) {
        first = i == 0 ? got : first;
        same = same || FcStrCmpIgnoreCase(got, (const FcChar8 *)name) == 0;
    }
    if (!same) {
        lb_warn(call->diag, lb_call_loc(call, "font"),
                "font family '%s' is not installed; '%s' is used in its place", name,
                first ? (const char *)first : "another");
        return;
    }
    if (FcPatternGetDouble(answer, FC_WEIGHT, 0, &weight) == FcResultMatch &&
        fabs(FcWeightToOpenTypeDouble(weight) - p->weight) > 50)
        lb_warn(call->diag, lb_call_loc(call, "weight"),
                "font family '%s' has no weight near %d; %d is used", name, (int)p->weight,
                (int)FcWeightToOpenTypeDouble(weight));
    if (FcPatternGetInteger(answer, FC_SLANT, 0, &slant) == FcResultMatch &&
        (slant != FC_SLANT_ROMAN) != p->italic)
        lb_warn(call->diag, lb_call_loc(call, "italic"), "font family '%s' has no %s member", name,
                p->italic ? "italic" : "upright");
}

static lb_status choose_family(const lb_call *call, font_choice *out)
{
    const text_params *p = call->params;
    FcPattern *answer = match(family(p), p->weight, p->italic);
    FcChar8 *file, *variations = NULL;
    lb_status status = LB_OK;
    int index = 0;

    if (!answer || FcPatternGetString(answer, FC_FILE, 0, &file) != FcResultMatch) {
        if (answer)
            FcPatternDestroy(answer);
        return lb_fail(call->diag, LB_NOT_FOUND, lb_call_loc(call, "font"),
                       "font family '%s' is not installed, nor any other", family(p));
    }
    compare(call, answer);
    FcPatternGetInteger(answer, FC_INDEX, 0, &index);
    FcPatternGetString(answer, FC_FONT_VARIATIONS, 0, &variations);
    out->index = index & 0xffff;
    out->path = lb_arena_strdup(call->arena, (const char *)file);
    if (variations)
        out->variations = lb_arena_strdup(call->arena, (const char *)variations);
    if (!out->path || (variations && !out->variations))
        status = lb_fail(call->diag, LB_MEMORY, lb_call_loc(call, "font"), "no memory");
    FcPatternDestroy(answer);
    return status;
}

static lb_status choose_font(const lb_call *call, font_choice *out)
{
    const text_params *p = call->params;

    *out = (font_choice){0};
    if (!is_font_file(p->font))
        return choose_family(call, out);
    out->path = p->font;
    out->variations = lb_arena_printf(call->arena, "wght=%d", (int)p->weight);
    return out->variations ? LB_OK
                           : lb_fail(call->diag, LB_MEMORY, lb_call_loc(call, "font"), "no memory");
}

/* ---- The font, opened ---- */

#define MOST_AXES 16

typedef struct font {
    hb_blob_t *blob;
    hb_face_t *face;
    hb_font_t *shaper; /* in font units */
    FT_Library library;
    FT_Face outlines;
    double scale; /* pixels per font unit */
} font;

static void font_close(font *f)
{
    if (f->outlines)
        FT_Done_Face(f->outlines);
    if (f->library)
        FT_Done_FreeType(f->library);
    hb_font_destroy(f->shaper);
    hb_face_destroy(f->face);
    hb_blob_destroy(f->blob);
    *f = (font){0};
}

/* "wght=700,wdth=80" for both libraries; axes that the font does not have are left out. */
static void set_variations(font *f, const char *text)
{
    hb_variation_t settings[MOST_AXES];
    FT_Fixed axes[MOST_AXES];
    FT_MM_Var *has = NULL;
    unsigned count = 0;

    if (!text || !FT_HAS_MULTIPLE_MASTERS(f->outlines))
        return;
    for (const char *at = text; *at && count < MOST_AXES;) {
        size_t length = strcspn(at, ",");

        if (hb_variation_from_string(at, (int)length, &settings[count]))
            count++;
        at += length + (at[length] == ',');
    }
    if (FT_Get_MM_Var(f->outlines, &has))
        return;
    for (FT_UInt i = 0; i < has->num_axis && i < MOST_AXES; i++) {
        axes[i] = has->axis[i].def;
        for (unsigned k = 0; k < count; k++)
            if (settings[k].tag == has->axis[i].tag) {
                double low = has->axis[i].minimum / 65536.0, high = has->axis[i].maximum / 65536.0;
                double value = settings[k].value;

                value = value < low ? low : value > high ? high : value;
                settings[k].value = (float)value;
                axes[i] = (FT_Fixed)rint(value * 65536);
            }
    }
    if (!FT_Set_Var_Design_Coordinates(f->outlines,
                                       has->num_axis < MOST_AXES ? has->num_axis : MOST_AXES, axes))
        hb_font_set_variations(f->shaper, settings, count);
    FT_Done_MM_Var(f->library, has);
}

static lb_status font_open(const lb_call *call, font *f)
{
    const text_params *p = call->params;
    lb_loc loc = lb_call_loc(call, "font");
    lb_file_content content;
    font_choice choice;
    lb_status status;

    *f = (font){0};
    if ((status = choose_font(call, &choice)) != LB_OK ||
        (status = lb_files_load(call->files, call->diag, loc, choice.path, &content)) != LB_OK)
        return status;
    f->blob =
        hb_blob_create(content.bytes, (unsigned)content.count, HB_MEMORY_MODE_READONLY, NULL, NULL);
    f->face = hb_face_create(f->blob, (unsigned)choice.index);
    f->shaper = hb_font_create(f->face);
    if (FT_Init_FreeType(&f->library) ||
        FT_New_Memory_Face(f->library, content.bytes, (FT_Long)content.count, choice.index,
                           &f->outlines) ||
        !FT_IS_SCALABLE(f->outlines) || f->outlines->units_per_EM == 0) {
        font_close(f);
        return lb_fail(call->diag, LB_FORMAT, loc, "'%s' is no font with outlines", choice.path);
    }
    if (hb_face_get_glyph_count(f->face) == 0) {
        font_close(f);
        return lb_fail(call->diag, LB_UNSUPPORTED, loc, "'%s' is no OpenType font", choice.path);
    }
    set_variations(f, choice.variations);
    hb_font_set_scale(f->shaper, f->outlines->units_per_EM, f->outlines->units_per_EM);
    f->scale = p->size / f->outlines->units_per_EM;
    return LB_OK;
}

/* ---- Outlines ---- */

/* TrueType leaves points out that lie between two control points. FreeType puts them in as whole
 * numbers, which would be off by half a font unit: so coordinates are 2^FINER times finer. */
#define FINER 6

/* A glyph on its way from font units, y up, to frame pixels. */
typedef struct pen {
    lb_outline *outline;
    double x, y, scale;
} pen;

static int move_to(const FT_Vector *to, void *user)
{
    const pen *p = user;

    lb_outline_move(p->outline, p->x + p->scale * (double)to->x, p->y - p->scale * (double)to->y);
    return 0;
}

static int line_to(const FT_Vector *to, void *user)
{
    const pen *p = user;

    lb_outline_line(p->outline, p->x + p->scale * (double)to->x, p->y - p->scale * (double)to->y);
    return 0;
}

static int conic_to(const FT_Vector *control, const FT_Vector *to, void *user)
{
    const pen *p = user;

    lb_outline_conic(p->outline, p->x + p->scale * (double)control->x,
                     p->y - p->scale * (double)control->y, p->x + p->scale * (double)to->x,
                     p->y - p->scale * (double)to->y);
    return 0;
}

static int cubic_to(const FT_Vector *first, const FT_Vector *second, const FT_Vector *to,
                    void *user)
{
    const pen *p = user;

    lb_outline_cubic(p->outline, p->x + p->scale * (double)first->x,
                     p->y - p->scale * (double)first->y, p->x + p->scale * (double)second->x,
                     p->y - p->scale * (double)second->y, p->x + p->scale * (double)to->x,
                     p->y - p->scale * (double)to->y);
    return 0;
}

/* Adds glyph `id` with its origin at (x, y). A damaged glyph shows nothing. */
static lb_status add_glyph(const font *f, uint32_t id, double x, double y, lb_outline *outline)
{
    static const FT_Outline_Funcs functions = {move_to, line_to, conic_to, cubic_to, FINER, 0};
    pen p = {outline, x, y, f->scale / (1 << FINER)};

    if (FT_Load_Glyph(f->outlines, id, FT_LOAD_NO_SCALE | FT_LOAD_NO_HINTING | FT_LOAD_NO_BITMAP))
        return LB_OK;
    if (f->outlines->glyph->format == FT_GLYPH_FORMAT_OUTLINE)
        FT_Outline_Decompose(&f->outlines->glyph->outline, &functions, &p);
    lb_outline_close(outline);
    return outline->failed ? LB_MEMORY : LB_OK;
}

/* ---- Lines ---- */

/* True if the character at byte `at` is to be shown as the font's sign for a missing one. */
static bool tell_missing(const lb_call *call, const char *line, size_t bytes, size_t at)
{
    uint32_t code = lb_utf8_next(line, bytes, &at);

    if (code < 32) /* tabs and the like are nothing to show */
        return false;
    lb_warn(call->diag, lb_call_loc(call, "text"), "the font has no U+%04X", (unsigned)code);
    return true;
}

/* Width of a shaped line in pixels; tracking stands between clusters, not after the last. */
static double measure(const font *f, hb_buffer_t *buffer, double tracking)
{
    unsigned count = hb_buffer_get_length(buffer);
    const hb_glyph_info_t *info = hb_buffer_get_glyph_infos(buffer, NULL);
    const hb_glyph_position_t *position = hb_buffer_get_glyph_positions(buffer, NULL);
    double width = 0;

    for (unsigned i = 0; i < count; i++) {
        width += position[i].x_advance * f->scale;
        if (i + 1 < count && info[i].cluster != info[i + 1].cluster)
            width += tracking;
    }
    return width;
}

/* Shapes one line and adds it with its baseline at (x, y), aligned. */
static lb_status set_line(const lb_call *call, font *f, hb_buffer_t *buffer, const char *line,
                          size_t bytes, double x, double y, lb_outline *o)
{
    const text_params *p = call->params;
    double tracking = p->tracking / 1000 * p->size;
    hb_feature_t apart[2] = {
        {HB_TAG('l', 'i', 'g', 'a'), 0, HB_FEATURE_GLOBAL_START, HB_FEATURE_GLOBAL_END},
        {HB_TAG('c', 'l', 'i', 'g'), 0, HB_FEATURE_GLOBAL_START, HB_FEATURE_GLOBAL_END}};
    const hb_glyph_position_t *position;
    const hb_glyph_info_t *info;
    lb_status status = LB_OK;
    unsigned count;

    hb_buffer_clear_contents(buffer);
    hb_buffer_add_utf8(buffer, line, (int)bytes, 0, (int)bytes);
    hb_buffer_guess_segment_properties(buffer);
    hb_shape(f->shaper, buffer, apart, p->tracking != 0 ? 2 : 0);
    if (!hb_buffer_allocation_successful(buffer))
        return LB_MEMORY;
    if (p->align != LEFT)
        x -= measure(f, buffer, tracking) / (p->align == CENTER ? 2 : 1);
    count = hb_buffer_get_length(buffer);
    info = hb_buffer_get_glyph_infos(buffer, NULL);
    position = hb_buffer_get_glyph_positions(buffer, NULL);
    for (unsigned i = 0; i < count && status == LB_OK; i++) {
        if (info[i].codepoint == 0 && !tell_missing(call, line, bytes, info[i].cluster))
            continue;
        status = add_glyph(f, info[i].codepoint, x + position[i].x_offset * f->scale,
                           y - position[i].y_offset * f->scale, o);
        x += position[i].x_advance * f->scale;
        y -= position[i].y_advance * f->scale;
        if (i + 1 < count && info[i].cluster != info[i + 1].cluster)
            x += tracking;
    }
    return status;
}

/* A line break at the very end is a block scalar's, and starts no line. */
static int32_t count_lines(const char *text)
{
    int32_t count = 1;

    for (; *text; text++)
        count += text[0] == '\n' && text[1];
    return count;
}

/* The first line's baseline for what is asked to be at `y`. `step`: from line to line. */
static double first_baseline(const text_params *p, const font *f, double y, double step)
{
    const FT_Face face = f->outlines;
    double block = step * (count_lines(p->text) - 1);
    hb_position_t capital = 0;

    switch (p->vertical) {
    case TOP:
        return y + face->ascender * f->scale;
    case BOTTOM:
        return y + face->descender * f->scale - block;
    case MIDDLE:
        hb_ot_metrics_get_position_with_fallback(f->shaper, HB_OT_METRICS_TAG_CAP_HEIGHT, &capital);
        return y + (capital * f->scale - block) / 2;
    default:
        return y;
    }
}

/* All lines as edges. */
static lb_status set_text(const lb_call *call, lb_outline *o)
{
    const text_params *p = call->params;
    double x = call->format->width / 2.0, y = call->format->height / 2.0, step;
    hb_buffer_t *buffer;
    const char *line = p->text;
    lb_status status;
    font f;

    *o = (lb_outline){0};
    if ((status = font_open(call, &f)) != LB_OK)
        return status;
    if (lb_is_set(p->position[0]))
        x = p->position[0], y = p->position[1];
    step = lb_is_set(p->line_height) ? p->line_height * p->size : f.outlines->height * f.scale;
    y = first_baseline(p, &f, y, step);
    buffer = hb_buffer_create();
    for (bool more = true; more && status == LB_OK; y += step) {
        size_t bytes = strcspn(line, "\n");

        status = set_line(call, &f, buffer, line, bytes, x, y, o);
        line += bytes + (line[bytes] == '\n');
        more = *line != 0;
    }
    if (status == LB_MEMORY)
        lb_fail(call->diag, status, lb_call_loc(call, "text"), "no room for the letters' outlines");
    hb_buffer_destroy(buffer);
    font_close(&f);
    return status;
}

/* ---- The operator ---- */

static lb_status check(const lb_call *call)
{
    const text_params *p = call->params;
    size_t bytes = strlen(p->text);
    font_choice choice;

    if (bytes > MOST_BYTES)
        return lb_fail(call->diag, LB_LIMIT, lb_call_loc(call, "text"),
                       "'text' has %zu bytes; %d are the most", bytes, MOST_BYTES);
    if (!lb_utf8_is_valid(p->text, bytes))
        return lb_fail(call->diag, LB_INVALID, lb_call_loc(call, "text"), "'text' is not UTF-8");
    if (is_font_file(p->font) && !lb_file_exists(p->font))
        return lb_fail(call->diag, LB_NOT_FOUND, lb_call_loc(call, "font"), "'%s' is not there",
                       p->font);
    return choose_font(call, &choice);
}

/* Of the libraries that draw: another one may put an outline elsewhere, and a cache may be shared
 * by machines that have not the same. */
static lb_status hash_libraries(lb_hasher *hasher)
{
    FT_Library library;
    FT_Int version[3] = {0};

    if (FT_Init_FreeType(&library) != 0)
        return LB_MEMORY;
    FT_Library_Version(library, &version[0], &version[1], &version[2]);
    FT_Done_FreeType(library);
    for (int i = 0; i < 3; i++)
        lb_hash_u64(hasher, (uint64_t)version[i]);
    lb_hash_string(hasher, hb_version_string());
    return LB_OK;
}

static lb_status fingerprint(const lb_call *call, lb_hasher *hasher)
{
    font_choice choice;
    lb_key key;
    lb_status status = choose_font(call, &choice);

    if (status == LB_OK)
        status =
            lb_files_key(call->files, call->diag, lb_call_loc(call, "font"), choice.path, &key);
    if (status != LB_OK)
        return status;
    lb_hash_key(hasher, key);
    lb_hash_u64(hasher, (uint64_t)choice.index);
    lb_hash_string(hasher, choice.variations);
    if (hash_libraries(hasher) != LB_OK)
        return lb_fail(call->diag, LB_MEMORY, call->loc, "no memory");
    return LB_OK;
}

static lb_status describe(const lb_call *call, lb_desc *out)
{
    lb_outline o;
    lb_status status = set_text(call, &o);

    if (status == LB_OK) {
        *out = lb_desc_frame(call, lb_channels_rgba());
        out->data_window = lb_outline_box(&o);
    }
    lb_outline_clear(&o);
    return status;
}

LB_CLONES
static void scale_row(float *restrict out, const float *restrict in, float by, int32_t count)
{
    for (int32_t x = 0; x < count; x++)
        out[x] = in[x] * by;
}

static lb_status scaled_plane(const lb_plane *in, double by, lb_plane **out)
{
    lb_box box = lb_plane_box(in);
    lb_status status;

    if (by == 1) {
        *out = lb_plane_ref(in);
        return LB_OK;
    }
    status = lb_plane_new_raw(box, out);
    for (int32_t y = box.y0; status == LB_OK && y < box.y1; y++)
        scale_row(lb_plane_row_to_fill(*out, y), lb_plane_row(in, y), (float)by, lb_box_width(box));
    return status;
}

/* Coverage times colour. */
static lb_status evaluate(const lb_task *task, lb_value *out)
{
    static const char *const names[4] = {"R", "G", "B", "A"};
    const double *color = ((const text_params *)task->call.params)->color;
    lb_plane *coverage = NULL;
    lb_outline o;
    lb_status status = set_text(&task->call, &o);

    if (status == LB_OK)
        status = lb_task_image(task, &out->image);
    if (status == LB_OK)
        status = lb_outline_fill(task->pool, &o, task->box, &coverage);
    for (int c = 0; c < 4 && status == LB_OK; c++) {
        lb_plane *plane = NULL;

        if (!lb_task_wants(task, names[c]))
            continue;
        status = scaled_plane(coverage, c < 3 ? color[c] * color[3] : color[3], &plane);
        if (status == LB_OK)
            status = lb_image_add(out->image, names[c], plane);
        lb_plane_unref(&plane);
    }
    lb_plane_unref(&coverage);
    lb_outline_clear(&o);
    if (status != LB_OK)
        lb_image_unref(&out->image);
    return status;
}

const lb_op lb_op_text = {
    .name = "text",
    .summary = "Lines of type",
    .doc = "Type is set by the font's own rules (kerning, ligatures, marks). The data window is "
           "the ink. Where a character is missing in the font, or the family is not installed, a "
           "warning says so.",
    .group = "source",
    .example =
        "  dusk: {op: solid, color: \"#1b1420\"}\n"
        "  type: {op: text, text: \"NIGHT FIRING\\nshelf by shelf\", size: 36, tracking: 80, "
        "line-height: 1.4}\n"
        "  last: {op: composite, source: type, backdrop: dusk}\n",
    .version = 1,
    .params = params,
    .params_size = sizeof(text_params),
    .result = LB_KIND_IMAGE,
    .check = check,
    .fingerprint = fingerprint,
    .describe = describe,
    .evaluate = evaluate,
};
