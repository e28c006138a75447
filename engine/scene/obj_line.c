/* engine/scene/obj_line.c: the lines of an OBJ file. "Object files (.obj)", version 3.0; colours of
 * vertices are a common extension. */
#include <math.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/scene/obj_read.h"

#define MAX_LIBRARIES 1000

void obj_names_clear(obj_names *names)
{
    lb_triple_table_clear(&names->table);
    lb_free(names->words);
    *names = (obj_names){0};
}

lb_status obj_names_number(obj_names *names, lb_word word, int32_t *number)
{
    int32_t known = names->table.count;
    lb_status status;

    if (!lb_grow((void **)&names->words, &names->capacity, (size_t)known, sizeof *names->words))
        return LB_MEMORY;
    if ((status = mtl_name_number(&names->table, word, number)))
        return status;
    if (*number == known)
        names->words[known] = word;
    return LB_OK;
}

static void count_up(obj *o, obj_count *count)
{
    if (count->count++ == 0)
        count->line = o->scan.line;
}

/* Numbers until the line or a comment ends; -1, reported: something else is among them. */
static int read_numbers(obj *o, double *out, int most, const char *what)
{
    int count = 0;

    while (lb_scan_more(&o->scan) && *o->scan.at != '#') {
        lb_word word = lb_scan_word(&o->scan);
        double value;

        if (lb_word_number(word, &value) == LB_NUMERAL_NONE) {
            reader_fail(&o->r, LB_FORMAT, o->scan.line, "'%.*s' is no number",
                        word.count < 40 ? (int)word.count : 40, word.at);
            return -1;
        }
        if (count < most)
            out[count] = value;
        count++;
    }
    if (count > most) {
        reader_fail(&o->r, LB_FORMAT, o->scan.line, "%s of %d numbers", what, count);
        return -1;
    }
    return count;
}

/* The first coloured vertex may come late: those before it are white. */
static lb_status add_color(obj *o, const double rgb[3])
{
    lb_polygons *p = &o->p;
    size_t at = p->place_count - 1;

    while (p->color_capacity < p->place_capacity) {
        size_t wanted = p->place_capacity;
        lb_vec4 *bigger = lb_realloc(p->colors, wanted, sizeof *bigger);

        if (!bigger)
            return reader_no_memory(&o->r);
        p->colors = bigger;
        for (size_t i = p->color_capacity; i < wanted; i++)
            p->colors[i] = (lb_vec4){1, 1, 1, 1};
        p->color_capacity = wanted;
    }
    if (!rgb)
        return LB_OK;
    for (int i = 0; i < 3; i++)
        if (!(fabs(rgb[i]) <= 1e6))
            return reader_fail(&o->r, LB_FORMAT, o->scan.line, "a colour of %g", rgb[i]);
    p->colors[at] = (lb_vec4){(float)rgb[0], (float)rgb[1], (float)rgb[2], 1};
    o->brightest = fmaxf(o->brightest, (float)fmax(rgb[0], fmax(rgb[1], rgb[2])));
    return LB_OK;
}

/* x y z, w, x y z r g b, or x y z w r g b. */
static lb_status read_place(obj *o)
{
    lb_polygons *p = &o->p;
    double v[7];
    int count = read_numbers(o, v, 7, "a vertex");

    if (count < 0)
        return LB_FORMAT;
    if (count < 3 || count == 5)
        return reader_fail(&o->r, LB_FORMAT, o->scan.line, "a vertex of %d numbers", count);
    for (int i = 0; i < 3; i++)
        if (!isfinite((float)v[i]))
            return reader_fail(&o->r, LB_FORMAT, o->scan.line,
                               "a vertex that is nowhere: its coordinate %d is %g", i + 1, v[i]);
    if ((count == 4 || count == 7) && v[3] != 1)
        count_up(o, &o->weights);
    if (p->place_count >= INT32_MAX)
        return reader_told(&o->r, LB_LIMIT);
    if (!lb_grow((void **)&p->places, &p->place_capacity, p->place_count, sizeof *p->places))
        return reader_no_memory(&o->r);
    p->places[p->place_count++] = (lb_vec3){(float)v[0], (float)v[1], (float)v[2]};
    if (count >= 6)
        return add_color(o, v + count - 3);
    return p->colors ? add_color(o, NULL) : LB_OK;
}

