/* tests/bench/rival_egl.h: OpenGL 3.3 without a window, for those that draw with llvmpipe. */
#ifndef LB_TESTS_BENCH_RIVAL_EGL_H
#define LB_TESTS_BENCH_RIVAL_EGL_H

#define GL_GLEXT_PROTOTYPES
#include <EGL/egl.h>
#include <GL/gl.h>
#include <GL/glext.h>

typedef struct rival_egl {
    EGLDisplay display;
    EGLContext context;
} rival_egl;

/* 0 is good. Made and used by one thread at a time. */
int rival_egl_open(rival_egl *egl);
int rival_egl_use(const rival_egl *egl);
void rival_egl_close(rival_egl *egl); /* with all that is in it */

/* A linked program, in use; `defines` stands behind "#version 330". 0: it does not compile. */
GLuint rival_egl_program(const char *defines, const char *vertex, const char *fragment);
/* A renderbuffer as an attachment of the framebuffer that is bound. */
void rival_egl_attach(GLuint buffer, GLenum attachment, GLenum format, int samples, int width,
                      int height);

/* Rows of floats in the reverse order: OpenGL's begin at the bottom. */
void rival_egl_turn_over(float *pixels, int width, int height, int channels);

#endif
