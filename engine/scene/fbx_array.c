/* engine/scene/fbx_array.c: the numbers of an array. */
#include <libdeflate.h>
#include <math.h>
#include <string.h>

#include "engine/base/text.h"
#include "engine/scene/fbx_node.h"

#define MOST_PACKED 1032 /* DEFLATE makes no more than this of a byte */

static size_t element_size(char element)
{
    return element == 'd' || element == 'l' ? 8 : element == 'f' || element == 'i' ? 4 : 1;
}

static uint64_t number_at(const uint8_t *at, size_t size)
{
    uint64_t out = 0;

    for (size_t i = size; i > 0; i--)
        out = out << 8 | at[i - 1];
    return out;
}

static double real_at(char element, const uint8_t *at)
{
    if (element == 'd') {
        uint64_t bits = number_at(at, 8);
        double out;

        memcpy(&out, &bits, sizeof out);
        return out;
    }
    if (element == 'f') {
        uint32_t bits = (uint32_t)number_at(at, 4);
        float out;

        memcpy(&out, &bits, sizeof out);
        return (double)out;
    }
    if (element == 'l')
        return (double)(int64_t)number_at(at, 8);
    return element == 'i' ? (double)(int32_t)number_at(at, 4) : (double)at[0];
}

static int64_t whole_at(char element, const uint8_t *at)
{
    if (element == 'l')
        return (int64_t)number_at(at, 8);
    if (element == 'i')
        return (int32_t)number_at(at, 4);
    return at[0];
}

/* The elements' bytes: in the file, or unpacked into *owned. */
static lb_status unpack(const fbx_value *v, const uint8_t **bytes, void **owned)
{
    struct libdeflate_decompressor *inflate;
    size_t count = v->count * element_size(v->element);

    *owned = NULL;
    *bytes = v->raw;
    if (!v->is_packed || count == 0)
        return LB_OK;
    if (count / MOST_PACKED > v->stored)
        return LB_FORMAT;
    if (!(*owned = lb_alloc(count, 1)) || !(inflate = libdeflate_alloc_decompressor())) {
        lb_free(*owned);
        *owned = NULL;
        return LB_MEMORY;
    }
    *bytes = *owned;
    if (libdeflate_zlib_decompress(inflate, v->raw, v->stored, *owned, count, NULL)) {
        lb_free(*owned);
        *owned = NULL;
    }
    libdeflate_free_decompressor(inflate);
    return *owned ? LB_OK : LB_FORMAT;
}

/* Numbers of a text file's array, one after the other. False: that is none. */
typedef struct {
    const char *text;
    size_t at, count;
} reader;

static bool next_word(reader *r, const char **word, size_t *length)
{
    while (r->at < r->count && strchr(" \t\r\n,", r->text[r->at]) && r->text[r->at])
        r->at++;
    *word = r->text + r->at;
    while (r->at < r->count && !(strchr(" \t\r\n,", r->text[r->at]) && r->text[r->at]))
        r->at++;
    *length = (size_t)(r->text + r->at - *word);
    return *length > 0;
}

static lb_status read_text(const fbx_value *v, double *reals, int64_t *wholes)
{
    reader r = {.text = (const char *)v->raw, .count = v->stored};

    for (size_t i = 0; i < v->count; i++) {
        const char *word;
        size_t length;
        double value;

        if (!next_word(&r, &word, &length) || !lb_text_number(word, length, &value))
            return LB_FORMAT;
        if (reals) {
            reals[i] = value;
        } else if (fabs(value) < 9007199254740992.0) { /* 2^53: exact as a double */
            wholes[i] = (int64_t)value;
        } else {
            int64_t whole = 0;

            for (size_t k = word[0] == '-'; k < length; k++) {
                if (word[k] < '0' || word[k] > '9' || whole > (INT64_MAX - 9) / 10)
                    return LB_FORMAT;
                whole = 10 * whole + (word[k] - '0');
            }
            wholes[i] = word[0] == '-' ? -whole : whole;
        }
    }
    return LB_OK;
}

static lb_status read_plain(const fbx_node *node, double *reals, int64_t *wholes)
{
    for (size_t i = 0; i < node->value_count; i++)
        if (reals ? !fbx_real(node, i, &reals[i]) : !fbx_whole(node, i, &wholes[i]))
            return LB_FORMAT;
    return LB_OK;
}

static lb_status read_numbers(const fbx_document *document, const fbx_node *node, double *reals,
                              int64_t *wholes)
{
    const fbx_value *v = node->values;
    const uint8_t *bytes;
    void *owned;
    size_t size;
    lb_status status;

    if (v->type != FBX_ARRAY)
        return read_plain(node, reals, wholes);
    if (!document->is_binary)
        return read_text(v, reals, wholes);
    if (wholes && (v->element == 'd' || v->element == 'f'))
        return LB_FORMAT;
    if ((status = unpack(v, &bytes, &owned)))
        return status;
    size = element_size(v->element);
    for (size_t i = 0; i < v->count; i++)
        if (reals)
            reals[i] = real_at(v->element, bytes + i * size);
        else
            wholes[i] = whole_at(v->element, bytes + i * size);
    lb_free(owned);
    return LB_OK;
}

/* How many numbers a node has; those of an array that cannot be there count as a fault. */
static lb_status count_numbers(const fbx_document *document, const fbx_node *node, size_t *count)
{
    const fbx_value *v;

    *count = 0;
    if (!node || node->value_count == 0)
        return LB_OK;
    v = node->values;
    *count = v->type == FBX_ARRAY ? v->count : node->value_count;
    if (v->type == FBX_ARRAY && document->is_binary && v->is_packed &&
        *count * element_size(v->element) / MOST_PACKED > v->stored)
        return LB_FORMAT;
    return LB_OK;
}

lb_status fbx_reals(const fbx_document *document, const fbx_node *node, double **out, size_t *count)
{
    lb_status status = count_numbers(document, node, count);

    *out = NULL;
    if (status || *count == 0)
        return status;
    if (!(*out = lb_alloc(*count, sizeof **out)))
        return LB_MEMORY;
    if ((status = read_numbers(document, node, *out, NULL))) {
        lb_free(*out);
        *out = NULL;
        *count = 0;
    }
    return status;
}

lb_status fbx_wholes(const fbx_document *document, const fbx_node *node, int64_t **out,
                     size_t *count)
{
    lb_status status = count_numbers(document, node, count);

    *out = NULL;
    if (status || *count == 0)
        return status;
    if (!(*out = lb_alloc(*count, sizeof **out)))
        return LB_MEMORY;
    if ((status = read_numbers(document, node, NULL, *out))) {
        lb_free(*out);
        *out = NULL;
        *count = 0;
    }
    return status;
}
