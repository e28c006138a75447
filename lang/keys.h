/* lang/keys.h: values between keys. */
#ifndef LB_LANG_KEYS_H
#define LB_LANG_KEYS_H

#include "engine/graph/param.h"
#include "lang/easing.h"

/* What a curve does outside its keys. */
typedef enum lb_beyond {
    LB_BEYOND_HOLD,
    LB_BEYOND_LINEAR,
    LB_BEYOND_REPEAT,
    LB_BEYOND_MIRROR
} lb_beyond;
extern const char *const lb_beyond_names[]; /* hold linear repeat mirror, NULL */

/* How a value comes from the keys on both sides. */
typedef enum lb_between {
    LB_BETWEEN_MIX,   /* component by component */
    LB_BETWEEN_SLERP, /* quaternions, the shorter way round */
    LB_BETWEEN_HOLD,  /* the earlier key's: what cannot be mixed (text, true and false) */
} lb_between;

typedef struct lb_key_frame {
    double frame;
    lb_datum value;   /* all keys of a curve have the same kind and count */
    lb_easing easing; /* from this key to the next */
} lb_key_frame;

typedef struct lb_keys {
    int32_t count;       /* at least 1 */
    lb_key_frame *items; /* by frame, none twice */
    lb_between between;
    lb_beyond before, after;
    bool is_whole; /* rounded to the nearest whole number */
} lb_keys;

void lb_keys_at(const lb_keys *keys, double frame, lb_datum *out);

#endif
