/* engine/scene/gltf_audit.c: what a file holds beyond what the reader knows. */
#include <string.h>

#include "engine/base/text.h"
#include "engine/scene/gltf_read.h"

static bool is_read(const char *extension)
{
    static const char *const names[] = {
        "KHR_lights_punctual",   "KHR_texture_transform",
        "KHR_materials_unlit",   "KHR_materials_emissive_strength",
        "KHR_mesh_quantization",
    };

    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++)
        if (strcmp(extension, names[i]) == 0)
            return true;
    return false;
}

lb_status gltf_extensions_check(gltf *g)
{
    const json_t *required, *name;
    lb_status status = gltf_array(g, g->root, "", "extensionsRequired", &required);
    size_t i;

    json_array_foreach(required, i, name)
    {
        if (!json_is_string(name))
            return gltf_fail(g, LB_FORMAT, "/extensionsRequired", "element %zu is not a string", i);
        if (!is_read(json_string_value(name)))
            status = gltf_fail(g, LB_UNSUPPORTED, "/extensionsRequired",
                               "the file needs the extension '%.100s', which is not read",
                               json_string_value(name));
    }
    return status;
}

#define MAX_KINDS 64 /* different extensions told apart; what is beyond is counted as one */

typedef struct {
    gltf *g;
    lb_text path;
    struct {
        const char *name;
        size_t count;
        char where[GLTF_WHERE];
    } kinds[MAX_KINDS];
    size_t kind_count, extras;
    char extras_where[GLTF_WHERE];
} walk;

static void note_extension(walk *w, const char *name)
{
    size_t i;

    for (i = 0; i < w->kind_count && strcmp(w->kinds[i].name, name) != 0; i++)
        ;
    if (i == MAX_KINDS)
        i--;
    if (i == w->kind_count) {
        w->kinds[i].name = name;
        w->kinds[i].count = 0;
        snprintf(w->kinds[i].where, GLTF_WHERE, "%.140s/%.50s", w->path.bytes ? w->path.bytes : "",
                 name);
        w->kind_count++;
    }
    w->kinds[i].count++;
}

static void visit(walk *w, const json_t *value);

static void visit_member(walk *w, const char *key, const json_t *value)
{
    size_t length = w->path.length;

    lb_text_printf(&w->path, "/%s", key);
    if (strcmp(key, "extras") == 0) {
        if (w->extras++ == 0)
            snprintf(w->extras_where, GLTF_WHERE, "%.190s", w->path.bytes ? w->path.bytes : "");
    } else if (strcmp(key, "extensions") == 0 && json_is_object(value)) {
        const char *name;
        json_t *body;

        json_object_foreach((json_t *)value, name, body)
        {
            if (!is_read(name))
                note_extension(w, name);
            else
                visit_member(w, name, body);
        }
    } else {
        visit(w, value);
    }
    w->path.length = length;
    if (w->path.bytes)
        w->path.bytes[length] = 0;
}

/* No deeper than the parser allows (2048). */
static void visit(walk *w, const json_t *value)
{
    const char *key;
    json_t *member;
    size_t i;

    if (json_is_object(value)) {
        json_object_foreach((json_t *)value, key, member)
        {
            if (json_is_object(member) || json_is_array(member) || strcmp(key, "extras") == 0)
                visit_member(w, key, member);
        }
        return;
    }
    json_array_foreach(value, i, member)
    {
        char number[32];

        if (!json_is_object(member) && !json_is_array(member))
            continue;
        snprintf(number, sizeof number, "%zu", i);
        visit_member(w, number, member);
    }
}

/* Extensions that are said to be used and are nowhere to be found are no loss; so only what is met
 * counts. */
lb_status gltf_rest_report(gltf *g)
{
    walk w = {.g = g};
    lb_status status = LB_OK;

    visit(&w, g->root);
    if (w.path.failed)
        status = gltf_no_memory(g);
    lb_text_clear(&w.path);
    for (size_t i = 0; i < w.kind_count && status == LB_OK; i++)
        status = gltf_fact(g, LB_FACT_DROPPED, w.kinds[i].where,
                           "The extension %.60s is not read; it is used %zu times.",
                           w.kinds[i].name, w.kinds[i].count);
    if (status == LB_OK && w.extras > 0)
        status = gltf_fact(g, LB_FACT_DROPPED, w.extras_where,
                           "Data of other programs (extras) is not read; there are %zu.", w.extras);
    return status;
}
