/* engine/graph/disk.h: images on disk, known by what they are made from. Many processes may share a
 * folder: entries appear whole, and a broken one counts as absent. */
#ifndef LB_GRAPH_DISK_H
#define LB_GRAPH_DISK_H

#include "engine/base/hash.h"
#include "engine/graph/value.h"

typedef struct lb_disk lb_disk;
LB_MUST_CHECK lb_status lb_disk_new(lb_diag *diag, const char *folder, lb_disk **out);
void lb_disk_free(lb_disk **disk);
bool lb_disk_find(lb_disk *disk, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                  lb_value *out);
/* Written only if making it took longer than reading back is likely to take, or `always`. A folder
 * that cannot be written to is a warning, once. */
void lb_disk_put(lb_disk *disk, lb_key key, const lb_desc *desc, lb_box box, uint64_t channels,
                 const lb_image *image, double seconds, bool always);

#endif
