/* engine/graph/op.h: what an operator is. One table each; parsing, checking, `lampblack ops`, the
 * schema and the reference pages are read from it. */
#ifndef LB_GRAPH_OP_H
#define LB_GRAPH_OP_H

#include <math.h>
#include <stddef.h>

#include "engine/base/hash.h"
#include "engine/graph/value.h"

/* How a parameter is written and where it is kept: the C type of its field is in brackets. */
typedef enum lb_type {
    LB_BOOL,     /* true, false [bool] */
    LB_INT,      /* whole number [int32_t] */
    LB_NUMBER,   /* [double] */
    LB_VEC2,     /* [double[2]] */
    LB_VEC3,     /* [double[3]] */
    LB_VEC4,     /* [double[4]] */
    LB_COLOR,    /* CSS hex (sRGB, converted) or [r, g, b(, a)] working-linear; straight alpha,
                  * 1 when not given [double[4]] */
    LB_ROTATION, /* XYZ Euler degrees or quaternion [x, y, z, w]; kept as a unit quaternion
                  * [double[4]] */
    LB_TEXT,     /* [const char *], NULL when not given and without a default */
    LB_FILE,     /* a path, made relative to the graph file's folder [const char *] */
    LB_CHOICE,   /* one of `names` [int], -1 when not given and initial is LB_UNSET */
    LB_REF,      /* in a record: a node of kind `kind` [int32_t: its slot in inputs, -1: none] */
    LB_RECORD,   /* a mapping with `fields`, kept inline [a struct] */
    LB_RECORDS,  /* a list of mappings with `fields` [lb_records] */
} lb_type;

typedef struct lb_records {
    int32_t count;
    void *items; /* `count` structs of the size that the table says */
} lb_records;

typedef enum lb_unit {
    LB_UNITLESS,
    LB_PIXELS, /* of frame.size: multiplied by format.scale before the operator sees them */
    LB_PIXELS_PER_SECOND, /* likewise */
    LB_DEGREES,
    LB_SECONDS,
    LB_MILLIMETRES,
    LB_SCENE_UNITS,
    LB_EV,
    LB_FRAMES,
} lb_unit;
const char *lb_unit_text(lb_unit unit);

/* As a number's initial value: not given. Operators ask lb_is_set. For vectors in component 0. */
#define LB_UNSET ((double)NAN)
static inline bool lb_is_set(double value)
{
    return !isnan(value);
}

typedef struct lb_param {
    const char *name;
    size_t offset;
    lb_type type;
    double initial[4];
    const char *initial_text;
    double min, max; /* of every number in it, inclusive; both 0: any finite number */
    lb_unit unit;
    const char *const *names;      /* LB_CHOICE: NULL-ended, in the order of the values 0, 1, ... */
    const struct lb_param *fields; /* LB_RECORD(S) */
    size_t fields_size;            /* LB_RECORD(S): of the struct */
    lb_kind kind;                  /* LB_REF */
    bool required;                 /* the graph must give it */
    bool fixed;                    /* cannot be animated or computed from the frame */
    bool spread;                   /* vectors: one number sets every component */
    const char *doc;               /* a sentence; without defaults, ranges and units */
    double usual_min, usual_max;   /* outside of it a graph gets a warning; both 0: none */
} lb_param;

/* LB_PARAM(blur_params, sigma, LB_VEC2, .initial = {4, 4}, ...); _AS where the name has a dash.
 * What follows the field is its type and then other members. */
#define LB_PARAM(strct, field, ...) LB_PARAM_AS(strct, field, #field, __VA_ARGS__)
#define LB_PARAM_AS(strct, field, key, ...)                                                        \
    {                                                                                              \
        .name = (key), .offset = offsetof(strct, field), .type = __VA_ARGS__                       \
    }

typedef struct lb_input {
    const char *name;
    lb_kind kind;
    bool optional;
    bool list;     /* any number of them; only for the last input of a table */
    bool native;   /* asked at scale 1 whatever the frame's scale: textures */
    bool or_param; /* a word that names no node goes to the parameter of the same name */
    const char *doc;
} lb_input;

struct lb_op;
struct lb_files;
struct lb_points;

/* One node at one time, as its functions see it. Everything is lent. */
typedef struct lb_call {
    const struct lb_op *op;
    const char *node;   /* its name */
    const void *params; /* resolved, op->params_size bytes */
    const lb_format *format;
    double frame;          /* may be between frames */
    double time_s;         /* (frame - format->first) / rate */
    int32_t input_count;   /* slots: input i of the table is slot i, a list goes on to the end
                            * of the list, references in records follow */
    const lb_desc *inputs; /* of each slot; kind NONE where nothing is connected */
    lb_loc loc;            /* of the node */
    const lb_loc *locs;    /* of each parameter of the table; of the node where not given */
    lb_diag *diag;
    lb_pool *pool;
    struct lb_files *files; /* file contents and hashes, kept over the run */
    lb_arena *arena;        /* lives as long as the plan of this frame; in evaluate, as long as
                             * that call */
} lb_call;
/* Where the graph gives the parameter of that name (of the node if it does not). */
lb_loc lb_call_loc(const lb_call *call, const char *param);

/* One slot at the times that were asked for. */
typedef struct lb_series {
    int32_t count;
    const double *frames;
    const lb_value *values;
} lb_series;

