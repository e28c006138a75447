/* engine/scene/mesh_read.c: messages, facts and paths of the readers of OBJ, PLY and STL. */
#include "engine/scene/mesh_read.h"

#include <stdarg.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/base/text.h"

static const char *name_of(const char *path)
{
    const char *slash = strrchr(path, '/');

    return slash ? slash + 1 : path;
}

lb_status reader_open(reader *r, lb_pool *pool, lb_diag *diag, lb_loc loc, const char *path,
                      const lb_import_options *options)
{
    *r = (reader){.pool = pool,
                  .diag = diag,
                  .loc = loc,
                  .path = path,
                  .name = name_of(path),
                  .options = options};
    if (!(r->folder = lb_path_folder(path)) || lb_scene_new(&r->scene))
        return reader_no_memory(r);
    return LB_OK;
}

void reader_close(reader *r)
{
    for (size_t i = 0; i < r->picture_count; i++) {
        lb_free(r->pictures[i].key);
        lb_texture_unref(&r->pictures[i].texture);
    }
    lb_free(r->pictures);
    lb_free(r->folder);
    r->pictures = NULL;
    r->folder = NULL;
}

lb_status reader_fail(const reader *r, lb_status status, int64_t line, const char *format, ...)
{
    char what[512], place[32] = "";
    va_list args;

    va_start(args, format);
    vsnprintf(what, sizeof what, format, args);
    va_end(args);
    if (line > 0)
        snprintf(place, sizeof place, ", line %lld", (long long)line);
    return lb_fail(r->diag, status, r->loc, "'%s'%s: %s", r->path, place, what);
}

lb_status reader_no_memory(const reader *r)
{
    return lb_fail(r->diag, LB_MEMORY, r->loc, "'%s': no room for this scene", r->path);
}

lb_status reader_told(const reader *r, lb_status status)
{
    if (status == LB_LIMIT)
        return lb_fail(r->diag, status, r->loc, "'%s': more in one scene than can be counted",
                       r->path);
    return status ? reader_no_memory(r) : LB_OK;
}

const char *reader_where(char out[READER_WHERE], const char *name, int64_t line)
{
    if (line > 0)
        snprintf(out, READER_WHERE, "%.150s:%lld", name, (long long)line);
    else
        snprintf(out, READER_WHERE, "%.150s", name);
    return out;
}

lb_status reader_fact(reader *r, lb_fact_kind kind, const char *where, const char *format, ...)
{
    char what[512];
    va_list args;

    va_start(args, format);
    vsnprintf(what, sizeof what, format, args);
    va_end(args);
    return reader_told(r, lb_scene_add_fact(r->scene, kind, where, "%s", what));
}

static lb_status count_fact(reader *r, lb_fact_kind kind, int64_t count, const char *format)
{
    char what[256];

    if (count == 0)
        return LB_OK;
    snprintf(what, sizeof what, format, (long long)count);
    return reader_fact(r, kind, r->name, "%s", what);
}

lb_status reader_tally(reader *r, const lb_polygons_tally *tally)
{
    static const struct {
        lb_fact_kind kind;
        const char *format;
    } facts[] = {
        {LB_FACT_CONVERTED, "Polygons of more than three corners are cut into triangles: %lld."},
        {LB_FACT_ASSUMED, "Polygons without area are kept, as fans: %lld."},
        {LB_FACT_CONVERTED, "Polygons whose outline crosses itself are cut as well as it goes: "
                            "%lld."},
        {LB_FACT_DROPPED, "Polygons that are not convex and have more corners than are cut (2048) "
                          "are left out: %lld."},
        {LB_FACT_ASSUMED, "Vertices without texture coordinates lie at (0, 0): %lld."},
    };
    int64_t counts[] = {tally->cut, tally->no_area, tally->crossing, tally->too_long,
                        tally->lacking_uv};

    for (size_t i = 0; i < sizeof facts / sizeof facts[0]; i++) {
        lb_status status = count_fact(r, facts[i].kind, counts[i], facts[i].format);

        if (status)
            return status;
    }
    if (tally->too_long > 0)
        lb_warn(r->diag, r->loc,
                "'%s': %lld polygons are left out: not convex, and more than %d "
                "corners",
                r->path, (long long)tally->too_long, LB_TRIANGULATE_MOST);
    return LB_OK;
}

