/* engine/scene/fbx_text.c: text files to nodes.
 *
 * `Name: value, value {` nodes `}`; a comma lets the values go on in the next line; `*N {a: ...}`
 * is an array of N numbers; `;` begins a comment. Common practice, from memory. */
#include <string.h>

#include "engine/base/text.h"
#include "engine/scene/fbx_node.h"

typedef struct {
    fbx_document *document;
    const char *text;
    size_t at, count;
    fbx_value *values; /* of the node at hand; grown as they come */
    size_t value_count, value_capacity;
} parser;

static lb_status fail(parser *p, lb_status status, const char *what)
{
    return fbx_problem(p->document, status, p->at, what);
}

static bool is_name(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
           (c && strchr("_-|.+#()", c));
}

/* Over spaces, line ends and comments. */
static void skip(parser *p)
{
    while (p->at < p->count) {
        char c = p->text[p->at];

        if (c == ';')
            while (p->at < p->count && p->text[p->at] != '\n')
                p->at++;
        else if (c == ' ' || c == '\t' || c == '\r' || c == '\n')
            p->at++;
        else
            return;
    }
}

static bool is_next(const parser *p, char c)
{
    return p->at < p->count && p->text[p->at] == c;
}

/* The end of a word that starts at p->at. */
static size_t word_end(const parser *p)
{
    size_t end = p->at;

    while (end < p->count && is_name(p->text[end]))
        end++;
    return end;
}

static bool is_whole(const char *text, size_t count, int64_t *out)
{
    size_t at = count > 0 && (text[0] == '-' || text[0] == '+');
    uint64_t value = 0;

    if (at == count)
        return false;
    for (; at < count; at++) {
        if (text[at] < '0' || text[at] > '9' || value > (INT64_MAX - 9) / 10)
            return false;
        value = 10 * value + (uint64_t)(text[at] - '0');
    }
    *out = text[0] == '-' ? -(int64_t)value : (int64_t)value;
    return true;
}

/* A number, or a word that stands for itself (T, Y, Deformer). */
static lb_status read_word(parser *p, size_t end, fbx_value *out)
{
    const char *text = p->text + p->at;
    size_t count = end - p->at, start = p->at;

    p->at = end;
    if (is_whole(text, count, &out->whole))
        out->type = FBX_WHOLE;
    else if (!(text[0] >= 'A' && text[0] <= 'Z') && lb_text_number(text, count, &out->real))
        out->type = FBX_REAL;
    else
        return fbx_set_text(p->document, start, text, count, out);
    return LB_OK;
}

/* In quotes; `&quot;` stands for one. */
static lb_status read_quoted(parser *p, fbx_value *out)
{
    const char *start = p->text + p->at + 1, *end = memchr(start, '"', p->count - p->at - 1);
    lb_status status;
    char *to;

    if (!end)
        return fail(p, LB_FORMAT, "a text does not end");
    if ((status = fbx_set_text(p->document, p->at, start, (size_t)(end - start), out)))
        return status;
    p->at = (size_t)(end + 1 - p->text);
    if (out->type != FBX_TEXT || !strstr(out->text, "&quot;"))
        return LB_OK;
    to = (char *)out->text; /* it is the copy in the arena */
    for (const char *from = out->text; *from; to++) {
        bool is_quote = strncmp(from, "&quot;", 6) == 0;

        *to = is_quote ? '"' : *from;
        from += is_quote ? 6 : 1;
    }
    *to = 0;
    out->count = (size_t)(to - out->text);
    return LB_OK;
}

/* `*N { a: 1,2,3 }`: where the numbers stand; they are read when somebody wants them. */
static lb_status read_array(parser *p, fbx_value *out)
{
    const char *end;
    int64_t count;
    size_t word;

    p->at++;
    word = word_end(p);
    if (!is_whole(p->text + p->at, word - p->at, &count) || count < 0)
        return fail(p, LB_FORMAT, "an array has no number of elements");
    p->at = word;
    skip(p);
    if (!is_next(p, '{'))
        return fail(p, LB_FORMAT, "an array has no elements in braces");
    p->at++;
    skip(p);
    if (!(end = memchr(p->text + p->at, '}', p->count - p->at)))
        return fail(p, LB_FORMAT, "an array does not end");
    if (is_next(p, 'a')) {
        p->at++;
        skip(p);
        if (!is_next(p, ':'))
            return fail(p, LB_FORMAT, "an array does not begin with 'a:'");
        p->at++;
    }
    out->type = FBX_ARRAY;
    out->raw = (const uint8_t *)p->text + p->at;
    out->stored = (size_t)(end - p->text) - p->at;
    out->count = (size_t)count;
    p->at = (size_t)(end + 1 - p->text);
    /* A number and its comma take two bytes. */
    if (out->count > (out->stored + 1) / 2)
        return fail(p, LB_FORMAT, "an array has fewer elements than it says");
    return LB_OK;
}

