/* lang/build.h: what the parts of the language share while a graph is built from its tree.
 *
 * Each part reports its faults to the build and goes on with the next thing, so that one run finds
 * them all; what depends on something faulty is left alone. */
#ifndef LB_LANG_BUILD_H
#define LB_LANG_BUILD_H

#include "lang/lang.h"
#include "lang/names.h"

#define LB_BROKEN_EDGE (-2)      /* a slot whose reference has a fault that was reported */
#define LB_STAND_IN_COUNT 4      /* nodes behind all others, for what is faulty or not there */
#define LB_NAME_MAX 64           /* bytes of a name */
#define LB_MAX_PARAMS 1024       /* in one file or part */
#define LB_MAX_PARAM_CHAIN 64    /* params that depend on each other in a row */
#define LB_MAX_COMPARED 50000    /* names that are compared with unknown ones in one run */
#define LB_MAX_FILES 256         /* that one graph includes, itself counted */
#define LB_MAX_FILE_NODES 500000 /* values in all of them */
#define LB_MAX_DEPTH 32          /* includes within each other; parts within each other */
#define LB_MAX_THINGS 200000     /* nodes, inputs and params of all units */
#define LB_MAX_GROWN 2000000     /* values in all units; 32 bytes of text are one more */
#define LB_MAX_FILE_BYTES ((int64_t)64 << 20) /* of all files */
#define LB_MAX_EXPR_TEXT ((int64_t)8 << 20)   /* bytes of expressions in all units */
#define LB_MAX_FRAME_OPS 20000000             /* operations of all expressions at one frame */
#define LB_MAX_VERSIONS 256
#define LB_MAX_CHECKED 10000000 /* values in all versions that are checked at once */
#define LB_MAX_HANDED_ON 256    /* parts in a row that hand on their input as their result */

/* A node while it is built. */
typedef struct lb_node_build {
    lb_unit_build *unit;
    lb_named *named;
    bool is_faulty; /* its own description has faults */
    bool is_used;   /* an output needs it */
} lb_node_build;

typedef struct lb_build {
    lb_diag *diag;
    lb_graph *graph;
    lb_arena *arena; /* the graph's */
    lb_store store;  /* with the folder of the unit */
    const char *file;
    const lb_op *const *ops;
    const lb_setting *settings;
    int32_t setting_count;

    lb_status status;    /* of the first fault */
    bool is_over;        /* no memory, or too much: stop */
    int32_t told;        /* errors that were reported so far */
    size_t compared;     /* names looked at for suggestions */
    int64_t checked_ops; /* operations spent on looking ahead */
    int64_t frame_ops;   /* that the values looked at so far take at one frame */
    int64_t grown, expr_bytes;
    int64_t checked, checked_frames; /* what versions had of `grown` and `frame_ops` */

    lb_document *documents; /* the graph file first; they outlive this build */
    lb_document *last_document;
    int32_t document_count;
    int64_t file_nodes, file_bytes;
    const lb_body *body;         /* being declared; NULL: none */
    const lb_yaml_node *version; /* what it says; NULL: none */

    lb_unit_build *units; /* the graph file's first */
    lb_unit_build *last_unit;
    lb_unit_build *unit; /* whose names are looked up */
    size_t unit_capacity;
    int64_t things;

    lb_formula_set *set;
    size_t set_capacity;
    lb_scope scope;
    int32_t open_count; /* params being built, in the order of asking */
    lb_named_value *open[LB_MAX_PARAM_CHAIN];
    const lb_declared *outer;  /* a param of the file that a part asked for and cannot see */
    int32_t handed_on;         /* references being followed within each other */
    const lb_formula *unusual; /* the last that was warned of */

    size_t node_capacity;
    lb_node_build *nodes;         /* one a node of the graph */
    int32_t own_nodes, own_units; /* of the graph; hidden ones follow */
    int32_t stand_ins;            /* the first of them */
} lb_build;

