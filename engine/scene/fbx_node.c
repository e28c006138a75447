/* engine/scene/fbx_node.c: the tree of nodes, and looking into it. */
#include "engine/scene/fbx_node.h"

#include <string.h>

/* The first word of the signature is a name that has no meaning for the format. */
#define SIGNATURE_AT 7
static const char signature[16] = " FBX Binary  \0\x1a";

bool fbx_is_binary(const void *bytes, size_t count)
{
    return count >= 27 && memcmp((const char *)bytes + SIGNATURE_AT, signature, 15) == 0;
}

/* Text: the first node, behind comments, is the header. */
bool fbx_is_text(const void *bytes, size_t count)
{
    static const char header[] = "FBXHeaderExtension";
    const char *text = bytes;
    size_t at = count >= 3 && memcmp(bytes, "\xEF\xBB\xBF", 3) == 0 ? 3 : 0;

    while (at < count) {
        if (text[at] == ';') {
            const char *end = memchr(text + at, '\n', count - at);

            if (!end)
                return false;
            at = (size_t)(end - text) + 1;
        } else if (text[at] == ' ' || text[at] == '\t' || text[at] == '\r' || text[at] == '\n') {
            at++;
        } else {
            break;
        }
    }
    return count - at >= sizeof header && memcmp(text + at, header, sizeof header - 1) == 0;
}

lb_status fbx_problem(fbx_document *document, lb_status status, size_t at, const char *what)
{
    snprintf(document->problem, sizeof document->problem, "%s", what);
    document->problem_at = at;
    return status;
}

lb_status fbx_add_node(fbx_document *document, size_t at, const char *name, size_t length,
                       fbx_node **first, fbx_node **last, fbx_node **out)
{
    fbx_node *node;

    if (++document->made > FBX_MAX_NODES)
        return fbx_problem(document, LB_LIMIT, at, "there are too many nodes");
    node = lb_arena_alloc(document->arena, 1, sizeof *node);
    if (!node || !(node->name = lb_arena_strndup(document->arena, name, length)))
        return fbx_problem(document, LB_MEMORY, at, "no room");
    if (*last)
        (*last)->next = node;
    else
        *first = node;
    *last = node;
    *out = node;
    return LB_OK;
}

lb_status fbx_set_text(fbx_document *document, size_t at, const char *text, size_t count,
                       fbx_value *out)
{
    char *copy;

    out->count = count;
    if (count >= FBX_SHORT_TEXT) {
        out->type = FBX_RAW;
        out->raw = (const uint8_t *)text;
        return LB_OK;
    }
    if (!(copy = lb_arena_alloc(document->arena, count + 1, 1)))
        return fbx_problem(document, LB_MEMORY, at, "no room");
    memcpy(copy, text, count);
    out->type = FBX_TEXT;
    out->text = copy;
    return LB_OK;
}

lb_status fbx_parse(const void *bytes, size_t count, fbx_document *out)
{
    *out = (fbx_document){.bytes = bytes, .byte_count = count};
    if (!(out->arena = lb_arena_new()))
        return fbx_problem(out, LB_MEMORY, 0, "no room");
    out->is_binary = fbx_is_binary(bytes, count);
    return out->is_binary ? fbx_parse_binary(out) : fbx_parse_text(out);
}

void fbx_document_clear(fbx_document *document)
{
    lb_arena_free(&document->arena);
    document->first = NULL;
}

const fbx_node *fbx_named(const fbx_node *first, const char *name)
{
    while (first && strcmp(first->name, name) != 0)
        first = first->next;
    return first;
}

const fbx_node *fbx_child(const fbx_node *node, const char *name)
{
    return node ? fbx_named(node->first, name) : NULL;
}

bool fbx_real(const fbx_node *node, size_t index, double *out)
{
    if (!node || index >= node->value_count)
        return false;
    if (node->values[index].type == FBX_WHOLE)
        *out = (double)node->values[index].whole;
    else if (node->values[index].type == FBX_REAL)
        *out = node->values[index].real;
    else
        return false;
    return true;
}

/* NaN becomes 0. */
static int64_t whole_of(double value)
{
    if (!(value > -9.2e18))
        return value < 0 ? INT64_MIN : 0;
    return value < 9.2e18 ? (int64_t)value : INT64_MAX;
}

bool fbx_whole(const fbx_node *node, size_t index, int64_t *out)
{
    double real;

    if (node && index < node->value_count && node->values[index].type == FBX_WHOLE) {
        *out = node->values[index].whole;
        return true;
    }
    if (!fbx_real(node, index, &real))
        return false;
    *out = whole_of(real);
    return true;
}

bool fbx_text(const fbx_node *node, size_t index, const char **out)
{
    if (!node || index >= node->value_count || node->values[index].type != FBX_TEXT)
        return false;
    *out = node->values[index].text;
    return true;
}
