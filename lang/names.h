/* lang/names.h: what names there are in the files of a graph, and what they mean.
 *
 * A document is a file that was read. It and each part in it have a body: the names that are
 * declared there, once. A unit is one life of a body: of a document for each `include` of it, of a
 * part for each use. Only units have nodes, values and connections. */
#ifndef LB_LANG_NAMES_H
#define LB_LANG_NAMES_H

#include "engine/base/file.h"
#include "lang/formula.h"
#include "lang/name_map.h"

typedef struct lb_document lb_document;
typedef struct lb_part lb_part;
typedef struct lb_unit_build lb_unit_build;

typedef enum lb_name_kind {
    LB_NAMES_NODE,    /* `op` is an operator, or NULL: it has a fault */
    LB_NAMES_USE,     /* `part` is what is used, or NULL */
    LB_NAMES_INPUT,   /* of a part */
    LB_NAMES_INCLUDE, /* `document`, or NULL */
} lb_name_kind;

/* A name that references may use. */
typedef struct lb_named {
    lb_name_kind what;
    const char *name;
    lb_loc loc; /* of the name */
    const lb_yaml_node *node;
    const lb_op *op;
    lb_part *part;
    lb_kind kind; /* of an input */
    bool is_optional;
    lb_document *document;
    const lb_yaml_node *params; /* that an include sets; NULL: none */
    bool is_used;
} lb_named;

/* A param as it is declared. */
typedef struct lb_declared {
    const char *name;
    lb_loc loc;
    const lb_yaml_node *node; /* its default */
    bool is_used;
    bool has_type; /* what type the default is of, once it was built */
    lb_datum_kind kind;
    int32_t count, color_count;
} lb_declared;

typedef struct lb_body {
    lb_document *document;
    lb_part *part; /* NULL: the file's own */
    lb_name_map names;
    int32_t named_count;
    lb_named *named;
    lb_name_map param_names;
    int32_t param_count;
    lb_declared *params;
} lb_body;

struct lb_part {
    const char *name;
    lb_loc loc;
    const lb_yaml_node *node;
    lb_body body;
    const lb_yaml_node *result; /* NULL: reported */
    const char *used_as;        /* what `op` says behind part/ at its first use */
    lb_loc used;                /* the first use; line 0: none */
    enum { LB_PART_NEW, LB_PART_OPEN, LB_PART_DONE } state; /* of looking for cycles */
    int32_t height; /* levels of parts in it, itself counted */
    bool is_faulty; /* no unit can be made of it */
};

struct lb_document {
    lb_document *next;     /* in the order of reading */
    lb_document *includer; /* the first one, and where; NULL: the graph file */
    lb_loc included;
    const char *file, *folder;
    lb_file_stamp stamp;
    bool has_stamp;
    bool is_open;             /* what it includes is being read */
    const lb_yaml_node *root; /* NULL: it could not be read, which was reported */
    lb_body body;
    lb_name_map part_names;
    int32_t part_count;
    lb_part *parts;
};

typedef enum lb_state { LB_STATE_NEW, LB_STATE_OPEN, LB_STATE_DONE } lb_state;

/* The value of a param in one unit. */
typedef struct lb_named_value {
    lb_unit_build *unit;
    lb_declared *declared;
    const lb_yaml_node *given; /* instead of the default; NULL: nothing */
    lb_unit_build *given_in;   /* whose names it is written with */
    const char *set;           /* from the command line; NULL: not from there */
    lb_state state;
    const lb_formula *formula; /* NULL when done: it has a fault */
    int32_t rank;              /* longest chain of params below it */
    int32_t slot;              /* in the set, if it differs from frame to frame */
} lb_named_value;

/* What a name stands for in one unit. */
typedef struct lb_meant {
    int32_t node;        /* of a node */
    lb_unit_build *unit; /* of a use or an include; NULL: it has a fault */
    lb_state state;
    lb_edge_ref edge; /* when done: what a use or an input comes to */
} lb_meant;

struct lb_unit_build {
    lb_unit_build *parent, *next; /* `next` in the order of making */
    lb_body *body;
    int32_t index; /* of graph->units */
    int32_t depth;
    const char *prefix; /* "", "kit/", "kit/title/" */
    const lb_yaml_node
        *uses;              /* the mapping of the use; NULL: a file, or a part that nothing uses */
    bool is_hidden;         /* made only to be checked: in no graph */
    lb_named_value *params; /* one a param of the body */
    lb_meant *meant;        /* one a name of it */
};

#endif