/* u [v [w]]; v goes up in the file. */
static lb_status read_uv(obj *o)
{
    lb_polygons *p = &o->p;
    double t[3] = {0, 0, 0};
    int count = read_numbers(o, t, 3, "texture coordinates");

    if (count < 0)
        return LB_FORMAT;
    if (count == 0)
        return reader_fail(&o->r, LB_FORMAT, o->scan.line, "texture coordinates of 0 numbers");
    if (!isfinite((float)t[0]) || !isfinite((float)t[1])) {
        count_up(o, &o->vague_uvs);
        t[0] = t[1] = 0;
    }
    if (count == 3 && t[2] != 0)
        count_up(o, &o->depths);
    if (p->uv_count >= INT32_MAX)
        return reader_told(&o->r, LB_LIMIT);
    if (!lb_grow((void **)&p->uvs, &p->uv_capacity, p->uv_count, sizeof *p->uvs))
        return reader_no_memory(&o->r);
    p->uvs[p->uv_count++] = (lb_vec2){(float)t[0], (float)(1 - t[1])};
    return LB_OK;
}

static lb_status read_normal(obj *o)
{
    lb_polygons *p = &o->p;
    double n[3];
    int count = read_numbers(o, n, 3, "a normal");

    if (count < 0)
        return LB_FORMAT;
    if (count < 3)
        return reader_fail(&o->r, LB_FORMAT, o->scan.line, "a normal of %d numbers", count);
    if (!isfinite((float)n[0]) || !isfinite((float)n[1]) || !isfinite((float)n[2]) ||
        (n[0] == 0 && n[1] == 0 && n[2] == 0)) {
        count_up(o, &o->vague_normals);
        n[0] = n[1] = n[2] = 0;
    }
    if (p->normal_count >= INT32_MAX)
        return reader_told(&o->r, LB_LIMIT);
    if (!lb_grow((void **)&p->normals, &p->normal_capacity, p->normal_count, sizeof *p->normals))
        return reader_no_memory(&o->r);
    p->normals[p->normal_count++] = (lb_vec3){(float)n[0], (float)n[1], (float)n[2]};
    return LB_OK;
}

/* ---- Faces ---- */

static bool read_index(const char **at, const char *end, int64_t *out)
{
    bool is_negative = *at < end && **at == '-';
    int64_t value = 0;
    const char *from;

    *at += is_negative;
    for (from = *at; *at < end && **at >= '0' && **at <= '9'; ++*at)
        value = value < INT32_MAX ? value * 10 + (**at - '0') : value;
    *out = is_negative ? -value : value;
    return *at > from;
}

/* Counted from 1 from the first, or from -1 from the last so far. What is ahead may come yet: the
 * highest is compared in the end. */
static lb_status resolve(obj *o, int kind, int64_t index, size_t count, int32_t *out)
{
    static const char *const names[] = {"vertex", "texture coordinate", "normal"};

    if (index > 0 && index <= INT32_MAX) {
        if (index > o->highest[kind].index) {
            o->highest[kind].index = index;
            o->highest[kind].line = o->scan.line;
        }
        *out = (int32_t)(index - 1);
        return LB_OK;
    }
    if (index < 0 && (uint64_t)-index <= count) {
        *out = (int32_t)((int64_t)count + index);
        return LB_OK;
    }
    return reader_fail(&o->r, LB_FORMAT, o->scan.line, "there is no %s %lld%s", names[kind],
                       (long long)index, index == 0 ? ": they count from 1" : " at this line");
}

/* v, v/t, v//n or v/t/n. */
static lb_status read_corner(obj *o, lb_word word, lb_corner *out)
{
    const char *at = word.at, *end = word.at + word.count;
    int64_t place, uv = 0, normal = 0;
    bool has_uv = false, has_normal = false, is_good = read_index(&at, end, &place);
    lb_status status;

    *out = (lb_corner){-1, -1, -1};
    if (is_good && at < end && *at == '/') {
        at++;
        has_uv = at < end && *at != '/';
        is_good = !has_uv || read_index(&at, end, &uv);
    }
    if (is_good && at < end && *at == '/') {
        at++;
        has_normal = at < end;
        is_good = !has_normal || read_index(&at, end, &normal);
    }
    if (!is_good || at != end)
        return reader_fail(&o->r, LB_FORMAT, o->scan.line, "'%.*s' is no corner of a face",
                           word.count < 40 ? (int)word.count : 40, word.at);
    if ((status = resolve(o, 0, place, o->p.place_count, &out->place)) ||
        (has_uv && (status = resolve(o, 1, uv, o->p.uv_count, &out->uv))) ||
        (has_normal && (status = resolve(o, 2, normal, o->p.normal_count, &out->normal))))
        return status;
    return LB_OK;
}

