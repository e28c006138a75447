/* engine/scene/fbx_rest.c: what a file holds beyond what the reader knows. */
#include <string.h>

#include "engine/scene/fbx_read.h"

#define MAX_KINDS 64 /* told apart; what is beyond is counted with the last */

typedef struct {
    const char *name, *kind;
    size_t count;
} unused_kind;

void fbx_rest_report(fbx *g)
{
    unused_kind kinds[MAX_KINDS];
    size_t count = 0;
    char where[FBX_WHERE];

    for (size_t i = 0; i < g->object_count; i++) {
        const fbx_object *object = &g->objects[i];
        size_t k = 0;

        if (object->used)
            continue;
        while (k < count && (strcmp(kinds[k].name, object->node->name) != 0 ||
                             strcmp(kinds[k].kind, object->kind) != 0))
            k++;
        if (k == MAX_KINDS)
            k--;
        if (k == count)
            kinds[count++] = (unused_kind){object->node->name, object->kind, 0};
        kinds[k].count++;
    }
    for (size_t k = 0; k < count; k++) {
        snprintf(where, sizeof where, "/%.60s", kinds[k].name);
        fbx_fact(g, LB_FACT_DROPPED, where, "%zu objects%s%.40s%s are not used.", kinds[k].count,
                 kinds[k].kind[0] ? " of kind '" : "", kinds[k].kind, kinds[k].kind[0] ? "'" : "");
    }
}
