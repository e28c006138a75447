/* lang/yaml_reader.h: what the files of the YAML reader share; for lang/yaml*.c only. */
#ifndef LB_LANG_YAML_READER_H
#define LB_LANG_YAML_READER_H

#include <yaml.h>

#include "lang/name_map.h"
#include "lang/place.h"
#include "lang/yaml.h"

/* A list or mapping that is being read. */
typedef struct lb_yaml_level {
    lb_yaml_node *node;
    lb_yaml_node **children; /* of a mapping: key, value, key, ... */
    size_t count, capacity;
    size_t start; /* code point */
    bool is_flow;
} lb_yaml_level;

typedef struct lb_yaml_reader {
    lb_diag *diag;
    lb_arena *arena;
    const char *file;
    lb_place_index places;
    lb_status status; /* of the first fault */
    bool is_over;     /* no tree can come of it */
    int64_t visited, visited_bytes;
    lb_name_map anchors;
    lb_yaml_node **anchored;
    size_t anchored_count, anchored_capacity;
    lb_yaml_level levels[LB_YAML_MAX_DEPTH];
    int32_t depth;
    lb_yaml_node *root;
} lb_yaml_reader;

/* yaml_reader.c */
void lb_yaml_note(lb_yaml_reader *r, lb_status status);    /* of a fault that was reported */
void lb_yaml_give_up(lb_yaml_reader *r, lb_status status); /* the same, and nothing is read on */
void lb_yaml_no_memory(lb_yaml_reader *r);
/* From code point `start` to `end`, or to the end of the line. */
lb_loc lb_yaml_loc(const lb_yaml_reader *r, size_t start, size_t end);
lb_yaml_node *lb_yaml_new(lb_yaml_reader *r, lb_yaml_kind kind, lb_loc loc); /* NULL: reported */
/* Counts what was met, a node that is finished or an empty one. */
void lb_yaml_visit(lb_yaml_reader *r, const lb_yaml_node *node, lb_loc loc);
/* Hands a finished or just begun node to the list or mapping around it. */
void lb_yaml_attach(lb_yaml_reader *r, lb_yaml_node *node);
/* Tags of the core schema say what a value is anyway; others have no meaning here. */
void lb_yaml_check_tag(lb_yaml_reader *r, const char *tag, const char *const *allowed, lb_loc loc);

/* yaml_alias.c */
void lb_yaml_add_anchor(lb_yaml_reader *r, const char *anchor, lb_yaml_node *node);
void lb_yaml_read_alias(lb_yaml_reader *r, const yaml_event_t *event);

/* yaml_scalar.c */
void lb_yaml_read_scalar(lb_yaml_reader *r, const yaml_event_t *event);

/* yaml_mapping.c: keys and values of a level that has ended, merge keys applied. */
void lb_yaml_end_mapping(lb_yaml_reader *r, lb_yaml_level *top);

#endif
