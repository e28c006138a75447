/* tests/support/plain.h: for plain programs, which ThreadSanitizer can run: expectations that count
 * and a pool of threads. `main` answers whether `failures` is 0. */
#ifndef LB_TESTS_SUPPORT_PLAIN_H
#define LB_TESTS_SUPPORT_PLAIN_H

#include <stdio.h>
#include <stdlib.h>

#include "engine/base/thread.h"

static int failures;

#define EXPECT(condition, ...)                                                                     \
    do {                                                                                           \
        if (!(condition)) {                                                                        \
            failures++;                                                                            \
            fprintf(stderr, "%s:%d: %s: ", __FILE__, __LINE__, #condition);                        \
            fprintf(stderr, __VA_ARGS__);                                                          \
            fputc('\n', stderr);                                                                   \
        }                                                                                          \
    } while (0)

static inline lb_pool *new_pool(int32_t threads)
{
    lb_pool *pool = NULL;
    lb_status status = lb_pool_new(threads, &pool);

    if (status || !pool) {
        fprintf(stderr, "no pool of %d threads: %s\n", (int)threads, lb_status_text(status));
        exit(1);
    }
    return pool;
}

#endif
