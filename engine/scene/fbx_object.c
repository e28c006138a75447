/* engine/scene/fbx_object.c: objects, their templates and what is connected to what. */
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "engine/scene/fbx_read.h"

lb_status fbx_fail(fbx *g, lb_status status, const char *where, const char *format, ...)
{
    char what[512];
    va_list args;

    va_start(args, format);
    vsnprintf(what, sizeof what, format, args);
    va_end(args);
    return lb_fail(g->diag, status, g->loc, "'%s': %s%s%s", g->path, where, *where ? ": " : "",
                   what);
}

lb_status fbx_no_memory(fbx *g)
{
    return lb_fail(g->diag, LB_MEMORY, g->loc, "'%s': no room for this scene", g->path);
}

lb_status fbx_told(fbx *g, lb_status status)
{
    if (status == LB_LIMIT)
        return fbx_fail(g, status, "", "there are too many items");
    return status ? fbx_no_memory(g) : LB_OK;
}

#define LOOK_BACK 256 /* facts; what is told again is told soon after */

static void add_fact(fbx *g, lb_fact_kind kind, const char *where, const char *what)
{
    const lb_scene *scene = g->scene;

    for (size_t i = scene->fact_count; i > 0 && scene->fact_count - i < LOOK_BACK; i--)
        if (strcmp(scene->facts[i - 1].where, where) == 0 &&
            strcmp(scene->facts[i - 1].what, what) == 0)
            return;
    if (lb_scene_add_fact(g->scene, kind, where, "%s", what))
        g->is_full = true;
}

void fbx_fact(fbx *g, lb_fact_kind kind, const char *where, const char *format, ...)
{
    char what[512];
    va_list args;

    va_start(args, format);
    vsnprintf(what, sizeof what, format, args);
    va_end(args);
    add_fact(g, kind, where, what);
}

void fbx_origin_fact(fbx *g, const fbx_object *object, const char *property, fbx_origin origin,
                     const char *format, ...)
{
    char what[256], where[FBX_WHERE];
    va_list args;

    va_start(args, format);
    vsnprintf(what, sizeof what, format, args);
    va_end(args);
    fbx_where(where, object, property);
    if (origin == FBX_AUTHORED)
        fbx_fact(g, LB_FACT_AUTHORED, where, "%s.", what);
    else
        fbx_fact(g, LB_FACT_ASSUMED, where, "Not given: %s, the default of %s.", what,
                 origin == FBX_TEMPLATE ? "the file's template" : "the format");
}

const char *fbx_where(char out[FBX_WHERE], const fbx_object *object, const char *property)
{
    const char *slash = property ? "/" : "";

    property = property ? property : "";
    if (object->name[0])
        snprintf(out, FBX_WHERE, "/%.40s/%.80s%s%.60s", object->node->name, object->name, slash,
                 property);
    else if (object->id)
        snprintf(out, FBX_WHERE, "/%.40s/%lld%s%.60s", object->node->name, (long long)object->id,
                 slash, property);
    else
        snprintf(out, FBX_WHERE, "/%.40s%s%.60s", object->node->name, slash, property);
    return out;
}

bool fbx_is_class(const fbx_object *object, const char *name)
{
    return strcmp(object->node->name, name) == 0;
}

static int by_id(const void *a, const void *b)
{
    const fbx_object *left = a, *right = b;

    if (left->id != right->id)
        return left->id < right->id ? -1 : 1;
    return left->node < right->node ? -1 : left->node > right->node;
}

static size_t find(const fbx *g, int64_t id)
{
    size_t low = 0, high = g->object_count;

    while (low < high) {
        size_t middle = low + (high - low) / 2;

        if (g->objects[middle].id < id)
            low = middle + 1;
        else
            high = middle;
    }
    return low < g->object_count && g->objects[low].id == id ? low : FBX_NONE;
}

/* Definitions: ObjectType "Model" { PropertyTemplate "..." { Properties70 } }. A node attribute has
 * one template in the file, of the kind that its own name tells. */
static const fbx_node *find_template(const fbx *g, const fbx_object *object)
{
    const fbx_node *at = fbx_child(fbx_named(g->document.first, "Definitions"), "ObjectType");
    const char *name;

    for (; at; at = fbx_named(at->next, "ObjectType")) {
        const fbx_node *template = fbx_child(at, "PropertyTemplate");

        if (!fbx_text(at, 0, &name) || strcmp(name, object->node->name) != 0)
            continue;
        for (; template; template = fbx_named(template->next, "PropertyTemplate"))
            if (fbx_text(template, 0, &name) && (strcmp(object->node->name, "NodeAttribute") != 0 ||
                                                 !object->kind[0] || strstr(name, object->kind)))
                return fbx_child(fbx_child(template, "Properties70"), "P");
    }
    return NULL;
}

/* Binary files write "name NUL 1 class", text files "class::name". */
static const char *own_name(const fbx *g, const char *text)
{
    const char *mark = g->document.is_binary ? NULL : strstr(text, "::");

    return mark ? mark + 2 : text;
}

