/* engine/scene/fbx_node.h: an FBX file as a tree of named nodes; private to the FBX reader.
 *
 * The layout is common practice: there is no published standard. Binary files hold records of an
 * end offset, counts, a name, typed values and nested records; text files say the same as
 * `Name: value, value { ... }`. */
#ifndef LB_SCENE_FBX_NODE_H
#define LB_SCENE_FBX_NODE_H

#include "engine/base/memory.h"

#define FBX_MAX_DEPTH 48         /* nodes within nodes */
#define FBX_MAX_NODES (1u << 24) /* nodes and values of a file */
#define FBX_SHORT_TEXT 4096      /* longer texts are FBX_RAW */

typedef enum fbx_type {
    FBX_WHOLE,
    FBX_REAL,
    FBX_TEXT,  /* `text` ends in a NUL; behind a NUL within it stands the class */
    FBX_RAW,   /* `raw`, lent by the file: bytes, or a long text */
    FBX_ARRAY, /* numbers: fbx_reals, fbx_wholes */
} fbx_type;

typedef struct fbx_value {
    fbx_type type;
    char element;   /* array, binary file: f d i l b; text file: 0 */
    bool is_packed; /* array: by zlib (RFC 1950) */
    union {
        int64_t whole;
        double real;
        const char *text;
        const uint8_t *raw; /* also where an array's bytes are */
    };
    size_t count;  /* bytes of a text or raw; elements of an array */
    size_t stored; /* bytes of an array as they lie in the file */
} fbx_value;

typedef struct fbx_node {
    const char *name;
    size_t value_count;
    fbx_value *values;
    struct fbx_node *first, *next; /* the first one in it, the next one beside it */
} fbx_node;

typedef struct fbx_document {
    lb_arena *arena; /* all nodes, names and short texts */
    const uint8_t *bytes;
    size_t byte_count;
    bool is_binary;
    int64_t version; /* 7400 for 7.4 */
    fbx_node *first; /* the nodes at the top */
    size_t made;     /* nodes and values so far */
    char problem[160];
    size_t problem_at; /* byte in the file */
} fbx_document;

/* Does the content look like FBX of any version? */
bool fbx_is_binary(const void *bytes, size_t count);
bool fbx_is_text(const void *bytes, size_t count);

/* Reads all nodes. `bytes` has to outlive the document. LB_FORMAT, LB_LIMIT, LB_MEMORY,
 * LB_UNSUPPORTED (a version below 7000, another byte order): not reported, `problem` and
 * `problem_at` tell. The document is to be cleared in every case. */
LB_MUST_CHECK lb_status fbx_parse(const void *bytes, size_t count, fbx_document *out);
void fbx_document_clear(fbx_document *document);

/* fbx_binary.c, fbx_text.c: the nodes at the top into document->first. */
LB_MUST_CHECK lb_status fbx_parse_binary(fbx_document *document);
LB_MUST_CHECK lb_status fbx_parse_text(fbx_document *document);
/* For the two parsers: notes what is wrong where, and answers `status`. */
lb_status fbx_problem(fbx_document *document, lb_status status, size_t at, const char *what);
/* A new node behind `*last` (or as the first of `*first`), its name copied. */
LB_MUST_CHECK lb_status fbx_add_node(fbx_document *document, size_t at, const char *name,
                                     size_t length, fbx_node **first, fbx_node **last,
                                     fbx_node **out);
/* A text, copied if it is short. */
LB_MUST_CHECK lb_status fbx_set_text(fbx_document *document, size_t at, const char *text,
                                     size_t count, fbx_value *out);

/* The first child of that name, or the next of the same name; NULL: none. */
const fbx_node *fbx_child(const fbx_node *node, const char *name);
const fbx_node *fbx_named(const fbx_node *first, const char *name);

/* Value `index` of a node; false: there is none of that type. A number serves as both kinds; a
 * whole number is the real one without its fraction, within the range of int64_t. */
bool fbx_whole(const fbx_node *node, size_t index, int64_t *out);
bool fbx_real(const fbx_node *node, size_t index, double *out);
bool fbx_text(const fbx_node *node, size_t index, const char **out);

/* The numbers of a node's array (its first value), or its plain values, into new memory (lb_free);
 * NULL for none of them. LB_FORMAT: no array of numbers, or damaged; LB_LIMIT; LB_MEMORY. Not
 * reported. */
LB_MUST_CHECK lb_status fbx_reals(const fbx_document *document, const fbx_node *node, double **out,
                                  size_t *count);
LB_MUST_CHECK lb_status fbx_wholes(const fbx_document *document, const fbx_node *node,
                                   int64_t **out, size_t *count);

#endif
