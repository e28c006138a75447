/* engine/scene/fbx_layer.c: mapping and reference of a geometry's layers. */
#include "engine/scene/fbx_layer.h"

#include <math.h>
#include <string.h>

void fbx_layer_clear(fbx_layer *layer)
{
    lb_free(layer->values);
    lb_free(layer->index);
    *layer = (fbx_layer){0};
}

static bool mapping_of(const char *name, fbx_mapping *out)
{
    static const struct {
        const char *name;
        fbx_mapping mapping;
    } known[] = {{"ByPolygonVertex", FBX_BY_CORNER},
                 {"ByVertice", FBX_BY_PLACE},
                 {"ByVertex", FBX_BY_PLACE},
                 {"ByPolygon", FBX_BY_POLYGON},
                 {"AllSame", FBX_ALL_SAME}};

    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        if (strcmp(name, known[i].name) == 0) {
            *out = known[i].mapping;
            return true;
        }
    return false;
}

static size_t number_of(const fbx_spot *spot, fbx_mapping mapping)
{
    return mapping == FBX_BY_CORNER    ? spot->corner
           : mapping == FBX_BY_PLACE   ? spot->place
           : mapping == FBX_BY_POLYGON ? spot->polygon
                                       : 0;
}

const double *fbx_layer_at(const fbx_layer *layer, const fbx_spot *spot)
{
    size_t at;

    if (layer->width == 0)
        return NULL;
    at = number_of(spot, layer->mapping);
    if (layer->index) {
        if (layer->index[at] < 0)
            return NULL;
        at = (size_t)layer->index[at];
    }
    return layer->values + at * (size_t)layer->width;
}

static lb_status leave_out(fbx *g, const char *where, const char *why, fbx_layer *layer)
{
    fbx_fact(g, LB_FACT_DROPPED, where, "The layer is left out: %s.", why);
    fbx_layer_clear(layer);
    return LB_OK;
}

/* Reports a failure of fbx_reals or fbx_wholes; what is damaged is a fault of the file. */
static lb_status array_told(fbx *g, lb_status status, const char *where)
{
    if (status == LB_MEMORY)
        return fbx_no_memory(g);
    return status ? fbx_fail(g, status, where, "its numbers are damaged") : LB_OK;
}

static const fbx_node *find_element(const fbx_object *geometry, const char *element, int nth)
{
    char name[64];
    const fbx_node *at;

    snprintf(name, sizeof name, "LayerElement%s", element);
    at = fbx_child(geometry->node, name);
    for (; at && nth > 0; nth--)
        at = fbx_named(at->next, name);
    return at;
}

lb_status fbx_layer_read(fbx *g, const fbx_object *geometry, const fbx_layer_rule *rule, int nth,
                         const fbx_counts *counts, fbx_layer *out)
{
    const fbx_node *node = find_element(geometry, rule->element, nth);
    fbx_spot ends = {counts->corners, counts->places, counts->polygons};
    const char *mapping = "", *reference = "Direct";
    size_t value_count, index_count = 0, needed;
    char where[FBX_WHERE];
    lb_status status;

    *out = (fbx_layer){0};
    if (!node)
        return LB_OK;
    fbx_where(where, geometry, node->name);
    (void)fbx_text(fbx_child(node, "MappingInformationType"), 0, &mapping);
    (void)fbx_text(fbx_child(node, "ReferenceInformationType"), 0, &reference);
    out->name = "";
    (void)fbx_text(fbx_child(node, "Name"), 0, &out->name);
    if (!mapping_of(mapping, &out->mapping)) {
        fbx_fact(g, LB_FACT_DROPPED, where, "The layer is left out: mapping '%.40s' is not read.",
                 mapping);
        return LB_OK;
    }
    if ((status = array_told(
             g, fbx_reals(&g->document, fbx_child(node, rule->values), &out->values, &value_count),
             where)))
        return status;
    out->width = rule->width;
    value_count /= (size_t)rule->width;
    if (rule->index && strcmp(reference, "Direct") != 0 &&
        (status = array_told(
             g, fbx_wholes(&g->document, fbx_child(node, rule->index), &out->index, &index_count),
             where)))
        return status;
    needed = out->mapping == FBX_ALL_SAME ? 1 : number_of(&ends, out->mapping);
    if ((out->index ? index_count : value_count) < needed)
        return leave_out(g, where, "it is shorter than the geometry", out);
    for (size_t i = 0; i < index_count; i++)
        if (out->index[i] >= 0 && (uint64_t)out->index[i] >= value_count)
            return leave_out(g, where, "an index is beyond its values", out);
    for (size_t i = 0; i < value_count * (size_t)rule->width; i++)
        if (!(fabs(out->values[i]) < 1e30))
            return leave_out(g, where, "a value is no finite number", out);
    return LB_OK;
}
