/* engine/scene/ply_header.c: the header of PLY. "The PLY Polygon File Format", Greg Turk, 1994. */
#include <string.h>

#include "engine/scene/ply_read.h"

static bool read_type(lb_word word, ply_type *out)
{
    static const struct {
        const char *name;
        ply_type type;
    } types[] = {
        {"char", PLY_I8},   {"int8", PLY_I8},     {"uchar", PLY_U8},   {"uint8", PLY_U8},
        {"short", PLY_I16}, {"int16", PLY_I16},   {"ushort", PLY_U16}, {"uint16", PLY_U16},
        {"int", PLY_I32},   {"int32", PLY_I32},   {"uint", PLY_U32},   {"uint32", PLY_U32},
        {"float", PLY_F32}, {"float32", PLY_F32}, {"double", PLY_F64}, {"float64", PLY_F64},
    };

    for (size_t i = 0; i < sizeof types / sizeof types[0]; i++)
        if (lb_word_is(word, types[i].name)) {
            *out = types[i].type;
            return true;
        }
    return false;
}

static ply_role scalar_role(lb_word name)
{
    static const struct {
        const char *name;
        ply_role role;
    } roles[] = {
        {"x", PLY_X},
        {"y", PLY_Y},
        {"z", PLY_Z},
        {"nx", PLY_NX},
        {"ny", PLY_NY},
        {"nz", PLY_NZ},
        {"red", PLY_RED},
        {"green", PLY_GREEN},
        {"blue", PLY_BLUE},
        {"alpha", PLY_ALPHA},
        {"r", PLY_RED},
        {"g", PLY_GREEN},
        {"b", PLY_BLUE},
        {"a", PLY_ALPHA},
        {"diffuse_red", PLY_RED},
        {"diffuse_green", PLY_GREEN},
        {"diffuse_blue", PLY_BLUE},
        {"u", PLY_U},
        {"v", PLY_V},
        {"s", PLY_U},
        {"t", PLY_V},
        {"texture_u", PLY_U},
        {"texture_v", PLY_V},
        {"texture_s", PLY_U},
        {"texture_t", PLY_V},
    };

    for (size_t i = 0; i < sizeof roles / sizeof roles[0]; i++)
        if (lb_word_is(name, roles[i].name))
            return roles[i].role;
    return PLY_NOTHING;
}

static ply_role role_of(ply_kind kind, const ply_property *p)
{
    if (kind == PLY_VERTEX)
        return p->is_list ? PLY_NOTHING : scalar_role(p->name);
    if (kind == PLY_OTHER || !p->is_list)
        return PLY_NOTHING;
    if (lb_word_is(p->name, "vertex_indices") || lb_word_is(p->name, "vertex_index"))
        return PLY_INDICES;
    return kind == PLY_FACE && lb_word_is(p->name, "texcoord") ? PLY_TEXCOORD : PLY_NOTHING;
}

static lb_status bad_line(const reader *r, const lb_scan *scan, const char *what)
{
    return reader_fail(r, LB_FORMAT, scan->line, "the header has %s", what);
}

static lb_status read_property(const reader *r, lb_scan *scan, ply_header *h)
{
    ply_element *e = h->element_count > 0 ? &h->elements[h->element_count - 1] : NULL;
    ply_property p = {.role = PLY_NOTHING};
    lb_word word = lb_scan_word(scan);

    if (!e)
        return bad_line(r, scan, "a property before the first element");
    p.is_list = lb_word_is(word, "list");
    if (p.is_list) {
        if (!read_type(lb_scan_word(scan), &p.count_type) || p.count_type >= PLY_F32)
            return bad_line(r, scan, "a list that is not counted in whole numbers");
        word = lb_scan_word(scan);
    }
    p.name = (lb_word){NULL, 0};
    if (!read_type(word, &p.type) || (p.name = lb_scan_word(scan)).count == 0)
        return bad_line(r, scan, "a property without a type that is known, or without a name");
    if (e->property_count == PLY_PROPERTIES)
        return reader_fail(r, LB_LIMIT, scan->line, "more than %d properties of one element",
                           PLY_PROPERTIES);
    p.role = role_of(e->kind, &p);
    if (e->has[p.role])
        p.role = PLY_NOTHING; /* the first of two that say the same */
    e->has[p.role] = true;
    e->properties[e->property_count++] = p;
    return LB_OK;
}