/* /x, \x, C:x: places that only the machine of the writer had. */
static bool is_absolute(lb_word name)
{
    char c = name.count > 0 ? name.at[0] : 0;

    if (c == '/' || c == '\\')
        return true;
    return name.count > 1 && name.at[1] == ':' &&
           ((c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'));
}

lb_status reader_path(const char *folder, lb_word name, bool *was_absolute, char **out)
{
    bool absolute = is_absolute(name);
    char *text;

    *out = NULL;
    if (was_absolute)
        *was_absolute = absolute;
    for (size_t i = 0; absolute && i < name.count;)
        if (name.at[i] == '/' || name.at[i] == '\\' || name.at[i] == ':') {
            name.at += i + 1;
            name.count -= i + 1;
            i = 0;
        } else {
            i++;
        }
    if (name.count == 0 || memchr(name.at, 0, name.count))
        return LB_FORMAT;
    if (!(text = lb_strndup(name.at, name.count)))
        return LB_MEMORY;
    for (char *at = text; *at; at++)
        *at = *at == '\\' ? '/' : *at;
    *out = lb_path_join(folder, text);
    lb_free(text);
    return *out ? LB_OK : LB_MEMORY;
}

lb_vec3 reader_color(const reader *r, const double rgb[3], bool encoded)
{
    float c[3] = {(float)rgb[0], (float)rgb[1], (float)rgb[2]};

    lb_space_convert_row(encoded ? LB_SPACE_SRGB : LB_SPACE_LINEAR_REC709, r->options->working,
                         &c[0], &c[1], &c[2], 1);
    return (lb_vec3){c[0], c[1], c[2]};
}

#define CHUNK 256

void reader_colors(const reader *r, lb_vec4 *colors, size_t count, bool encoded)
{
    lb_space from = encoded ? LB_SPACE_SRGB : LB_SPACE_LINEAR_REC709;

    for (size_t begin = 0; begin < count; begin += CHUNK) {
        size_t n = count - begin < CHUNK ? count - begin : CHUNK;
        float rgb[3][CHUNK];

        for (size_t i = 0; i < n; i++) {
            rgb[0][i] = colors[begin + i].x;
            rgb[1][i] = colors[begin + i].y;
            rgb[2][i] = colors[begin + i].z;
        }
        lb_space_convert_row(from, r->options->working, rgb[0], rgb[1], rgb[2], (int32_t)n);
        for (size_t i = 0; i < n; i++)
            colors[begin + i] = (lb_vec4){rgb[0][i], rgb[1][i], rgb[2][i], colors[begin + i].w};
    }
}

lb_status reader_name(reader *r, lb_word word, char **out)
{
    bool is_utf8 = lb_utf8_is_valid(word.at, word.count);
    size_t room, n = 0;
    lb_status status;

    *out = NULL;
    if (!lb_size_mul(word.count, 2, &room) || !(*out = lb_alloc(room + 1, 1)))
        return reader_no_memory(r);
    for (size_t i = 0; i < word.count; i++) {
        unsigned char c = (unsigned char)word.at[i];

        if (c >= 128 && !is_utf8) {
            (*out)[n++] = (char)(0xC0 | c >> 6);
            c = 0x80 | (c & 0x3F);
        }
        (*out)[n++] = c == '\t' ? ' ' : c < 32 || c == 127 ? '?' : (char)c;
    }
    if (is_utf8 || r->told_latin)
        return LB_OK;
    r->told_latin = true;
    status =
        reader_fact(r, LB_FACT_ASSUMED, r->name, "Names that are no UTF-8 are taken as Latin-1.");
    if (status) {
        lb_free(*out);
        *out = NULL;
    }
    return status;
}

lb_status reader_stem(reader *r, char **out)
{
    const char *dot = strrchr(r->name, '.');
    lb_word word = {r->name, dot && dot > r->name ? (size_t)(dot - r->name) : strlen(r->name)};

    return reader_name(r, word, out);
}
