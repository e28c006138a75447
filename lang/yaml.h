/* lang/yaml.h: YAML text to a tree that remembers where everything stood. */
#ifndef LB_LANG_YAML_H
#define LB_LANG_YAML_H

#include "engine/base/memory.h"
#include "lang/scalar.h"
#include "lang/spots.h"

#define LB_YAML_MAX_DEPTH 128
#define LB_YAML_MAX_SPOTS 65536  /* bytes of a text whose characters are looked for in the file */
#define LB_YAML_MAX_NODES 250000 /* aliases counted as often as they are used */
#define LB_YAML_MAX_TEXT ((int64_t)32 << 20) /* bytes of all texts, counted likewise */
#define LB_YAML_MAX_KEY 1024                 /* bytes */

typedef enum lb_yaml_kind {
    LB_YAML_SCALAR,
    LB_YAML_LIST,
    LB_YAML_MAPPING,
    LB_YAML_BROKEN, /* an alias to nothing: reported already */
} lb_yaml_kind;

typedef struct lb_yaml_node lb_yaml_node;

typedef struct lb_yaml_entry {
    lb_yaml_node *key; /* a scalar */
    lb_yaml_node *value;
    bool merged; /* came with a merge key */
} lb_yaml_entry;

/* Lives in the arena it was made in. A node that an alias names is the same node again. */
struct lb_yaml_node {
    lb_yaml_kind kind;
    lb_loc loc;
    int32_t size;   /* nodes in it, itself counted */
    int64_t bytes;  /* of the texts in it */
    int32_t height; /* levels in it: 1 for a scalar */

    /* Scalars. */
    lb_scalar_type type;
    bool is_plain;
    const char *text; /* decoded, without NUL bytes inside */
    size_t length;
    double number; /* numbers; 0 and 1 for false and true */
    bool is_exact; /* the text stands in the file as it is, on one line, from `inner` on */
    lb_loc inner;
    int32_t spot_count; /* where its characters stand if not; 0: unknown */
    const lb_spot *spots;

    /* Lists and mappings. */
    int32_t count;
    lb_yaml_node **items;
    lb_yaml_entry *entries; /* keys differ; merge keys are applied */
    int32_t *slots;         /* entries by the hash of their keys; NULL: they are few */
    bool is_open;           /* being read: an alias to it would never end */
};

/* Reads one document. `file` is what lb_diag_add_source answered; `text` lies there without a byte
 * order mark. All faults are reported, the answer is the first one's status. *out is the tree, also
 * after faults that leave one worth checking (duplicate keys, unknown aliases); NULL after others.
 *
 * LB_INVALID, LB_LIMIT (depth, nodes, text, a key), LB_MEMORY. */
LB_MUST_CHECK lb_status lb_yaml_read(lb_diag *diag, const char *file, const char *text,
                                     size_t bytes, lb_arena *arena, lb_yaml_node **out);

/* The value of a key; NULL if it is not there. */
lb_yaml_node *lb_yaml_find(const lb_yaml_node *mapping, const char *key);

/* The place of bytes [begin, end) of a scalar's text, as far as they are on one line; the whole
 * scalar if that cannot be told. */
lb_loc lb_yaml_place(const lb_yaml_node *scalar, size_t begin, size_t end);

#endif
