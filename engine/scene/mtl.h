/* engine/scene/mtl.h: material libraries of OBJ files; private to that reader. */
#ifndef LB_SCENE_MTL_H
#define LB_SCENE_MTL_H

#include "engine/scene/mesh_read.h"

typedef enum {
    MTL_KD,
    MTL_KS,
    MTL_NS,
    MTL_KE,
    MTL_D,
    MTL_BUMP,
    MTL_NORM,
    MTL_PR,
    MTL_PM,
    MTL_MAP_COUNT,
} mtl_slot;

/* Options that are read past; bits of mtl_map.unused, in the order of mtl_unused_names. */
enum { MTL_T, MTL_BLENDU, MTL_BLENDV, MTL_CC, MTL_BOOST, MTL_TEXRES, MTL_TYPE, MTL_UNUSED_COUNT };
extern const char *const mtl_unused_names[];

/* A line that names a picture. */
typedef struct {
    int64_t line; /* 0: there is none */
    char *path;   /* owned; NULL: not a path */
    bool was_absolute, clamps, is_linear;
    double offset[2], scale[2];
    double base, gain; /* -mm */
    double bump;       /* -bm */
    char channel;      /* -imfchan; 0: not given */
    uint32_t unused;
} mtl_map;

/* A finite number, or nothing taken. */
bool mtl_read_number(lb_scan *scan, double *out);
/* Options stand before the name; false: one is unknown or makes no sense, and is not taken. */
bool mtl_read_options(lb_scan *scan, mtl_map *map);
/* Some writers put them behind it: takes them off the end of a name, from the first blank and minus
 * sign behind which there is nothing but options. */
lb_word mtl_take_late_options(lb_word rest, mtl_map *map);

/* Bits of mtl_material.given. */
enum {
    MTL_HAS_KD = 1,
    MTL_HAS_KS = 2,
    MTL_HAS_KE = 4,
    MTL_HAS_NS = 8,
    MTL_HAS_D = 16,
    MTL_HAS_TR = 32,
    MTL_HAS_ILLUM = 64,
    MTL_HAS_PR = 128,
    MTL_HAS_PM = 256,
};

typedef struct {
    lb_word name;
    const char *library; /* its name */
    int64_t line;
    uint32_t given;
    double kd[3], ks[3], ke[3];
    double ns, d, tr, pr, pm;
    int64_t illum;
    mtl_map maps[MTL_MAP_COUNT];
    lb_material *made; /* owned reference; NULL: not needed yet */
} mtl_material;

/* Words of a text that nothing is done with: how many lines, and where the first is. */
#define WORD_KINDS 64 /* told apart; what is beyond is counted as one */
typedef struct {
    struct {
        lb_word word;
        const char *why; /* "" : not known */
        int64_t line, count;
    } kinds[WORD_KINDS];
    int32_t count;
} word_tally;
void word_tally_add(word_tally *tally, lb_word word, const char *why, int64_t line);
/* Facts; `name` is that of the file. */
LB_MUST_CHECK lb_status word_tally_report(reader *r, const word_tally *tally, const char *name);

typedef struct {
    char *name;  /* as the file calls it */
    void *bytes; /* that words point into */
    size_t count;
    word_tally unused;
    int64_t broken, broken_line;     /* lines that make no sense, and the first of them */
    int64_t repeated, repeated_line; /* materials whose name is there already */
} mtl_library;

typedef struct {
    mtl_library **libraries;
    size_t library_count, library_capacity;
    mtl_material *materials;
    size_t material_count, material_capacity;
    lb_triple_table names; /* of the materials */
} mtl_set;
void mtl_set_clear(mtl_set *set);

/* A name's number in a table of names, which is added; by 96 bits of its hash. LB_MEMORY, LB_LIMIT,
 * unreported. */
LB_MUST_CHECK lb_status mtl_name_number(lb_triple_table *table, lb_word name, int32_t *number);

/* Adds the materials of the library in the file `path`, which is there; reports nothing but what
 * keeps it from being read at all (LB_MEMORY, LB_IO, LB_LIMIT). */
LB_MUST_CHECK lb_status mtl_read(mtl_set *set, lb_diag *diag, lb_loc loc, const char *path);
/* Facts about what was read past, and that colours are taken as linear. */
LB_MUST_CHECK lb_status mtl_report(reader *r, const mtl_set *set);

/* The material of that number as the renderer has it, lent; makes it the first time, with facts. */
LB_MUST_CHECK lb_status mtl_material_get(reader *r, mtl_set *set, int32_t number,
                                         lb_material **out);

#endif
