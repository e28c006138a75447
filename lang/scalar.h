/* lang/scalar.h: what a plain word of YAML means. */
#ifndef LB_LANG_SCALAR_H
#define LB_LANG_SCALAR_H

#include "engine/base/status.h"

typedef enum lb_scalar_type {
    LB_SCALAR_NULL,
    LB_SCALAR_BOOL,
    LB_SCALAR_NUMBER,
    LB_SCALAR_TEXT,
} lb_scalar_type;

/* The core schema's tag resolution (YAML 1.2.2, section 10.3.2) of a plain scalar. *number is the
 * number, or 0 and 1 for false and true. */
lb_scalar_type lb_scalar_resolve(const char *text, size_t length, double *number);

#endif
