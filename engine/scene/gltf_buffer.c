/* engine/scene/gltf_buffer.c: buffers, views, and typed elements in them. glTF 2.0, 3.6. */
#include <math.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/media/media.h"
#include "engine/scene/gltf_read.h"

#define MAX_ZEROS (1 << 24) /* elements of an accessor that has no bytes of its own */

enum { I8 = 5120, U8 = 5121, I16 = 5122, U16 = 5123, U32 = 5125, F32 = 5126 };

static size_t type_size(int32_t type)
{
    return type == I8 || type == U8 ? 1 : type == I16 || type == U16 ? 2 : 4;
}

static lb_status read_file(gltf *g, const char *where, const char *uri, gltf_bytes *out)
{
    char *path;
    lb_status status = gltf_uri_path(g->folder, uri, &path);

    if (status == LB_MEMORY)
        return gltf_no_memory(g);
    if (status == LB_UNSUPPORTED)
        return gltf_fail(g, status, where,
                         "'%.200s' is not beside the file; only relative paths and data are read",
                         uri);
    if (status)
        return gltf_fail(g, status, where, "'%.200s' is not a path", uri);
    if (!lb_file_exists(path))
        status = gltf_fail(g, LB_NOT_FOUND, where, "the file '%.200s' is missing", path);
    else
        status = lb_file_read(g->diag, g->loc, path, LB_MEDIA_MAX_BYTES, &out->owned, &out->count);
    lb_free(path);
    return status;
}

static lb_status read_uri(gltf *g, const char *where, const char *uri, gltf_bytes *out)
{
    lb_status status;

    if (!gltf_uri_is_data(uri))
        return read_file(g, where, uri, out);
    status = gltf_uri_data(uri, &out->owned, &out->count);
    if (status == LB_MEMORY)
        return gltf_no_memory(g);
    return status ? gltf_fail(g, status, where, "the embedded data is damaged") : LB_OK;
}

static lb_status buffer_load(gltf *g, size_t index)
{
    gltf_bytes *buffer = &g->buffers[index];
    char where[GLTF_WHERE];
    const json_t *object;
    const char *uri;
    int64_t length;
    lb_status status;

    if (buffer->bytes)
        return LB_OK;
    if ((status = gltf_root_element(g, "buffers", index, where, &object)) ||
        (status = gltf_whole(g, object, where, "byteLength", -1, 1, INT64_MAX, &length)) ||
        (status = gltf_text(g, object, where, "uri", &uri)))
        return status;
    if (length < 0)
        return gltf_fail(g, LB_FORMAT, where, "byteLength is missing");
    if (uri) {
        if ((status = read_uri(g, where, uri, buffer)))
            return status;
        buffer->bytes = buffer->owned;
    } else if (index == 0 && g->bin) {
        buffer->bytes = g->bin;
        buffer->count = g->bin_count;
    } else {
        return gltf_fail(g, LB_FORMAT, where, "there is no uri and no binary chunk");
    }
    if ((uint64_t)length > buffer->count) {
        status = gltf_fail(g, LB_FORMAT, where, "%zu bytes are there; byteLength says %lld",
                           buffer->count, (long long)length);
        lb_free(buffer->owned);
        *buffer = (gltf_bytes){0};
        return status;
    }
    buffer->count = (size_t)length;
    return LB_OK;
}

lb_status gltf_view(gltf *g, size_t index, const uint8_t **bytes, size_t *count, size_t *stride)
{
    char where[GLTF_WHERE];
    const json_t *object;
    int64_t buffer, offset, length, step;
    lb_status status;

    if ((status = gltf_root_element(g, "bufferViews", index, where, &object)) ||
        (status = gltf_index(g, object, where, "buffer", g->buffer_count, &buffer)) ||
        (status = gltf_whole(g, object, where, "byteOffset", 0, 0, INT64_MAX, &offset)) ||
        (status = gltf_whole(g, object, where, "byteLength", -1, 0, INT64_MAX, &length)) ||
        (status = gltf_whole(g, object, where, "byteStride", 0, 4, 252, &step)))
        return status;
    if (buffer < 0 || length < 0)
        return gltf_fail(g, LB_FORMAT, where, "%s is missing",
                         buffer < 0 ? "buffer" : "byteLength");
    if ((status = buffer_load(g, (size_t)buffer)))
        return status;
    if ((uint64_t)offset > g->buffers[buffer].count ||
        (uint64_t)length > g->buffers[buffer].count - (uint64_t)offset)
        return gltf_fail(g, LB_FORMAT, where, "bytes %lld to %lld are outside the buffer's %zu",
                         (long long)offset, (long long)offset + (long long)length,
                         g->buffers[buffer].count);
    *bytes = g->buffers[buffer].bytes + offset;
    *count = (size_t)length;
    *stride = (size_t)step;
    return LB_OK;
}

/* Where `count` elements of `size` bytes begin; false if they leave the view. */
static bool fits(size_t available, uint64_t offset, uint64_t count, size_t stride, size_t size)
{
    uint64_t room;

    if (count == 0)
        return true;
    if (offset > available || size > available - offset)
        return false;
    room = available - offset - size;
    return (count - 1) <= room / stride;
}