typedef struct lb_task {
    lb_call call;
    lb_pool *pool;
    lb_box box;              /* images: the pixels wanted, within desc->data_window; not empty */
    uint64_t channels;       /* images: bit i wants desc->channels->names[i] */
    const lb_desc *desc;     /* what describe answered */
    const lb_value *inputs;  /* one a slot (at the first time asked for) */
    const lb_series *series; /* one a slot */
} lb_task;
static inline bool lb_task_wants(const lb_task *task, const char *channel)
{
    int32_t i = lb_channels_find(task->desc->channels, channel);

    return i >= 0 && (task->channels >> i & 1) != 0;
}

#define LB_MAX_TIMES 64

/* All functions but evaluate are optional. Those with a call report their own failures to
 * call->diag. All are pure but for files, whose content `fingerprint` hashes. */
typedef struct lb_op {
    const char *name, *summary;
    const char *doc;        /* more than the summary: a paragraph; may be NULL */
    const char *group;      /* folder under nodes/, for the reference pages */
    int32_t version;        /* part of every key: raise it when a pixel changes */
    const lb_input *inputs; /* ended by {0}; NULL: none */
    const lb_param *params; /* ended by {0}; NULL: none */
    size_t params_size;
    lb_kind result;
    bool timed; /* the result depends on the frame itself, not only on parameters */

    /* Is this combination of parameters sensible? Runs on `check`, and before describe. */
    lb_status (*check)(const lb_call *call);

    /* What lies outside the graph and decides the result: files' contents. */
    lb_status (*fingerprint)(const lb_call *call, lb_hasher *hasher);

    /* What comes out, before any pixel is made. NULL: images are described as the first image
     * input, or as an RGBA frame when there is none. */
    lb_status (*describe)(const lb_call *call, lb_desc *out);

    /* The part of slot `slot` that `wanted` of the result needs (it is cut to the input's data
     * window afterwards). NULL: the same pixels. */
    lb_box (*region)(const lb_call *call, int32_t slot, lb_box wanted);

    /* The channels (bits of inputs[slot].channels) that `wanted` (bits of own->channels) needs.
     * NULL: for slot 0 the wanted names and R, G, B, A; for the others all. */
    uint64_t (*channels)(const lb_call *call, const lb_desc *own, int32_t slot, uint64_t wanted);

    /* The frames at which slot `slot` is needed, at most LB_MAX_TIMES, into `frames`; how many.
     * NULL: call->frame. */
    int32_t (*times)(const lb_call *call, int32_t slot, double *frames);

    /* Makes the result: for images all wanted channels over task->box (boxes of the planes equal
     * to task->box). out->kind is set by the caller. Pure: the same task gives the same bits, on
     * any thread, in any order. */
    lb_status (*evaluate)(const lb_task *task, lb_value *out);

    /* The operator makes each pixel from the same pixel of its inputs (points.h): then `region` and
     * `channels` are not asked, and evaluate is lb_points_evaluate. NULL: it does not. */
    const struct lb_points *points;

    /* Bytes that evaluate needs beside its inputs and its result, at most, for `box`. NULL: few. */
    size_t (*scratch)(const lb_call *call, const lb_desc *own, lb_box box, uint64_t wanted);

    /* Nodes of a small graph that shows what it does, as a graph file has them, indented by two;
     * the picture is `last`, in a frame of 320 x 180, at frame 20 of 50. NULL: none. */
    const char *example;
} lb_op;

/* For describe: an image of the format's frame with those channels. */
lb_desc lb_desc_frame(const lb_call *call, const lb_channels *channels);

/* What evaluate of many operators on images does. */

typedef lb_status (*lb_plane_fn)(const lb_task *task, const lb_plane *in, lb_plane **out);
/* Applies fn to every wanted channel of `in`; an image with task->desc's windows. */
LB_MUST_CHECK lb_status lb_image_map(const lb_task *task, const lb_image *in, lb_plane_fn fn,
                                     lb_image **out);
/* A new image with task->desc's windows and no planes. */
LB_MUST_CHECK lb_status lb_task_image(const lb_task *task, lb_image **out);
/* Adds to `out` the plane's pixels of task->box: shared if the boxes are equal, else cut or
 * enlarged with 0. */
LB_MUST_CHECK lb_status lb_task_pass(const lb_task *task, lb_image *out, const char *name,
                                     const lb_plane *plane);
/* Copies pixels of `box` out of `plane`, 0 outside it. */
LB_MUST_CHECK lb_status lb_plane_cut(const lb_plane *plane, lb_box box, lb_plane **out);

/* Files, kept over a run. Contents and hashes are remembered until the file changes. */
typedef struct lb_file_content {
    const void *bytes; /* lent, lives as long as the lb_files; NUL behind the end */
    size_t count;
    lb_key key; /* XXH3 of the bytes */
} lb_file_content;
LB_MUST_CHECK lb_status lb_files_load(struct lb_files *files, lb_diag *diag, lb_loc loc,
                                      const char *path, lb_file_content *out);
/* The same for a file of many, such as a frame of a sequence: the bytes are the caller's to read
 * until he gives them back, and stay for a while after that. */
LB_MUST_CHECK lb_status lb_files_borrow(struct lb_files *files, lb_diag *diag, lb_loc loc,
                                        const char *path, lb_file_content *out);
void lb_files_return(struct lb_files *files, lb_file_content *content); /* makes it zero */
/* SHA-256, computed once. */
LB_MUST_CHECK lb_status lb_files_sha256(struct lb_files *files, lb_diag *diag, lb_loc loc,
                                        const char *path, char out[LB_SHA256_TEXT]);
/* Only the hash: the bytes may be let go. */
LB_MUST_CHECK lb_status lb_files_key(struct lb_files *files, lb_diag *diag, lb_loc loc,
                                     const char *path, lb_key *out);

#endif