/* Looks up the part that object, group and material in force make together. */
static lb_status find_part(obj *o)
{
    int32_t items = o->item_table.count, parts = o->part_table.count, item;
    lb_status status;

    if (!lb_grow((void **)&o->items, &o->item_capacity, (size_t)items, sizeof *o->items) ||
        !lb_grow((void **)&o->parts, &o->part_capacity, (size_t)parts, sizeof *o->parts))
        return reader_no_memory(&o->r);
    if ((status = lb_triple_table_find(&o->item_table, o->object, o->group, 0, &item)) ||
        (status = lb_triple_table_find(&o->part_table, item, o->use, 0, &o->part))) {
        o->part = -1;
        return reader_told(&o->r, status);
    }
    if (item == items)
        o->items[item] = (obj_item){o->object, o->group, 0};
    if (o->part == parts) {
        o->parts[o->part] = (obj_part){item, o->use, 0};
        o->items[item].parts++;
    }
    return LB_OK;
}

static lb_status read_face(obj *o)
{
    lb_polygons *p = &o->p;
    size_t first = p->corner_count, count;
    bool lacks = false;
    lb_status status;

    while (lb_scan_more(&o->scan) && *o->scan.at != '#') {
        lb_corner corner;

        if ((status = read_corner(o, lb_scan_word(&o->scan), &corner)))
            return status;
        if (!lb_grow((void **)&p->corners, &p->corner_capacity, p->corner_count,
                     sizeof *p->corners))
            return reader_no_memory(&o->r);
        p->corners[p->corner_count++] = corner;
        lacks = lacks || corner.normal < 0;
    }
    count = p->corner_count - first;
    if (count < 3) {
        p->corner_count = first;
        count_up(o, &o->few_corners);
        return LB_OK;
    }
    if (count > INT32_MAX / 8 || p->polygon_count >= INT32_MAX)
        return reader_told(&o->r, LB_LIMIT);
    if (o->part < 0 && (status = find_part(o)))
        return status;
    if (!lb_grow((void **)&p->polygons, &p->polygon_capacity, p->polygon_count,
                 sizeof *p->polygons))
        return reader_no_memory(&o->r);
    p->polygons[p->polygon_count++] = (lb_polygon){first, (int32_t)count, o->part, o->smooth};
    o->parts[o->part].polygons++;
    if (lacks)
        count_up(o, &o->own_normals);
    return LB_OK;
}

/* ---- What the faces that follow belong to ---- */

static lb_status read_object(obj *o)
{
    lb_word name = lb_scan_rest(&o->scan);

    o->part = o->group = o->object = -1;
    if (name.count == 0)
        return LB_OK;
    return reader_told(&o->r, obj_names_number(&o->objects, name, &o->object));
}

static lb_status read_group(obj *o)
{
    lb_word name = lb_scan_rest(&o->scan);

    o->part = o->group = -1;
    if (name.count == 0 || lb_word_is(name, "default"))
        return LB_OK;
    if (memchr(name.at, ' ', name.count) || memchr(name.at, '\t', name.count))
        count_up(o, &o->several_groups);
    return reader_told(&o->r, obj_names_number(&o->groups, name, &o->group));
}

static lb_status read_use(obj *o)
{
    lb_word name = lb_scan_rest(&o->scan);

    o->part = o->use = -1;
    if (name.count == 0)
        return LB_OK;
    return reader_told(&o->r, obj_names_number(&o->uses, name, &o->use));
}

static lb_status read_smooth(obj *o)
{
    lb_word word = lb_scan_word(&o->scan);

    o->smooth = 0;
    if (lb_word_is_like(word, "off"))
        return LB_OK;
    if (lb_word_is_like(word, "on"))
        o->smooth = 1;
    else if (!lb_word_whole(word, &o->smooth))
        count_up(o, &o->bad_smooth);
    o->has_smooth = o->has_smooth || o->smooth != 0;
    return LB_OK;
}

/* ---- Libraries ---- */

static lb_status one_library(const char *folder, lb_word name, bool must_exist, bool *is_there,
                             lb_import_file_fn fn, void *context)
{
    char *path;
    lb_status status = reader_path(folder, name, NULL, &path);

    *is_there = false;
    if (status == LB_FORMAT)
        return LB_OK;
    if (status)
        return status;
    *is_there = lb_file_exists(path);
    if (*is_there || !must_exist)
        status = fn(context, path);
    lb_free(path);
    return status;
}