static lb_status read_element(const reader *r, lb_scan *scan, ply_header *h)
{
    ply_element *e = &h->elements[h->element_count];

    if (h->element_count == PLY_ELEMENTS)
        return reader_fail(r, LB_LIMIT, scan->line, "more than %d elements", PLY_ELEMENTS);
    *e = (ply_element){.name = lb_scan_word(scan), .line = scan->line};
    if (e->name.count == 0 || !lb_word_whole(lb_scan_word(scan), &e->count) || e->count < 0)
        return bad_line(r, scan, "an element without a name and a number of rows");
    e->kind = lb_word_is(e->name, "vertex")      ? PLY_VERTEX
              : lb_word_is(e->name, "face")      ? PLY_FACE
              : lb_word_is(e->name, "tristrips") ? PLY_STRIPS
                                                 : PLY_OTHER;
    for (int32_t i = 0; i < h->element_count; i++)
        if (h->elements[i].kind == e->kind && e->kind != PLY_OTHER)
            return bad_line(r, scan, "two elements of the same name");
    h->element_count++;
    return LB_OK;
}

static lb_status read_format(const reader *r, lb_scan *scan, ply_header *h)
{
    lb_word word = lb_scan_word(scan);

    h->is_text = lb_word_is(word, "ascii");
    h->is_big = lb_word_is(word, "binary_big_endian");
    if (!h->is_text && !h->is_big && !lb_word_is(word, "binary_little_endian"))
        return bad_line(r, scan,
                        "a format that is not ascii, binary_little_endian or "
                        "binary_big_endian");
    if (!lb_word_is(lb_scan_word(scan), "1.0"))
        return reader_fail(r, LB_UNSUPPORTED, scan->line, "version 1.0 of the format is read");
    return LB_OK;
}

/* Programs agree that a comment "TextureFile x.png" names the picture for texture coordinates. */
static void read_comment(lb_scan *scan, ply_header *h)
{
    if (h->picture.count > 0 || !lb_word_is(lb_scan_word(scan), "TextureFile"))
        return;
    h->picture = lb_scan_rest(scan);
    h->picture_line = scan->line;
}

/* Behind "end_header" and the end of its line, which is that of the first: a byte of data could
 * look like more of it. */
static const uint8_t *data_of(const lb_scan *scan, const char *bytes)
{
    bool has_return = bytes[3] == '\r', has_feed = bytes[3] == '\n' || bytes[4] == '\n';
    const char *at = scan->at;

    at += has_return && at < scan->end && *at == '\r';
    at += has_feed && at < scan->end && *at == '\n';
    return (const uint8_t *)at;
}

lb_status ply_header_read(const reader *r, const void *bytes, size_t count, ply_header *out)
{
    lb_scan scan = {bytes, (const char *)bytes + count, 1, false};
    bool has_format = false;

    for (lb_scan_next_line(&scan); scan.at < scan.end; lb_scan_next_line(&scan)) {
        lb_word word = lb_scan_word(&scan);
        lb_status status = LB_OK;

        if (lb_word_is(word, "format")) {
            status = read_format(r, &scan, out);
            has_format = true;
        } else if (lb_word_is(word, "element")) {
            status = read_element(r, &scan, out);
        } else if (lb_word_is(word, "property")) {
            status = read_property(r, &scan, out);
        } else if (lb_word_is(word, "comment")) {
            read_comment(&scan, out);
        } else if (lb_word_is(word, "end_header")) {
            if (!has_format)
                return bad_line(r, &scan, "no format");
            while (scan.at < scan.end && (*scan.at == ' ' || *scan.at == '\t'))
                scan.at++;
            out->data = data_of(&scan, bytes);
            out->data_line = scan.line + 1;
            return LB_OK;
        } else if (word.count > 0 && !lb_word_is(word, "obj_info")) {
            return reader_fail(r, LB_FORMAT, scan.line, "'%.*s' is no line of a header",
                               word.count < 40 ? (int)word.count : 40, word.at);
        }
        if (status)
            return status;
    }
    return reader_fail(r, LB_FORMAT, scan.line, "the file ends within its header");
}