/* Bytes that `object` (a sparse part) names with bufferView and byteOffset. */
static lb_status sparse_part(gltf *g, const json_t *object, const char *where, int64_t count,
                             size_t size, const uint8_t **out)
{
    const uint8_t *bytes;
    size_t available, stride;
    int64_t view, offset;
    lb_status status;

    if ((status = gltf_index(g, object, where, "bufferView", g->view_count, &view)) ||
        (status = gltf_whole(g, object, where, "byteOffset", 0, 0, INT64_MAX, &offset)))
        return status;
    if (view < 0)
        return gltf_fail(g, LB_FORMAT, where, "bufferView is missing");
    if ((status = gltf_view(g, (size_t)view, &bytes, &available, &stride)))
        return status;
    if (!fits(available, (uint64_t)offset, (uint64_t)count, size, size))
        return gltf_fail(g, LB_FORMAT, where, "%lld elements do not fit into the buffer view",
                         (long long)count);
    *out = bytes + offset;
    return LB_OK;
}

static lb_status open_sparse(gltf *g, const json_t *object, gltf_accessor *a)
{
    char path[GLTF_WHERE], below[GLTF_WHERE];
    const json_t *sparse, *indices, *values;
    int64_t type;
    lb_status status;

    if ((status = gltf_object(g, object, a->where, "sparse", &sparse)) || !sparse)
        return status;
    gltf_below(path, a->where, "sparse");
    if ((status = gltf_whole(g, sparse, path, "count", -1, 0, a->count, &a->sparse_count)) ||
        (status = gltf_object(g, sparse, path, "indices", &indices)) ||
        (status = gltf_object(g, sparse, path, "values", &values)))
        return status;
    if (a->sparse_count < 0 || !indices || !values)
        return gltf_fail(g, LB_FORMAT, path, "count, indices and values are needed");
    gltf_below(below, path, "indices");
    if ((status = gltf_whole(g, indices, below, "componentType", -1, U8, U32, &type)))
        return status;
    if (type != U8 && type != U16 && type != U32)
        return gltf_fail(g, LB_FORMAT, below, "componentType has to be 5121, 5123 or 5125");
    a->sparse_type = (int32_t)type;
    if ((status = sparse_part(g, indices, below, a->sparse_count, type_size(a->sparse_type),
                              &a->sparse_indices)))
        return status;
    gltf_below(below, path, "values");
    return sparse_part(g, values, below, a->sparse_count,
                       type_size(a->type) * (size_t)a->components, &a->sparse_values);
}

static lb_status read_shape(gltf *g, const json_t *object, gltf_accessor *a)
{
    static const struct {
        const char *name;
        int32_t components;
    } shapes[] = {{"SCALAR", 1}, {"VEC2", 2}, {"VEC3", 3}, {"VEC4", 4},
                  {"MAT2", 4},   {"MAT3", 9}, {"MAT4", 16}};
    const char *shape;
    int64_t type;
    lb_status status;

    if ((status = gltf_text(g, object, a->where, "type", &shape)) ||
        (status = gltf_whole(g, object, a->where, "componentType", -1, I8, F32, &type)) ||
        (status = gltf_whole(g, object, a->where, "count", -1, 0, INT32_MAX, &a->count)) ||
        (status = gltf_bool(g, object, a->where, "normalized", false, &a->normalized)))
        return status;
    if (!shape || type < 0 || a->count < 0)
        return gltf_fail(g, LB_FORMAT, a->where, "type, componentType and count are needed");
    if (type == 5124)
        return gltf_fail(g, LB_FORMAT, a->where, "there is no componentType 5124");
    a->type = (int32_t)type;
    for (size_t i = 0; i < sizeof shapes / sizeof shapes[0]; i++)
        if (strcmp(shape, shapes[i].name) == 0)
            a->components = shapes[i].components;
    if (a->components == 0)
        return gltf_fail(g, LB_FORMAT, a->where, "there is no type '%.40s'", shape);
    return LB_OK;
}

lb_status gltf_accessor_open(gltf *g, size_t index, gltf_accessor *out)
{
    const json_t *object;
    int64_t view, offset;
    size_t available, size;
    lb_status status;

    *out = (gltf_accessor){0};
    if ((status = gltf_root_element(g, "accessors", index, out->where, &object)) ||
        (status = read_shape(g, object, out)) ||
        (status = gltf_index(g, object, out->where, "bufferView", g->view_count, &view)) ||
        (status = gltf_whole(g, object, out->where, "byteOffset", 0, 0, INT64_MAX, &offset)))
        return status;
    size = type_size(out->type) * (size_t)out->components;
    if (view >= 0) {
        if ((status = gltf_view(g, (size_t)view, &out->base, &available, &out->stride)))
            return status;
        out->stride = out->stride ? out->stride : size;
        if (out->stride < size)
            return gltf_fail(g, LB_FORMAT, out->where,
                             "an element of %zu bytes does not fit into a stride of %zu", size,
                             out->stride);
        if (!fits(available, (uint64_t)offset, (uint64_t)out->count, out->stride, size))
            return gltf_fail(g, LB_FORMAT, out->where,
                             "%lld elements do not fit into the buffer view's %zu bytes",
                             (long long)out->count, available);
        out->base = out->count > 0 ? out->base + offset : NULL;
    } else if (out->count > MAX_ZEROS) {
        return gltf_fail(g, LB_LIMIT, out->where, "%lld elements without data; the limit is %d",
                         (long long)out->count, MAX_ZEROS);
    }
    return open_sparse(g, object, out);
}

