/* engine/scene/ply_read.h: what the parts of the PLY reader share; private to them. */
#ifndef LB_SCENE_PLY_READ_H
#define LB_SCENE_PLY_READ_H

#include "engine/scene/mesh_read.h"

typedef enum { PLY_I8, PLY_U8, PLY_I16, PLY_U16, PLY_I32, PLY_U32, PLY_F32, PLY_F64 } ply_type;

/* What a property is to us. */
typedef enum {
    PLY_X,
    PLY_Y,
    PLY_Z,
    PLY_NX,
    PLY_NY,
    PLY_NZ,
    PLY_RED,
    PLY_GREEN,
    PLY_BLUE,
    PLY_ALPHA,
    PLY_U,
    PLY_V,
    PLY_SCALARS, /* the number of those above */
    PLY_INDICES = PLY_SCALARS,
    PLY_TEXCOORD,
    PLY_NOTHING,
} ply_role;

typedef struct {
    lb_word name;
    ply_type type, count_type;
    bool is_list;
    ply_role role;
} ply_property;

typedef enum { PLY_VERTEX, PLY_FACE, PLY_STRIPS, PLY_OTHER } ply_kind;

#define PLY_PROPERTIES 64
#define PLY_ELEMENTS 32
typedef struct {
    lb_word name;
    ply_kind kind;
    int64_t count, line;
    int32_t property_count;
    bool has[PLY_NOTHING + 1]; /* roles */
    ply_property properties[PLY_PROPERTIES];
} ply_element;

typedef struct {
    bool is_text, is_big; /* is_big: big-endian */
    lb_word picture;      /* of a comment; of count 0: none */
    int64_t picture_line;
    int32_t element_count;
    ply_element elements[PLY_ELEMENTS];
    const uint8_t *data; /* behind the header */
    int64_t data_line;
} ply_header;

/* ply_header.c. The header of a file that begins as PLY does; reported by `r`. */
LB_MUST_CHECK lb_status ply_header_read(const reader *r, const void *bytes, size_t count,
                                        ply_header *out);

typedef struct {
    reader r;
    ply_header header;
    lb_scan scan;              /* text: where it is */
    const uint8_t *at, *end;   /* binary: where it is */
    const ply_element *vertex; /* NULL: none */
    lb_polygons p;
    double *indices, *texcoord; /* of a row */
    size_t index_capacity, texcoord_capacity;
    int64_t few_corners, strips, connectors, odd_texcoord, vague_normals, vague_uvs;
    bool has_clear; /* an alpha below 1 */
} ply;

/* ply_data.c. All elements into p->p. */
LB_MUST_CHECK lb_status ply_data_read(ply *p);

#endif
