/* engine/graph/files.h: the memory of files that a run keeps; operators see it through op.h. */
#ifndef LB_GRAPH_FILES_H
#define LB_GRAPH_FILES_H

#include "engine/graph/op.h"

typedef struct lb_files lb_files;
LB_MUST_CHECK lb_status lb_files_new(lb_files **out);
void lb_files_free(lb_files **files);

#endif