/* Reports a fault and remembers its status. */
void lb_build_fail(lb_build *build, lb_status status, lb_loc loc, const char *format, ...)
    LB_PRINTF(4, 5);
/* Remembers the status of a fault that was reported just now, and notes where the unit is used.
 * Answers whether it was none. */
bool lb_build_ok(lb_build *build, lb_status status);
/* Arena memory, zeroed; NULL, reported, when there is none. count may be 0: then one. */
void *lb_build_alloc(lb_build *build, size_t count, size_t size);
/* Counts `values` values and `bytes` of text that the graph is about to hold once more. False: they
 * are too many, which was reported and ends the build. */
bool lb_build_spend(lb_build *build, int64_t values, int64_t bytes, lb_loc loc);
/* Makes room for one more in an array of the arena; what it was is left there. False: reported. */
bool lb_build_grow(lb_build *build, void **items, size_t *capacity, size_t count, size_t size);
char *lb_build_join(lb_build *build, const char *a, const char *b); /* NULL: reported */

/* "; did you mean 'x'?" or "", in `buffer`. */
#define LB_HINT 96
const char *lb_build_hint(lb_build *build, const char *name, const char *const *candidates,
                          size_t count, char buffer[LB_HINT]);
/* The same for a name among those of a map. */
const char *lb_build_map_hint(lb_build *build, const char *name, const lb_name_map *map,
                              char buffer[LB_HINT]);

/* Is `node` of that kind? If not, says so: "'owner' takes a mapping, not a list". */
bool lb_build_expect(lb_build *build, const lb_yaml_node *node, lb_yaml_kind kind,
                     const char *owner);
/* Reports keys of a mapping that are not among `keys` (NULL-ended): "'owner' has no key 'x'". */
void lb_build_check_keys(lb_build *build, const lb_yaml_node *mapping, const char *const *keys,
                         const char *owner);
/* The same for the keys that an operator's table or a record's fields allow. */
void lb_build_check_table(lb_build *build, const lb_yaml_node *mapping, const lb_input *inputs,
                          const lb_param *params, const char *owner, bool is_node);
/* Reports what is not a name by the language's rule. */
bool lb_build_check_name(lb_build *build, const lb_yaml_node *key);
/* "a list", "text 'ab'", "the number 4", for messages. */
#define LB_FOUND 80
const char *lb_build_found(const lb_yaml_node *node, char buffer[LB_FOUND]);

/* build_files.c: the graph file, given as text, and what it includes. NULL: reported. */
lb_document *lb_build_read(lb_build *build, const char *text, size_t bytes);

/* build_names.c: the bodies of all documents and their parts. */
void lb_build_declare(lb_build *build);
/* Declares the params of a body. */
void lb_build_declare_params(lb_build *build, lb_body *body, const lb_yaml_node *params);
/* One more name in a body that has room for it; NULL: reported. */
lb_named *lb_build_add_name(lb_build *build, lb_body *body, lb_name_kind what,
                            const lb_yaml_entry *entry);
void lb_build_forget(lb_build *build); /* frees what the arena does not hold of the documents */

/* build_parts.c: `parts` of a document. First their names, inputs and params, then what is in them.
 */
void lb_build_declare_parts(lb_build *build, lb_document *document);
void lb_build_check_uses(lb_build *build, const lb_body *body);
/* Parts that use themselves. */
void lb_build_check_recursion(lb_build *build);
/* What "part/NAME" or "part/KIT/NAME" means in a document. NULL: reported, unless `is_quiet`. */
lb_part *lb_build_find_part(lb_build *build, const lb_document *document, const lb_yaml_node *word,
                            bool is_quiet);

/* build_frame.c: `frame` and `color`, into graph->format. Must come before what follows. */
void lb_build_frame(lb_build *build, const lb_yaml_node *root);

