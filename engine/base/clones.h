/* engine/base/clones.h: one hot function, built for several vector widths, chosen when the program
 * starts. All give the same bits (no contraction is allowed anywhere). Put it on kernels that go
 * over a row or more, not on what is called per pixel. */
#ifndef LB_BASE_CLONES_H
#define LB_BASE_CLONES_H

/* Clang 14 lacks the attribute's resolver for static functions, and ThreadSanitizer crashes before
 * main when resolvers run; there the plain build is used. */
#if defined(__x86_64__) && defined(__GNUC__) && !defined(__clang__) &&                             \
    !defined(__SANITIZE_THREAD__) && !defined(LB_NO_CLONES)
#define LB_HAS_CLONES /* several widths may be built */
#define LB_CLONES __attribute__((target_clones("default", "avx2", "avx512f")))
#else
#define LB_CLONES
#endif

#endif
