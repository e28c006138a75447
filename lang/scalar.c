/* lang/scalar.c: YAML 1.2.2, section 10.3.2. `yes`, `on`, `12:30` and dates are text there. */
#include "lang/scalar.h"

#include <string.h>

#include "engine/base/text.h"

static bool is_one_of(const char *text, size_t length, const char *const *words)
{
    for (; *words; words++)
        if (strlen(*words) == length && memcmp(*words, text, length) == 0)
            return true;
    return false;
}

lb_scalar_type lb_scalar_resolve(const char *text, size_t length, double *number)
{
    static const char *const nulls[] = {"", "~", "null", "Null", "NULL", NULL};
    static const char *const yes[] = {"true", "True", "TRUE", NULL};
    static const char *const no[] = {"false", "False", "FALSE", NULL};

    *number = 0;
    if (is_one_of(text, length, nulls))
        return LB_SCALAR_NULL;
    if (is_one_of(text, length, no))
        return LB_SCALAR_BOOL;
    if (is_one_of(text, length, yes)) {
        *number = 1;
        return LB_SCALAR_BOOL;
    }
    if (lb_text_number(text, length, number))
        return LB_SCALAR_NUMBER;
    *number = 0;
    return LB_SCALAR_TEXT;
}