/* Components are little-endian; glTF 2.0, 3.6.2.2 for what normalised ones mean. */
static float component(const uint8_t *at, int32_t type, bool normalized)
{
    uint32_t bits;
    float value;

    switch (type) {
    case I8:
        value = (float)(int8_t)at[0];
        return normalized ? (value < -127 ? -1 : value / 127) : value;
    case U8:
        return normalized ? (float)at[0] / 255 : (float)at[0];
    case I16:
        value = (float)(int16_t)(uint16_t)(at[0] | at[1] << 8);
        return normalized ? (value < -32767 ? -1 : value / 32767) : value;
    case U16:
        value = (float)(at[0] | at[1] << 8);
        return normalized ? value / 65535 : value;
    default:
        bits = at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
        if (type == U32)
            return normalized ? (float)((double)bits / 4294967295.0) : (float)bits;
        memcpy(&value, &bits, sizeof value);
        return value;
    }
}

static uint32_t whole(const uint8_t *at, int32_t type)
{
    if (type == U8)
        return at[0];
    if (type == U16)
        return (uint32_t)(at[0] | at[1] << 8);
    return at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static lb_status put_element(gltf *g, const gltf_accessor *a, int64_t element, const uint8_t *at,
                             int32_t width, float *out)
{
    for (int32_t c = 0; c < width; c++) {
        if (c >= a->components) {
            out[c] = 1;
            continue;
        }
        out[c] = component(at + (size_t)c * type_size(a->type), a->type, a->normalized);
        if (!isfinite(out[c]))
            return gltf_fail(g, LB_FORMAT, a->where, "element %lld is not a finite number",
                             (long long)element);
    }
    return LB_OK;
}

/* The element that entry `i` of the sparse part replaces. */
static lb_status sparse_target(gltf *g, const gltf_accessor *a, int64_t i, size_t *out)
{
    *out = whole(a->sparse_indices + (size_t)i * type_size(a->sparse_type), a->sparse_type);
    if (*out >= (uint64_t)a->count)
        return gltf_fail(g, LB_FORMAT, a->where, "the sparse part names element %zu of %lld", *out,
                         (long long)a->count);
    return LB_OK;
}

lb_status gltf_accessor_floats(gltf *g, const gltf_accessor *a, int32_t width, float **out)
{
    size_t size = type_size(a->type) * (size_t)a->components, target;
    lb_status status = LB_OK;
    float *floats;

    *out = NULL;
    if (a->count == 0)
        return LB_OK;
    if (!(floats = lb_alloc((size_t)a->count, (size_t)width * sizeof *floats)))
        return gltf_no_memory(g);
    for (int64_t i = 0; i < a->count && !a->base; i++)
        for (int32_t c = a->components; c < width; c++)
            floats[i * width + c] = 1;
    for (int64_t i = 0; i < a->count && a->base && status == LB_OK; i++)
        status = put_element(g, a, i, a->base + (size_t)i * a->stride, width,
                             floats + (size_t)i * (size_t)width);
    for (int64_t i = 0; i < a->sparse_count && status == LB_OK; i++)
        if ((status = sparse_target(g, a, i, &target)) == LB_OK)
            status = put_element(g, a, (int64_t)target, a->sparse_values + (size_t)i * size, width,
                                 floats + target * (size_t)width);
    if (status)
        lb_free(floats);
    else
        *out = floats;
    return status;
}

lb_status gltf_accessor_indices(gltf *g, const gltf_accessor *a, uint32_t **out)
{
    size_t size = type_size(a->type), target;
    lb_status status = LB_OK;
    uint32_t *indices;

    *out = NULL;
    if (a->components != 1 || (a->type != U8 && a->type != U16 && a->type != U32))
        return gltf_fail(g, LB_FORMAT, a->where, "indices have to be unsigned whole numbers");
    if (a->count == 0)
        return LB_OK;
    if (!(indices = lb_alloc((size_t)a->count, sizeof *indices)))
        return gltf_no_memory(g);
    for (int64_t i = 0; i < a->count && a->base; i++)
        indices[i] = whole(a->base + (size_t)i * a->stride, a->type);
    for (int64_t i = 0; i < a->sparse_count && status == LB_OK; i++)
        if ((status = sparse_target(g, a, i, &target)) == LB_OK)
            indices[target] = whole(a->sparse_values + (size_t)i * size, a->type);
    if (status)
        lb_free(indices);
    else
        *out = indices;
    return status;
}
