/* engine/scene/obj_read.h: what the parts of the OBJ reader share; private to them. */
#ifndef LB_SCENE_OBJ_READ_H
#define LB_SCENE_OBJ_READ_H

#include "engine/scene/mtl.h"

/* Names with a number each, from 0 in the order in which they came. */
typedef struct {
    lb_triple_table table;
    lb_word *words;
    size_t capacity;
} obj_names;
void obj_names_clear(obj_names *names);
/* LB_MEMORY, LB_LIMIT, unreported. */
LB_MUST_CHECK lb_status obj_names_number(obj_names *names, lb_word word, int32_t *number);

/* Polygons of one object, group and material; -1: none was said. */
typedef struct {
    int32_t item, material;
    size_t polygons; /* how many */
} obj_part;

typedef struct {
    int32_t object, group; /* -1: none */
    int32_t parts;         /* how many */
} obj_item;

/* How often something came up, and on which line first. */
typedef struct {
    int64_t count, line;
} obj_count;

typedef struct {
    reader r;
    lb_scan scan;
    lb_polygons p;
    mtl_set mtl;
    obj_names objects, groups, uses; /* uses: names of usemtl */
    obj_names libraries;
    lb_triple_table item_table, part_table;
    obj_item *items;
    obj_part *parts;
    size_t item_capacity, part_capacity;
    int32_t object, group, use; /* in force; -1: none */
    int32_t part;               /* in force; -1: not looked up yet */
    int64_t smooth;
    word_tally unused;
    struct {
        int64_t index, line; /* the highest from 1, and where it stands */
    } highest[3];            /* places, uvs, normals */
    obj_count few_corners, weights, depths, vague_uvs, vague_normals, own_normals;
    obj_count several_groups, bad_smooth;
    bool has_smooth;
    float brightest; /* number of a vertex colour */
} obj;

/* obj_line.c: one line, of which the first word was taken. */
LB_MUST_CHECK lb_status obj_read_line(obj *o, lb_word word);
/* obj_line.c: hands the files that a line of mtllib may mean to `fn`: all of it as one name if such
 * a file is there or `all`, else each word. Unreported. */
LB_MUST_CHECK lb_status obj_each_library(const char *folder, lb_word rest, bool all,
                                         lb_import_file_fn fn, void *context);
/* obj_build.c: polygons and materials to items. */
LB_MUST_CHECK lb_status obj_build(obj *o);

#endif