/* build_versions.c: `versions`: what they are called and whether their keys are right. */
void lb_build_versions(lb_build *build, const lb_yaml_node *versions);
/* The settings of the command line and of the version, onto the params of files. */
void lb_build_settings(lb_build *build);

/* build_units.c: all units, with their nodes declared. */
void lb_build_units(lb_build *build);
/* Looks names up in `unit` from now on; answers the one before. */
lb_unit_build *lb_build_enter(lb_build *build, lb_unit_build *unit);

/* build_params.c: the values of all params. */
void lb_build_params(lb_build *build);
/* The value of a param, built if it was not yet. NULL: it has a fault (reported). `loc` is where it
 * is asked for. */
const lb_formula *lb_build_param(lb_build *build, lb_named_value *param, lb_loc loc);
/* The param that {param: NAME} names, built. NULL: reported. */
const lb_named_value *lb_build_param_named(lb_build *build, const lb_yaml_node *scalar);
/* The param of a file by its full name ("warmth", "kit/warmth"); NULL: there is none. */
lb_named_value *lb_build_find_param(const lb_unit_build *unit, const char *name, size_t length);

/* build_value.c: what stands where a value should be. `name` is for messages; `param` is what the
 * value is for, NULL for the params of the graph. NULL: reported, or because of a fault reported
 * elsewhere. */
const lb_formula *lb_build_value(lb_build *build, const lb_yaml_node *node, const char *name,
                                 const lb_param *param);
/* build_keys.c: {keys: ...}. */
const lb_formula *lb_build_keys(lb_build *build, const lb_yaml_node *node, const char *name,
                                const lb_param *param);
/* A constant formula; its hex colour is found out. */
lb_formula *lb_build_constant(lb_build *build, lb_loc loc, const lb_datum *value);
/* The numbers of a constant: of a hex colour its working-linear ones. False: it has none. */
bool lb_formula_numbers(const lb_formula *formula, lb_datum *out);

/* build_store.c: puts a formula into the field of `param` in the struct at `base`. A formula that
 * depends on the frame is stored for the first frame, looked at for the others, and becomes a
 * binding; *binding_made tells. */
typedef struct lb_target {
    const lb_param *param;
    void *base;
    int32_t records_offset, record;
    size_t base_offset;
    bool is_constant; /* nothing that depends on the frame may be put here */
} lb_target;
void lb_build_store(lb_build *build, const lb_formula *formula, const lb_target *target,
                    lb_binding *binding, bool *binding_made);

/* build_reference.c: reads `node`, `node.layer` or `kit/node` in the unit; false: reported.
 * out->node may be a node whose operator is unknown, or -1: an optional input of the part that is
 * not given. */
bool lb_build_reference(lb_build *build, const lb_yaml_node *scalar, const char *owner,
                        lb_edge_ref *out);
/* The same for what an input of a table takes; `owner` is who has the input. */
bool lb_build_input(lb_build *build, const lb_yaml_node *scalar, const lb_input *input,
                    const char *owner, lb_edge_ref *out);
/* Is there something of that name to refer to? */
bool lb_build_refers(lb_build *build, const lb_yaml_node *scalar);
/* What the inputs of all uses come to, and the results of parts. */
void lb_build_uses(lb_build *build);

/* build_nodes.c: what is in all nodes. */
void lb_build_nodes(lb_build *build);

/* build_outputs.c */
void lb_build_outputs(lb_build *build, const lb_yaml_node *outputs);

/* build_check.c: lb_graph_check, also where other faults were found: stand-ins take the place of
 * what is faulty, so that the rest is checked and nothing is told twice. */
void lb_build_check(lb_build *build);
void lb_build_trim(lb_build *build); /* takes what was only there to be checked off the graph */
/* One for each kind of value, without inputs, so that nothing follows from them. */
extern const lb_op lb_stand_in_ops[LB_STAND_IN_COUNT];
/* build_warn.c: warns of what nothing needs. For graphs without faults. */
void lb_build_warn(lb_build *build);

#endif
