/* lang/build.h: what the parts of the language share while a graph is built from its tree.
 *
 * Each part reports its faults to the build and goes on with the next thing, so that one run finds
 * them all; what depends on something faulty is left alone. */
#ifndef LB_LANG_BUILD_H
#define LB_LANG_BUILD_H

#include "lang/formula.h"
#include "lang/lang.h"
#include "lang/name_map.h"

#define LB_BROKEN_EDGE (-2)   /* a slot whose reference has a fault that was reported */
#define LB_STAND_IN_COUNT 4   /* nodes behind the graph's own, for what is faulty */
#define LB_NAME_MAX 64        /* bytes of a name */
#define LB_MAX_PARAMS 1024    /* in one graph */
#define LB_MAX_PARAM_CHAIN 64 /* params that depend on each other in a row */
#define LB_MAX_COMPARED 50000 /* names that are compared with unknown ones in one run */

typedef enum lb_param_state { LB_PARAM_NEW, LB_PARAM_OPEN, LB_PARAM_DONE } lb_param_state;

/* A named value of the graph. */
typedef struct lb_named_value {
    const char *name;
    lb_loc loc; /* of the name */
    const lb_yaml_node *node;
    const lb_setting *setting; /* from the command line; NULL: none */
    lb_param_state state;
    const lb_formula *formula; /* NULL when done: it has a fault */
    int32_t rank;              /* longest chain of params below it */
    int32_t slot;              /* in the set, if it differs from frame to frame */
    bool is_used;
} lb_named_value;

/* A node while it is built. */
typedef struct lb_node_build {
    const lb_yaml_node *node;
    bool is_faulty; /* its own description has faults */
    bool is_used;   /* an output needs it */
} lb_node_build;

typedef struct lb_build {
    lb_diag *diag;
    lb_graph *graph;
    lb_arena *arena; /* the graph's */
    lb_store store;
    const char *file;
    const lb_op *const *ops;
    const lb_setting *settings;
    int32_t setting_count;

    lb_status status;    /* of the first fault */
    bool is_over;        /* no memory: stop */
    size_t compared;     /* names looked at for suggestions */
    int64_t checked_ops; /* operations spent on looking ahead */

    lb_name_map param_names;
    int32_t param_count;
    lb_named_value *params;
    lb_formula_set *set;
    lb_scope scope;
    int32_t open_count; /* params being built, in the order of asking */
    int32_t open[LB_MAX_PARAM_CHAIN];

    lb_name_map node_names;
    lb_node_build *nodes; /* one a node of the graph */
    bool has_include;
} lb_build;

/* Reports a fault and remembers its status. */
void lb_build_fail(lb_build *build, lb_status status, lb_loc loc, const char *format, ...)
    LB_PRINTF(4, 5);
/* Remembers the status of a fault that was reported. Answers whether it was none. */
bool lb_build_ok(lb_build *build, lb_status status);
/* Arena memory, zeroed; NULL, reported, when there is none. count may be 0: then one. */
void *lb_build_alloc(lb_build *build, size_t count, size_t size);

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

/* build_frame.c: `frame` and `color`, into graph->format. Must come first. */
void lb_build_frame(lb_build *build, const lb_yaml_node *root);

/* build_params.c: `params` and the command line's settings. */
void lb_build_params(lb_build *build, const lb_yaml_node *params);
/* The value of a param, built if it was not yet. NULL: there is none or it has a fault (reported).
 * `loc` is where it is asked for. */
const lb_formula *lb_build_param(lb_build *build, int32_t index, lb_loc loc);

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

/* build_nodes.c */
void lb_build_nodes(lb_build *build, const lb_yaml_node *nodes);
/* Reads `node` or `node.layer`; false: reported. out->node may be a node whose operator is
 * unknown. */
bool lb_build_reference(lb_build *build, const lb_yaml_node *scalar, const char *owner,
                        lb_edge_ref *out);

/* build_outputs.c */
void lb_build_outputs(lb_build *build, const lb_yaml_node *outputs);

/* build_check.c: lb_graph_check, also where other faults were found: stand-ins take the place of
 * what is faulty, so that the rest is checked and nothing is told twice. */
void lb_build_check(lb_build *build);
/* Warns of nodes that no output needs and params that nothing uses. For graphs without faults. */
void lb_build_warn(lb_build *build);

#endif
