/* engine/scene/fbx_binary.c: binary files to nodes.
 *
 * Signature (23 bytes), version (32 bits), records. A record: end offset, number of values, bytes
 * of values (32 bits each; 64 from version 7500), length of the name (8 bits), name, values, nested
 * records. A record of zeros ends a list. All little-endian. Common practice, from memory. */
#include <string.h>

#include "engine/scene/fbx_node.h"

#define RECORDS_AT 27

typedef struct {
    fbx_document *document;
    const uint8_t *bytes;
    bool is_wide; /* 64-bit offsets */
} parser;

static uint64_t number_at(const uint8_t *at, size_t size)
{
    uint64_t out = 0;

    for (size_t i = size; i > 0; i--)
        out = out << 8 | at[i - 1];
    return out;
}

static double float_at(const uint8_t *at)
{
    uint32_t bits = (uint32_t)number_at(at, 4);
    float out;

    memcpy(&out, &bits, sizeof out);
    return (double)out;
}

static double double_at(const uint8_t *at)
{
    uint64_t bits = number_at(at, 8);
    double out;

    memcpy(&out, &bits, sizeof out);
    return out;
}

static size_t element_size(char element)
{
    switch (element) {
    case 'f':
    case 'i':
        return 4;
    case 'd':
    case 'l':
        return 8;
    case 'b':
    case 'c':
        return 1;
    default:
        return 0;
    }
}

/* An array's head: elements, encoding, bytes. It is unpacked when somebody wants it. */
static lb_status read_array(parser *p, char element, size_t *at, size_t end, fbx_value *out)
{
    uint64_t encoding;
    size_t plain;

    if (end - *at < 12)
        return fbx_problem(p->document, LB_FORMAT, *at, "an array ends within its head");
    out->type = FBX_ARRAY;
    out->element = element;
    out->count = (size_t)number_at(p->bytes + *at, 4);
    encoding = number_at(p->bytes + *at + 4, 4);
    out->stored = (size_t)number_at(p->bytes + *at + 8, 4);
    *at += 12;
    plain = out->count * element_size(element); /* 35 bits at most */
    if (encoding > 1)
        return fbx_problem(p->document, LB_UNSUPPORTED, *at,
                           "an array is packed in an unknown way");
    out->is_packed = encoding == 1;
    if (!out->is_packed)
        out->stored = plain;
    if (out->stored > end - *at)
        return fbx_problem(p->document, LB_FORMAT, *at, "an array leaves its node");
    out->raw = p->bytes + *at;
    *at += out->stored;
    return LB_OK;
}

static lb_status read_bytes(parser *p, char code, size_t *at, size_t end, fbx_value *out)
{
    size_t count, start;

    if (end - *at < 4)
        return fbx_problem(p->document, LB_FORMAT, *at, "a text ends within its length");
    count = (size_t)number_at(p->bytes + *at, 4);
    start = *at + 4;
    if (count > end - start)
        return fbx_problem(p->document, LB_FORMAT, *at, "a text leaves its node");
    *at = start + count;
    if (code == 'S')
        return fbx_set_text(p->document, start, (const char *)p->bytes + start, count, out);
    out->type = FBX_RAW;
    out->raw = p->bytes + start;
    out->count = count;
    return LB_OK;
}

static lb_status read_value(parser *p, size_t *at, size_t end, fbx_value *out)
{
    const uint8_t *from = p->bytes + *at + 1;
    size_t size;
    char code;

    if (*at >= end)
        return fbx_problem(p->document, LB_FORMAT, *at, "a node ends before its values");
    code = (char)p->bytes[(*at)++];
    if (code == 'S' || code == 'R')
        return read_bytes(p, code, at, end, out);
    if (element_size(code))
        return read_array(p, code, at, end, out);
    size = code == 'C' || code == 'B'   ? 1
           : code == 'Y'                ? 2
           : code == 'I' || code == 'F' ? 4
           : code == 'L' || code == 'D' ? 8
                                        : 0;
    if (size == 0)
        return fbx_problem(p->document, LB_FORMAT, *at - 1, "a value has an unknown type");
    if (size > end - *at)
        return fbx_problem(p->document, LB_FORMAT, *at, "a value leaves its node");
    out->type = code == 'F' || code == 'D' ? FBX_REAL : FBX_WHOLE;
    if (code == 'F')
        out->real = float_at(from);
    else if (code == 'D')
        out->real = double_at(from);
    else if (size == 1)
        out->whole = from[0];
    else if (code == 'Y')
        out->whole = (int16_t)number_at(from, 2);
    else if (code == 'I')
        out->whole = (int32_t)number_at(from, 4);
    else
        out->whole = (int64_t)number_at(from, 8);
    *at += size;
    return LB_OK;
}

