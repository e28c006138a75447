/* engine/graph/object.h: for operators that live in a shared object. One file of the object says
 *
 *     LB_OPERATORS(&lb_op_reed, &lb_op_lattice)
 *
 * and everything that host.h lists can be called as if it were linked. docs/library.md has it
 * whole. */
#ifndef LB_GRAPH_OBJECT_H
#define LB_GRAPH_OBJECT_H

#include <stdarg.h>
#include <stdio.h>

#include "engine/graph/host.h"

/* Raised when something that objects see changes and no size below tells. */
#define LB_OBJECT_ABI 3

/* Filled in by whoever loads the object. */
typedef struct lb_object_link {
    const lb_host *host;
    lb_key key; /* of the object's file */
} lb_object_link;

/* What an object is and was built with. `abi` stays first for ever; nothing behind it is looked at
 * when that is another's, and no function of the object is called before all of it fits. */
typedef struct lb_object {
    uint32_t abi;
    uint32_t op_size;   /* sizeof(lb_op) */
    uint32_t layout;    /* of everything else that operators see */
    uint32_t host_size; /* the functions that it may call: as many, or fewer than there are */
    uint32_t count;
    const lb_op *const *ops; /* `count` */
    lb_object_link *link;
} lb_object;

/* The one symbol that is looked for. */
#define LB_OBJECT_SYMBOL lb_operator_object
#define LB_OBJECT_SYMBOL_NAME "lb_operator_object"
extern const lb_object LB_OBJECT_SYMBOL;

/* A number that changes when one of these sizes does. */
#define LB_OBJECT_MIX(so_far, type) ((so_far)*31u + (uint32_t)sizeof(type))
#define LB_OBJECT_PARTS                                                                            \
    LB_OBJECT_MIX(LB_OBJECT_MIX(LB_OBJECT_MIX((uint32_t)sizeof(lb_call), lb_task), lb_param),      \
                  lb_input)
#define LB_OBJECT_MORE                                                                             \
    LB_OBJECT_MIX(LB_OBJECT_MIX(LB_OBJECT_MIX(LB_OBJECT_PARTS, lb_desc), lb_format), lb_channels)
#define LB_OBJECT_LAYOUT                                                                           \
    LB_OBJECT_MIX(LB_OBJECT_MIX(LB_OBJECT_MIX(LB_OBJECT_MORE, lb_points), lb_points_use), lb_span)

#define LB_OBJECT_SIZES                                                                            \
    .abi = LB_OBJECT_ABI, .op_size = sizeof(lb_op), .layout = LB_OBJECT_LAYOUT,                    \
    .host_size = sizeof(lb_host)

/* The object's own functions of these names: hidden, so that two objects, or an object and a
 * program, do not meet. Their parameters may have names that the object's file has, too. */
/* clang-format off */
#define LB_OBJECT_HIDDEN __attribute__((visibility("hidden")))
#define LB_OBJECT_V(name, parameters, arguments) \
    LB_OBJECT_HIDDEN void name parameters \
    { \
        lb_object_linked.host->name arguments; \
    }
#define LB_OBJECT_F(type, name, parameters, arguments) \
    LB_OBJECT_HIDDEN type name parameters \
    { \
        return lb_object_linked.host->name arguments; \
    }
#define LB_OBJECT_SAY(severity, status, answer) \
    { \
        char text[2048]; \
        va_list args; \
        va_start(args, format); \
        vsnprintf(text, sizeof text, format, args); \
        va_end(args); \
        answer lb_object_linked.host->say(diag, severity, status, loc, text); \
    }

#define LB_OPERATORS(...) \
    static lb_object_link lb_object_linked; \
    static const lb_op *const lb_object_ops[] = {__VA_ARGS__}; \
    _Pragma("GCC diagnostic push") \
    _Pragma("GCC diagnostic ignored \"-Wshadow\"") \
    LB_HOST_FUNCTIONS(LB_OBJECT_V, LB_OBJECT_F) \
    LB_OBJECT_HIDDEN lb_status lb_fail(lb_diag *diag, lb_status status, lb_loc loc, \
                                       const char *format, ...) \
        LB_OBJECT_SAY(LB_ERROR, status, return) \
    LB_OBJECT_HIDDEN void lb_warn(lb_diag *diag, lb_loc loc, const char *format, ...) \
        LB_OBJECT_SAY(LB_WARNING, LB_OK, (void)) \
    LB_OBJECT_HIDDEN void lb_note(lb_diag *diag, lb_loc loc, const char *format, ...) \
        LB_OBJECT_SAY(LB_NOTE, LB_OK, (void)) \
    _Pragma("GCC diagnostic pop") \
    __attribute__((visibility("default"))) const lb_object LB_OBJECT_SYMBOL = { \
        LB_OBJECT_SIZES, .count = sizeof lb_object_ops / sizeof *lb_object_ops, \
        .ops = lb_object_ops, .link = &lb_object_linked};
/* clang-format on */

#endif
