/* engine/scene/amend.h: putting right what an import got wrong, in plain sight. */
#ifndef LB_SCENE_AMEND_H
#define LB_SCENE_AMEND_H

#include "engine/scene/scene.h"

/* The properties, as bits; lb_amend_names has their names in this order. */
typedef enum lb_amend_field {
    LB_AMEND_VISIBLE,
    LB_AMEND_POSITION,
    LB_AMEND_ROTATION,
    LB_AMEND_SCALE,
    LB_AMEND_MATERIAL,
    LB_AMEND_COLOR,
    LB_AMEND_INTENSITY,
    LB_AMEND_DECAY,
    LB_AMEND_RANGE,
    LB_AMEND_CONE,
    LB_AMEND_CONE_INNER,
    LB_AMEND_FOV,
    LB_AMEND_NEAR,
    LB_AMEND_FAR,
    LB_AMEND_COUNT,
} lb_amend_field;
extern const char *const lb_amend_names[]; /* "visible" ... "far", NULL */

/* What is to be set. Lengths in scene units, cones full angles. */
typedef struct lb_amendment {
    uint32_t given; /* bit 1 << field */
    bool visible;
    lb_trs trs; /* position, rotation, scale: those that are given */
    const lb_material *material;
    lb_vec3 color;
    double intensity, range, cone_deg, cone_inner_deg, fov_deg, near, far;
    lb_decay decay;
} lb_amendment;

/* Can an item of that kind have the property at all? Whether a light has a cone or a decay, and a
 * camera a field of view, depends on its type besides. */
bool lb_amend_fits(lb_item_kind kind, lb_amend_field field);

/* Changes one item; each property that changes becomes an AMENDED fact with the old and the new
 * value. What is set stays: an animation of a position, rotation or scale that is set is taken out.
 * LB_INVALID, reported, for a property that the item does not have. For the maker of the scene. */
LB_MUST_CHECK lb_status lb_scene_amend(lb_scene *scene, int32_t item, const lb_amendment *amendment,
                                       lb_diag *diag, lb_loc loc);

/* Gives a mesh item another material where the one in use has a name that `match` says yes to; how
 * many primitives that were in *count. */
typedef bool (*lb_match_fn)(void *context, const char *name);
LB_MUST_CHECK lb_status lb_scene_amend_material(lb_scene *scene, int32_t item, lb_match_fn match,
                                                void *context, const lb_material *material,
                                                int32_t *count);

/* Translation, rotation and scale of a matrix; false where it shears or has no size. */
bool lb_trs_from_matrix(const lb_mat4 *matrix, lb_trs *out);

#endif