static lb_status read_values(parser *p, size_t start, size_t end, size_t count, fbx_node *node)
{
    fbx_document *document = p->document;
    lb_status status = LB_OK;
    size_t at = start;

    if (count == 0)
        return LB_OK;
    /* A value takes two bytes at least, so a count that the bytes cannot hold is no room to make.
     */
    if (count > (end - start) / 2)
        return fbx_problem(document, LB_FORMAT, start, "a node has more values than bytes");
    document->made += count;
    if (document->made > FBX_MAX_NODES)
        return fbx_problem(document, LB_LIMIT, start, "there are too many values");
    if (!(node->values = lb_arena_alloc(document->arena, count, sizeof *node->values)))
        return fbx_problem(document, LB_MEMORY, start, "no room");
    for (; node->value_count < count && status == LB_OK; node->value_count++)
        status = read_value(p, &at, end, &node->values[node->value_count]);
    return status;
}

static lb_status read_list(parser *p, size_t *at, size_t end, int depth, fbx_node **first);

static lb_status read_node(parser *p, size_t start, size_t end, const uint64_t head[3], size_t name,
                           int depth, fbx_node **first, fbx_node **last)
{
    size_t length = p->bytes[name - 1], values = name + length;
    fbx_node *node;
    lb_status status;
    size_t at;

    if (length > end - name || head[2] > end - values)
        return fbx_problem(p->document, LB_FORMAT, start, "a node is shorter than its values");
    if ((status = fbx_add_node(p->document, start, (const char *)p->bytes + name, length, first,
                               last, &node)) ||
        (status = read_values(p, values, values + (size_t)head[2], (size_t)head[1], node)))
        return status;
    at = values + (size_t)head[2];
    if (at == end)
        return LB_OK;
    if (depth >= FBX_MAX_DEPTH)
        return fbx_problem(p->document, LB_LIMIT, start, "nodes are nested too deep");
    return read_list(p, &at, end, depth + 1, &node->first);
}

/* The records from *at on, until one of zeros or `end`. */
static lb_status read_list(parser *p, size_t *at, size_t end, int depth, fbx_node **first)
{
    size_t width = p->is_wide ? 8 : 4;
    fbx_node *last = NULL;

    while (end - *at >= 3 * width + 1) {
        uint64_t head[3]; /* end, number of values, bytes of values */
        lb_status status;

        for (size_t i = 0; i < 3; i++)
            head[i] = number_at(p->bytes + *at + i * width, width);
        if (head[0] == 0) {
            *at += 3 * width + 1;
            return LB_OK;
        }
        if (head[0] > end || head[0] < *at + 3 * width + 1)
            return fbx_problem(p->document, LB_FORMAT, *at,
                               "a node ends outside the one around it");
        if ((status = read_node(p, *at, (size_t)head[0], head, *at + 3 * width + 1, depth, first,
                                &last)))
            return status;
        *at = (size_t)head[0];
    }
    /* The list at the top ends in zeros; one within a node may end with it. */
    return depth == 0 ? fbx_problem(p->document, LB_FORMAT, *at, "the file ends within its nodes")
                      : LB_OK;
}

lb_status fbx_parse_binary(fbx_document *document)
{
    parser p = {.document = document, .bytes = document->bytes};
    size_t at = RECORDS_AT;

    document->version = (int64_t)number_at(p.bytes + 23, 4);
    if (p.bytes[22] != 0)
        return fbx_problem(document, LB_UNSUPPORTED, 22, "its byte order is not little-endian");
    if (document->version < 7000)
        return fbx_problem(document, LB_UNSUPPORTED, 23, "it is older than version 7.0");
    p.is_wide = document->version >= 7500;
    return read_list(&p, &at, document->byte_count, 0, &document->first);
}
