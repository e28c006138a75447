/* engine/scene/fbx_property.c: typed values of an object, and whose they are. */
#include <math.h>
#include <string.h>

#include "engine/scene/fbx_read.h"

/* P: "name", "type", "label", "flags", values... */
#define VALUES_AT 4

static const fbx_node *search(const fbx_node *first, const char *name)
{
    const char *found;

    for (const fbx_node *p = first; p; p = p->next)
        if (fbx_text(p, 0, &found) && strcmp(found, name) == 0)
            return p;
    return NULL;
}

static const fbx_node *find(const fbx_object *object, const char *name, fbx_origin *origin)
{
    const fbx_node *p = search(object->own, name);

    *origin = FBX_AUTHORED;
    if (p && p->value_count > VALUES_AT)
        return p;
    p = search(object->template, name);
    *origin = p && p->value_count > VALUES_AT ? FBX_TEMPLATE : FBX_FORMAT;
    return *origin == FBX_FORMAT ? NULL : p;
}

fbx_origin fbx_numbers(fbx *g, const fbx_object *object, const char *name, int32_t count,
                       double *out)
{
    fbx_origin origin;
    const fbx_node *p = find(object, name, &origin);
    char where[FBX_WHERE];
    double values[4];

    if (!p)
        return FBX_FORMAT;
    for (int32_t i = 0; i < count; i++)
        if (!fbx_real(p, VALUES_AT + (size_t)i, &values[i]) || !(fabs(values[i]) < 1e30)) {
            fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, object, name),
                     "The value is no finite number; the format's default counts.");
            return FBX_FORMAT;
        }
    memcpy(out, values, (size_t)count * sizeof *out);
    return origin;
}

fbx_origin fbx_vector(fbx *g, const fbx_object *object, const char *name, lb_vec3d *out)
{
    double v[3] = {out->x, out->y, out->z};
    fbx_origin origin = fbx_numbers(g, object, name, 3, v);

    *out = (lb_vec3d){v[0], v[1], v[2]};
    return origin;
}

fbx_origin fbx_integer(fbx *g, const fbx_object *object, const char *name, int64_t *out)
{
    fbx_origin origin;
    const fbx_node *p = find(object, name, &origin);
    char where[FBX_WHERE];

    if (!p)
        return FBX_FORMAT;
    if (!fbx_whole(p, VALUES_AT, out)) {
        fbx_fact(g, LB_FACT_DROPPED, fbx_where(where, object, name),
                 "The value is no number; the format's default counts.");
        return FBX_FORMAT;
    }
    return origin;
}

fbx_origin fbx_string(fbx *g, const fbx_object *object, const char *name, const char **out)
{
    fbx_origin origin;
    const fbx_node *p = find(object, name, &origin);

    (void)g;
    return p && fbx_text(p, VALUES_AT, out) ? origin : FBX_FORMAT;
}
