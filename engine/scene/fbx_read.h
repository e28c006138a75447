/* engine/scene/fbx_read.h: what the parts of the FBX reader share; private to them.
 *
 * A `where` is "/CLASS/NAME/PROPERTY" ("/NodeAttribute/fire/DecayType"), for messages and facts.
 * Functions that answer a status have reported their failure. Facts do not answer: a reader without
 * room for one remembers it (`is_full`), and the read fails at its end. */
#ifndef LB_SCENE_FBX_READ_H
#define LB_SCENE_FBX_READ_H

#include "engine/scene/fbx.h"
#include "engine/scene/fbx_node.h"
#include "engine/scene/picture.h"

#define FBX_WHERE 192       /* longest path made here, with the NUL */
#define FBX_NONE (SIZE_MAX) /* no object */

/* Where a number comes from. */
typedef enum fbx_origin { FBX_AUTHORED, FBX_TEMPLATE, FBX_FORMAT } fbx_origin;

typedef struct fbx_object {
    int64_t id;
    const fbx_node *node;           /* Model, Geometry, ... */
    const char *name;               /* without its class */
    const char *kind;               /* "Mesh", "Light"; "" if it has none */
    const fbx_node *own, *template; /* their P nodes; NULL: none */
    size_t up, up_count;            /* in fbx.ups: what it is connected to */
    size_t down, down_count;        /* in fbx.downs: what is connected to it */
    bool used;
} fbx_object;

/* A connection: OO (property NULL) or OP. An end that is not there is FBX_NONE: the scene itself,
 * if its id was 0. */
typedef struct fbx_link {
    size_t child, parent;
    const char *property;
} fbx_link;

/* Of a Video or Texture object. */
typedef struct fbx_image {
    bool is_broken;
    lb_texture *textures[LB_PICTURE_USE_COUNT];
} fbx_image;

/* The first mesh of a Geometry object, and the model that it was made for. */
typedef struct fbx_made {
    lb_mesh *mesh;
    const fbx_object *model;
} fbx_made;

/* A piece of a curve, from one key to the next. */
typedef struct fbx_piece {
    enum { FBX_HOLD, FBX_HOLD_NEXT, FBX_LINE, FBX_CUBIC } kind;
    double slope_out, slope_in; /* per second, at the begin and the end */
    double weight_out,
        weight_in; /* lengths of the handles, as parts of the piece: 1/3 unweighted */
} fbx_piece;

typedef struct fbx_curve {
    size_t count;
    double *times; /* seconds from the first frame */
    double *values;
    fbx_piece *pieces; /* count; the last one is not used */
    bool is_weighted;
} fbx_curve;

typedef struct fbx_model {
    size_t object, parent; /* parent: a model; FBX_NONE: a root */
    int32_t item;
    int64_t order, inherit;
    bool is_turned;  /* pre- and post-rotation and the order count */
    bool is_uniform; /* all scales above it are the same along x, y, z */
    lb_quat pre, post;
    lb_vec3d rotation_offset, rotation_pivot, scaling_offset, scaling_pivot;
    lb_vec3d lcl[3];         /* translation, rotation (degrees), scaling */
    fbx_curve *curves[3][3]; /* of those; NULL: none. Owned by the reader's list */
    lb_quat aim;             /* what a camera or light turns by after it; else identity */
    lb_quat world_rotation;  /* the file's world, at rest */
    double world_linear[9];  /* by rows */
} fbx_model;

typedef struct fbx {
    lb_pool *pool;
    lb_diag *diag;
    lb_loc loc;
    const char *path;
    char *folder;
    const lb_fbx_options *options;
    double to_working[9]; /* linear Rec. 709 to the working space */
    fbx_document document;
    bool is_full;
    size_t object_count;
    fbx_object *objects; /* ascending by id */
    size_t link_count;
    fbx_link *links;     /* as they stand in the file */
    size_t *ups, *downs; /* link indices by child and by parent, in the file's order */
    fbx_object settings; /* GlobalSettings as an object */
    /* The graph's axis i is sign[i] times the file's axis[i]. */
    int axis[3];
    double sign[3];
    bool is_mirrored;
    double unit;   /* metres a unit of the file */
    double rate;   /* frames a second */
    double ticks;  /* a second */
    int64_t start; /* ticks of time 0 */
    size_t model_count;
    fbx_model *models;
    size_t *model_of;        /* object -> model; FBX_NONE */
    fbx_image *images;       /* one an object */
    fbx_made *made;          /* one an object */
    lb_material **materials; /* one an object; NULL until needed */
    lb_material *plain;
    size_t curve_count, curve_capacity;
    fbx_curve **curves;
    lb_scene *scene;
} fbx;

/* fbx_object.c */

/* Reports "'file': where: what" and answers `status`. */
lb_status fbx_fail(fbx *g, lb_status status, const char *where, const char *format, ...)
    LB_PRINTF(4, 5);
lb_status fbx_no_memory(fbx *g);
/* Reports the failure of a function that has not: LB_MEMORY is the only one left. */
lb_status fbx_told(fbx *g, lb_status status);
/* A fact about `where`, kept once however often it is told. */
void fbx_fact(fbx *g, lb_fact_kind kind, const char *where, const char *format, ...)
    LB_PRINTF(4, 5);
