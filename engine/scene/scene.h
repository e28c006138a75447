/* engine/scene/scene.h: an immutable tree of items with animation. */
#ifndef LB_SCENE_SCENE_H
#define LB_SCENE_SCENE_H

#include "engine/color/space.h"
#include "engine/scene/mesh.h"

typedef enum lb_light_type {
    LB_LIGHT_POINT,
    LB_LIGHT_SPOT,
    LB_LIGHT_DIRECTIONAL,
    LB_LIGHT_AMBIENT
} lb_light_type;
extern const char *const lb_light_type_names[]; /* point spot directional ambient, NULL */
typedef enum lb_decay { LB_DECAY_NONE, LB_DECAY_LINEAR, LB_DECAY_QUADRATIC } lb_decay;
extern const char *const lb_decay_names[]; /* none linear quadratic, NULL */

/* Shines along -z of its item. With decay none or linear `intensity` is the radiance that a white
 * Lambert surface facing it returns (at distance 1 for linear); with quadratic it is candela and
 * that surface returns illuminance / pi. Directional and ambient lights have no decay: intensity is
 * that radiance. Linear in the working space. */
typedef struct lb_light {
    lb_light_type type;
    lb_vec3 color;
    float intensity;
    lb_decay decay;
    float range;                          /* KHR_lights_punctual; INFINITY: none */
    float inner_half_rad, outer_half_rad; /* spot: half angles */
} lb_light;
/* Radiance of a white Lambert surface facing the light at `distance`, `angle_cos` the cosine
 * between the light's axis and the way to the surface; color not included. KHR_lights_punctual for
 * range and cone; decay 1, 1/d, 1/(pi d^2). */
float lb_light_strength(const lb_light *light, float distance, float angle_cos);

/* Looks along -z of its item, +y up. */
typedef struct lb_camera {
    bool orthographic;
    double yfov_rad;   /* perspective: vertical */
    double aspect;     /* as authored; 0: the frame's. Rendering uses the frame's */
    double xmag, ymag; /* orthographic: half width and half height */
    double near, far;  /* far may be INFINITY */
} lb_camera;

typedef enum lb_item_kind {
    LB_ITEM_GROUP,
    LB_ITEM_MESH,
    LB_ITEM_LIGHT,
    LB_ITEM_CAMERA
} lb_item_kind;
extern const char *const lb_item_kind_names[]; /* group mesh light camera, NULL */

/* A node of the tree. A node that carries a mesh and a light is two items, the second a child. */
typedef struct lb_item {
    char *name;      /* never NULL; "" when the file has none */
    char *data_name; /* of the mesh, light or camera it carries; "" when none */
    lb_item_kind kind;
    int32_t parent;  /* index of an earlier item; -1: a root */
    bool has_matrix; /* rest transform as a matrix, which cannot be animated; else trs */
    lb_trs trs;
    lb_mat4 matrix;
    bool visible;
    lb_mesh *mesh;         /* kind MESH: owned reference */
    lb_material *material; /* owned reference; NULL: the primitives' own */
    lb_light light;        /* kind LIGHT */
    lb_camera camera;      /* kind CAMERA */
} lb_item;

typedef enum lb_curve_target {
    LB_CURVE_TRANSLATION,
    LB_CURVE_ROTATION,
    LB_CURVE_SCALE,
} lb_curve_target;
typedef enum lb_interpolation { LB_STEP, LB_LINEAR, LB_CUBICSPLINE } lb_interpolation;
extern const char *const lb_interpolation_names[]; /* step linear cubicspline, NULL */

/* Animation of one property of one item; times ascend (of two equal ones the later counts), in
 * seconds from the first frame. */
typedef struct lb_curve {
    int32_t item;
    lb_curve_target target;
    lb_interpolation interpolation;
    int32_t key_count;
    float *times;  /* key_count */
    float *values; /* width (3 or 4) a key; cubic: in-tangent, value, out-tangent */
} lb_curve;
/* Value at `time_s`, clamped to the ends; 3 or 4 doubles. glTF 2.0 appendix C; rotations come unit.
 */
void lb_curve_at(const lb_curve *curve, double time_s, double out[4]);

/* Something an import found, assumed, converted or left out. */
typedef enum lb_fact_kind {
    LB_FACT_ASSUMED,
    LB_FACT_CONVERTED,
    LB_FACT_DROPPED,
    LB_FACT_AMENDED,
    LB_FACT_AUTHORED, /* an important number that the file gives */
} lb_fact_kind;
typedef struct lb_fact {
    lb_fact_kind kind;
    char *where; /* path in the file: "/nodes/12/camera" */
    char *what;  /* one sentence */
} lb_fact;

/* Immutable once finished, reference-counted. */
typedef struct lb_scene {
    lb_refs refs;
    size_t item_count, item_capacity;
    lb_item *items; /* parents before children */
    size_t curve_count, curve_capacity;
    lb_curve *curves; /* ascending by item; of two for the same property the later one counts */
    size_t fact_count, fact_capacity;
    lb_fact *facts;
    double duration_s; /* the largest key time; 0 without animation */
    double frame_rate; /* of the file's time line, frames a second; 0: it has none */
} lb_scene;

lb_trs lb_trs_identity(void);
LB_MUST_CHECK lb_status lb_scene_new(lb_scene **out);
lb_scene *lb_scene_ref(const lb_scene *scene);
void lb_scene_unref(lb_scene **scene);
/* For makers. The item is zeroed but for name, data_name, identity transform, visible, parent; *out
 * is lent and moves when another is added. */
LB_MUST_CHECK lb_status lb_scene_add_item(lb_scene *scene, const char *name, const char *data_name,
                                          lb_item_kind kind, int32_t parent, lb_item **out);
/* A scene of one item; *out is lent. */
LB_MUST_CHECK lb_status lb_scene_of_item(const char *name, const char *data_name, lb_item_kind kind,
                                         lb_scene **out, lb_item **item);
/* The scene takes over times and values (lb_alloc'ed) whether it succeeds or not. LB_INVALID: no
 * keys, or no such item. */
LB_MUST_CHECK lb_status lb_scene_add_curve(lb_scene *scene, const lb_curve *curve);
LB_MUST_CHECK lb_status lb_scene_add_fact(lb_scene *scene, lb_fact_kind kind, const char *where,
                                          const char *format, ...) LB_PRINTF(4, 5);
/* Appends a copy of all of `other`'s items below `parent` (-1: as roots); meshes, materials shared.
 */
LB_MUST_CHECK lb_status lb_scene_append(lb_scene *scene, const lb_scene *other, int32_t parent);
/* A copy to change (amend): meshes and materials shared. */
LB_MUST_CHECK lb_status lb_scene_copy(const lb_scene *scene, lb_scene **out);
size_t lb_scene_bytes(const lb_scene *scene);

/* World matrices of all items at `time_s` into world[item_count]. `visible[i]` (may be NULL) is
 * false when the item or one above it is hidden. */
void lb_scene_pose(const lb_scene *scene, double time_s, lb_mat4 *world, bool *visible);
bool lb_scene_is_animated(const lb_scene *scene);
/* The item of that kind whose name, or data_name, is `name`; -1: none. NULL name: the first one. */
int32_t lb_scene_find(const lb_scene *scene, lb_item_kind kind, const char *name);
/* Bounds of all visible meshes' vertices in the world at `time_s`; false: there are none (or no
 * memory). */
bool lb_scene_bounds(const lb_scene *scene, double time_s, lb_vec3d *low, lb_vec3d *high);

#endif