/* Is there a value at p->at, and not the name of the next node? */
static bool is_value(const parser *p, size_t *end)
{
    size_t colon;

    *end = p->at;
    if (p->at >= p->count)
        return false;
    if (p->text[p->at] == '"' || p->text[p->at] == '*')
        return true;
    colon = *end = word_end(p);
    while (colon < p->count && (p->text[colon] == ' ' || p->text[colon] == '\t'))
        colon++;
    return *end > p->at && !(colon < p->count && p->text[colon] == ':');
}

static lb_status read_value(parser *p, size_t end)
{
    fbx_value *out;

    if (++p->document->made > FBX_MAX_NODES)
        return fail(p, LB_LIMIT, "there are too many values");
    if (!lb_grow((void **)&p->values, &p->value_capacity, p->value_count, sizeof *p->values))
        return fail(p, LB_MEMORY, "no room");
    out = &p->values[p->value_count++];
    *out = (fbx_value){0};
    if (is_next(p, '"'))
        return read_quoted(p, out);
    return is_next(p, '*') ? read_array(p, out) : read_word(p, end, out);
}

/* Values up to the end of the node's line; an empty one before a comma is none. */
static lb_status read_values(parser *p, fbx_node *node)
{
    lb_status status;
    size_t end;

    p->value_count = 0;
    for (;;) {
        skip(p);
        if (is_next(p, ',')) {
            p->at++;
            continue;
        }
        if (!is_value(p, &end))
            break;
        if ((status = read_value(p, end)))
            return status;
        skip(p);
        if (!is_next(p, ','))
            break;
    }
    if (p->value_count == 0)
        return LB_OK;
    if (!(node->values = lb_arena_alloc(p->document->arena, p->value_count, sizeof *node->values)))
        return fail(p, LB_MEMORY, "no room");
    memcpy(node->values, p->values, p->value_count * sizeof *node->values);
    node->value_count = p->value_count;
    return LB_OK;
}

static lb_status read_list(parser *p, int depth, fbx_node **first)
{
    fbx_node *last = NULL, *node;
    lb_status status;

    if (depth > FBX_MAX_DEPTH)
        return fail(p, LB_LIMIT, "nodes are nested too deep");
    for (;;) {
        size_t end;

        skip(p);
        if (p->at >= p->count)
            return depth ? fail(p, LB_FORMAT, "the file ends within a node") : LB_OK;
        if (is_next(p, '}')) {
            p->at++;
            return depth ? LB_OK : fail(p, LB_FORMAT, "there is a brace too many");
        }
        if ((end = word_end(p)) == p->at)
            return fail(p, LB_FORMAT, "a node's name should stand here");
        if ((status = fbx_add_node(p->document, p->at, p->text + p->at, end - p->at, first, &last,
                                   &node)))
            return status;
        p->at = end;
        skip(p);
        if (!is_next(p, ':'))
            return fail(p, LB_FORMAT, "a colon should stand here, behind a node's name");
        p->at++;
        if ((status = read_values(p, node)))
            return status;
        skip(p);
        if (is_next(p, '{')) {
            p->at++;
            if ((status = read_list(p, depth + 1, &node->first)))
                return status;
        }
    }
}

lb_status fbx_parse_text(fbx_document *document)
{
    parser p = {
        .document = document, .text = (const char *)document->bytes, .count = document->byte_count};
    const fbx_node *header;
    lb_status status;

    if (p.count >= 3 && memcmp(p.text, "\xEF\xBB\xBF", 3) == 0)
        p.at = 3;
    status = read_list(&p, 0, &document->first);
    lb_free(p.values);
    if (status)
        return status;
    header = fbx_named(document->first, "FBXHeaderExtension");
    if (!fbx_whole(fbx_child(header, "FBXVersion"), 0, &document->version))
        return fbx_problem(document, LB_FORMAT, 0, "it does not say its version");
    if (document->version < 7000)
        return fbx_problem(document, LB_UNSUPPORTED, 0, "it is older than version 7.0");
    return LB_OK;
}