/* A fact about a number of an object: authored, or assumed and whose default it is. */
void fbx_origin_fact(fbx *g, const fbx_object *object, const char *property, fbx_origin origin,
                     const char *format, ...) LB_PRINTF(5, 6);
/* "/CLASS/NAME/property" into `out`, which it answers; property NULL: of the object itself. */
const char *fbx_where(char out[FBX_WHERE], const fbx_object *object, const char *property);

/* Objects, their templates and connections. */
LB_MUST_CHECK lb_status fbx_objects_read(fbx *g);
/* The object of the index-th link to (`down`: from below) `object`. */
const fbx_link *fbx_down(const fbx *g, const fbx_object *object, size_t index);
const fbx_link *fbx_up(const fbx *g, const fbx_object *object, size_t index);
bool fbx_is_class(const fbx_object *object, const char *name);
/* The first object of class `name` below `object` (connected to its `property`, if that is given);
 * NULL: none. */
const fbx_object *fbx_below(fbx *g, const fbx_object *object, const char *name,
                            const char *property);

/* fbx_property.c: values of Properties70, or of the template, or else the format's (`out` as it
 * is). Numbers that are not finite are told of and not taken. */
fbx_origin fbx_numbers(fbx *g, const fbx_object *object, const char *name, int32_t count,
                       double *out);
fbx_origin fbx_vector(fbx *g, const fbx_object *object, const char *name, lb_vec3d *out);
fbx_origin fbx_integer(fbx *g, const fbx_object *object, const char *name, int64_t *out);
fbx_origin fbx_string(fbx *g, const fbx_object *object, const char *name, const char **out);

/* fbx_settings.c */
LB_MUST_CHECK lb_status fbx_settings_read(fbx *g);
/* Lengths, directions, rotations and sizes of the file in the graph's world. */
lb_vec3d fbx_point(const fbx *g, lb_vec3d p);
lb_vec3d fbx_direction(const fbx *g, lb_vec3d d);
lb_quat fbx_rotation(const fbx *g, lb_quat q);
lb_vec3d fbx_size(const fbx *g, lb_vec3d s);

/* fbx_model.c */
LB_MUST_CHECK lb_status fbx_models_read(fbx *g); /* fbx_tree.c */
/* Reads a model's transform into its item, whose parent has been. */
void fbx_model_transform(fbx *g, fbx_model *model);
/* The model's transform in the graph's world for values of Lcl Translation, Rotation, Scaling. */
lb_trs fbx_model_trs(const fbx *g, const fbx_model *model, const lb_vec3d lcl[3]);
/* Degrees about x, y, z in the order (0 .. 5: XYZ XZY YZX YXZ ZXY ZYX, the first applied first). */
lb_quat fbx_euler(int64_t order, lb_vec3d degrees);
/* Geometric transform: what a model's geometry, and no child, is moved by; the file's space. False:
 * there is none. */
bool fbx_geometric(fbx *g, const fbx_object *model, lb_mat4 *out);

/* fbx_mesh.c. The mesh of a geometry as that model shows it. The caller's (lb_mesh_unref). */
LB_MUST_CHECK lb_status fbx_mesh_read(fbx *g, const fbx_object *model, const fbx_object *geometry,
                                      lb_mesh **out);
/* fbx_camera.c, fbx_light.c. `name` is the model's, for facts. */
void fbx_camera_read(fbx *g, const fbx_object *attribute, lb_camera *out);
void fbx_light_read(fbx *g, const fbx_object *attribute, lb_light *out);
/* fbx_material.c. Lent. `object` NULL: the default one. `uv_names`: of the geometry's two sets. */
LB_MUST_CHECK lb_status fbx_material_get(fbx *g, const fbx_object *object,
                                         const char *const uv_names[2], lb_material **out);
lb_vec3 fbx_color(const fbx *g, const double rgb[3]);
/* fbx_image.c: a Texture's picture for `use` under `map`; NULL with LB_OK if it cannot be had: that
 * is warned of and recorded. */
LB_MUST_CHECK lb_status fbx_texture_get(fbx *g, const fbx_object *texture, lb_picture_use use,
                                        const lb_texture_map *map, lb_texture **out);
/* The places where a picture may lie, by preference; lb_free each. */
#define FBX_PLACES 3
LB_MUST_CHECK lb_status fbx_image_places(const fbx *g, const fbx_object *object,
                                         char *out[FBX_PLACES]);
/* fbx_curve.c: value and slope at a time; `before`: as it comes there, where it jumps. */
LB_MUST_CHECK lb_status fbx_curve_read(fbx *g, const fbx_object *object, fbx_curve *out);
void fbx_curve_clear(fbx_curve *curve);
double fbx_curve_value(const fbx_curve *curve, double time_s, bool before, double *slope);
/* fbx_anim.c */
LB_MUST_CHECK lb_status fbx_animations_read(fbx *g);
/* fbx_rest.c: all that is in the file and not used. */
void fbx_rest_report(fbx *g);

#endif