lb_status obj_each_library(const char *folder, lb_word rest, bool all, lb_import_file_fn fn,
                           void *context)
{
    lb_scan scan = {rest.at, rest.at + rest.count, 1, true};
    bool is_there, is_one = !memchr(rest.at, ' ', rest.count) && !memchr(rest.at, '\t', rest.count);
    lb_status status = one_library(folder, rest, !all && !is_one, &is_there, fn, context);

    if (status || is_one || (is_there && !all))
        return status;
    for (lb_word word; status == LB_OK && (word = lb_scan_word(&scan)).count > 0;)
        status = one_library(folder, word, false, &is_there, fn, context);
    return status;
}

/* What fails here is reported. */
static lb_status read_library(void *context, const char *path)
{
    obj *o = context;
    char where[READER_WHERE];
    int32_t known = o->libraries.table.count, number;
    lb_status status;

    /* The path is known by its hash alone: its text does not stay. */
    status = mtl_name_number(&o->libraries.table, (lb_word){path, strlen(path)}, &number);
    if (status)
        return reader_told(&o->r, status);
    if (number < known)
        return LB_OK;
    if (number >= MAX_LIBRARIES)
        return reader_fail(&o->r, LB_LIMIT, o->scan.line, "more than %d material libraries",
                           MAX_LIBRARIES);
    if (lb_file_exists(path))
        return mtl_read(&o->mtl, o->r.diag, o->r.loc, path);
    reader_where(where, o->r.name, o->scan.line);
    lb_warn(o->r.diag, o->r.loc, "'%s', line %lld: the material library '%s' is missing", o->r.path,
            (long long)o->scan.line, path);
    return reader_fact(&o->r, LB_FACT_DROPPED, where, "The material library '%.200s' is missing.",
                       path);
}

static lb_status read_libraries(obj *o)
{
    lb_word rest = lb_scan_rest(&o->scan);
    lb_status status = obj_each_library(o->r.folder, rest, false, read_library, o);

    if (status == LB_MEMORY)
        return reader_no_memory(&o->r); /* told already, perhaps; the same words are not repeated */
    return status;
}

static const struct {
    const char *word, *why;
} unused_words[] = {
    {"l", " (lines)"},
    {"p", " (points)"},
    {"vp", " (free-form geometry)"},
    {"deg", " (free-form geometry)"},
    {"bmat", " (free-form geometry)"},
    {"step", " (free-form geometry)"},
    {"cstype", " (free-form geometry)"},
    {"curv", " (free-form geometry)"},
    {"curv2", " (free-form geometry)"},
    {"surf", " (free-form geometry)"},
    {"parm", " (free-form geometry)"},
    {"trim", " (free-form geometry)"},
    {"hole", " (free-form geometry)"},
    {"scrv", " (free-form geometry)"},
    {"sp", " (free-form geometry)"},
    {"end", " (free-form geometry)"},
    {"con", " (free-form geometry)"},
    {"mg", " (merging of free-form geometry)"},
    {"bevel", " (interpolation of bevels)"},
    {"c_interp", " (interpolation of colours)"},
    {"d_interp", " (interpolation of opacity)"},
    {"lod", " (level of detail)"},
    {"shadow_obj", " (an object for shadows)"},
    {"trace_obj", " (an object for reflections)"},
    {"ctech", " (free-form geometry)"},
    {"stech", " (free-form geometry)"},
    {"maplib", " (a library of maps)"},
    {"usemap", " (a map of a library)"},
    {"call", " (another file)"},
    {"csh", " (a command of the system)"},
};

lb_status obj_read_line(obj *o, lb_word word)
{
    if (lb_word_is(word, "v"))
        return read_place(o);
    if (lb_word_is(word, "f") || lb_word_is(word, "fo")) /* fo: as version 2 wrote it */
        return read_face(o);
    if (lb_word_is(word, "vn"))
        return read_normal(o);
    if (lb_word_is(word, "vt"))
        return read_uv(o);
    if (lb_word_is(word, "g"))
        return read_group(o);
    if (lb_word_is(word, "o"))
        return read_object(o);
    if (lb_word_is(word, "s"))
        return read_smooth(o);
    if (lb_word_is(word, "usemtl"))
        return read_use(o);
    if (lb_word_is(word, "mtllib"))
        return read_libraries(o);
    for (size_t i = 0; i < sizeof unused_words / sizeof unused_words[0]; i++)
        if (lb_word_is(word, unused_words[i].word)) {
            word_tally_add(&o->unused, word, unused_words[i].why, o->scan.line);
            return LB_OK;
        }
    word_tally_add(&o->unused, word, "", o->scan.line);
    return LB_OK;
}