static lb_status read_object(fbx *g, const fbx_node *node, fbx_object *out)
{
    const char *name = "", *kind = "";

    if (!fbx_whole(node, 0, &out->id) || out->id == 0)
        return fbx_fail(g, LB_FORMAT, "/Objects", "an object of class '%.40s' has no id",
                        node->name);
    (void)fbx_text(node, 1, &name);
    (void)fbx_text(node, 2, &kind);
    out->node = node;
    out->name = own_name(g, name);
    out->kind = kind;
    out->own = fbx_child(fbx_child(node, "Properties70"), "P");
    out->template = find_template(g, out);
    return LB_OK;
}

static lb_status read_objects(fbx *g)
{
    const fbx_node *objects = fbx_named(g->document.first, "Objects");
    size_t count = 0;
    lb_status status;

    for (const fbx_node *at = objects ? objects->first : NULL; at; at = at->next)
        count++;
    if (count == 0)
        return LB_OK;
    if (!(g->objects = lb_alloc(count, sizeof *g->objects)))
        return fbx_no_memory(g);
    for (const fbx_node *at = objects->first; at; at = at->next)
        if ((status = read_object(g, at, &g->objects[g->object_count++])))
            return status;
    qsort(g->objects, count, sizeof *g->objects, by_id);
    for (size_t i = 1; i < count; i++)
        if (g->objects[i].id == g->objects[i - 1].id)
            return fbx_fail(g, LB_FORMAT, "/Objects", "two objects have the id %lld",
                            (long long)g->objects[i].id);
    return LB_OK;
}

/* C: "OO", child, parent; "OP", child, parent, "property". Others (PO, PP) connect properties to
 * each other, and nothing here reads them. */
static lb_status read_links(fbx *g)
{
    const fbx_node *list = fbx_named(g->document.first, "Connections");
    size_t count = 0, broken = 0, other = 0;

    for (const fbx_node *at = list ? list->first : NULL; at; at = at->next)
        count++;
    if (count == 0)
        return LB_OK;
    if (!(g->links = lb_alloc(count, sizeof *g->links)))
        return fbx_no_memory(g);
    for (const fbx_node *at = list->first; at; at = at->next) {
        fbx_link *link = &g->links[g->link_count];
        int64_t child, parent;
        const char *kind;

        if (!fbx_text(at, 0, &kind) || !fbx_whole(at, 1, &child) || !fbx_whole(at, 2, &parent))
            return fbx_fail(g, LB_FORMAT, "/Connections", "a connection has no ends");
        *link = (fbx_link){find(g, child), find(g, parent), NULL};
        if (strcmp(kind, "OP") == 0) {
            if (!fbx_text(at, 3, &link->property))
                return fbx_fail(g, LB_FORMAT, "/Connections", "a connection has no property");
        } else if (strcmp(kind, "OO") != 0) {
            other++;
            continue;
        }
        if (link->child == FBX_NONE || (link->parent == FBX_NONE && parent != 0)) {
            broken++;
            continue;
        }
        g->link_count++;
    }
    if (broken)
        fbx_fact(g, LB_FACT_DROPPED, "/Connections",
                 "%zu connections have an end that is not in the file.", broken);
    if (other)
        fbx_fact(g, LB_FACT_DROPPED, "/Connections",
                 "%zu connections from properties are not read.", other);
    return LB_OK;
}

/* Sorts the links by their ends, each object's in the file's order. */
static lb_status sort_links(fbx *g)
{
    size_t up = 0, down = 0;

    if (g->link_count == 0)
        return LB_OK;
    g->ups = lb_alloc(g->link_count, sizeof *g->ups);
    g->downs = lb_alloc(g->link_count, sizeof *g->downs);
    if (!g->ups || !g->downs)
        return fbx_no_memory(g);
    for (size_t i = 0; i < g->link_count; i++) {
        g->objects[g->links[i].child].up_count++;
        if (g->links[i].parent != FBX_NONE)
            g->objects[g->links[i].parent].down_count++;
    }
    for (size_t i = 0; i < g->object_count; i++) {
        fbx_object *object = &g->objects[i];

        object->up = up;
        object->down = down;
        up += object->up_count;
        down += object->down_count;
        object->up_count = object->down_count = 0;
    }
    for (size_t i = 0; i < g->link_count; i++) {
        fbx_object *child = &g->objects[g->links[i].child];

        g->ups[child->up + child->up_count++] = i;
        if (g->links[i].parent != FBX_NONE) {
            fbx_object *parent = &g->objects[g->links[i].parent];

            g->downs[parent->down + parent->down_count++] = i;
        }
    }
    return LB_OK;
}

lb_status fbx_objects_read(fbx *g)
{
    lb_status status;

    if ((status = read_objects(g)) || (status = read_links(g)))
        return status;
    return sort_links(g);
}

const fbx_link *fbx_down(const fbx *g, const fbx_object *object, size_t index)
{
    return &g->links[g->downs[object->down + index]];
}

const fbx_link *fbx_up(const fbx *g, const fbx_object *object, size_t index)
{
    return &g->links[g->ups[object->up + index]];
}

const fbx_object *fbx_below(fbx *g, const fbx_object *object, const char *name,
                            const char *property)
{
    for (size_t i = 0; i < object->down_count; i++) {
        const fbx_link *link = fbx_down(g, object, i);
        fbx_object *child = &g->objects[link->child];

        if (!fbx_is_class(child, name) || (property == NULL) != (link->property == NULL) ||
            (property && strcmp(property, link->property) != 0))
            continue;
        child->used = true;
        return child;
    }
    return NULL;
}
