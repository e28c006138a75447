/* engine/scene/mesh_read.h: what the readers of OBJ, PLY and STL share; private to them.
 *
 * Functions that answer a status have reported their failure unless it says otherwise. */
#ifndef LB_SCENE_MESH_READ_H
#define LB_SCENE_MESH_READ_H

#include "engine/scene/import.h"
#include "engine/scene/polygons.h"
#include "engine/scene/scan.h"

#define READER_WHERE 192

/* How the pixels of a picture are taken. */
typedef enum {
    PICTURE_COLOR,   /* as colour, alpha left out */
    PICTURE_NUMBERS, /* R, G, B as they are */
    PICTURE_RED,     /* one channel of the stored numbers */
    PICTURE_GREEN,
    PICTURE_BLUE,
    PICTURE_MATTE,     /* alpha; 1 where there is none */
    PICTURE_LUMINANCE, /* 0.2126 R + 0.7152 G + 0.0722 B of the stored numbers */
    PICTURE_OPACITY,   /* matte if there is an alpha, else luminance */
} picture_use;

typedef struct {
    picture_use use;
    bool is_linear;   /* colour: the numbers are linear whatever the format of the file */
    float base, gain; /* stored number * gain + base */
} picture_wish;

typedef struct {
    char *key; /* path and wish; owned */
    bool is_broken, had_alpha;
    lb_texture *texture; /* under the default map */
} reader_image;

typedef struct reader {
    lb_pool *pool;
    lb_diag *diag;
    lb_loc loc;
    const char *path;
    const char *name; /* the path without its folder */
    char *folder;
    const lb_import_options *options;
    lb_scene *scene;
    reader_image *pictures;
    size_t picture_count, picture_capacity;
    bool told_latin;
} reader;

/* Opens and closes; the scene is empty, and the caller's. */
LB_MUST_CHECK lb_status reader_open(reader *r, lb_pool *pool, lb_diag *diag, lb_loc loc,
                                    const char *path, const lb_import_options *options);
void reader_close(reader *r);

/* Reports "'path', line 12: what" (line 0: no line) and answers `status`. */
lb_status reader_fail(const reader *r, lb_status status, int64_t line, const char *format, ...)
    LB_PRINTF(4, 5);
lb_status reader_no_memory(const reader *r);
/* Reports what a function that reports nothing answered: LB_MEMORY, or a limit. */
lb_status reader_told(const reader *r, lb_status status);
/* "name:line", or the name alone for line 0; answers `out`. */
const char *reader_where(char out[READER_WHERE], const char *name, int64_t line);
LB_MUST_CHECK lb_status reader_fact(reader *r, lb_fact_kind kind, const char *where,
                                    const char *format, ...) LB_PRINTF(4, 5);

/* Facts about what cutting polygons came upon. */
LB_MUST_CHECK lb_status reader_tally(reader *r, const lb_polygons_tally *tally);

/* A path beside a file as another system may have written it, in memory of the caller (lb_free),
 * unreported: `\` is taken as `/`, an absolute one as its last part. *was_absolute may be NULL. */
LB_MUST_CHECK lb_status reader_path(const char *folder, lb_word name, bool *was_absolute,
                                    char **out);

/* The picture of a file, lent; NULL with LB_OK if it cannot be had: that is warned of and recorded
 * at `where`. *had_alpha may be NULL. */
LB_MUST_CHECK lb_status reader_picture(reader *r, const char *where, const char *path,
                                       const picture_wish *wish, const lb_texture **out,
                                       bool *had_alpha);

/* Linear Rec. 709 to working; `encoded`: sRGB numbers. */
lb_vec3 reader_color(const reader *r, const double rgb[3], bool encoded);
/* The same of vertices, in place; alpha stays. */
void reader_colors(const reader *r, lb_vec4 *colors, size_t count, bool encoded);

/* A name as UTF-8 without control characters (lb_free): what is no UTF-8 is taken as Latin-1. */
LB_MUST_CHECK lb_status reader_name(reader *r, lb_word word, char **out);
/* The file's name without folder and ending, likewise. */
LB_MUST_CHECK lb_status reader_stem(reader *r, char **out);

#endif
