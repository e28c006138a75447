/* tests/bench/rival_egl.c: contexts and programs of OpenGL. */
#include "tests/bench/rival_egl.h"

#include <EGL/eglext.h>
#include <stdio.h>

int rival_egl_open(rival_egl *egl)
{
    static const EGLint wanted[] = {EGL_CONTEXT_MAJOR_VERSION, 3, EGL_CONTEXT_MINOR_VERSION, 3,
                                    EGL_NONE};

    egl->display = eglGetPlatformDisplay(EGL_PLATFORM_SURFACELESS_MESA, EGL_DEFAULT_DISPLAY, NULL);
    if (!egl->display || !eglInitialize(egl->display, NULL, NULL) || !eglBindAPI(EGL_OPENGL_API))
        return 1;
    egl->context = eglCreateContext(egl->display, EGL_NO_CONFIG_KHR, EGL_NO_CONTEXT, wanted);
    return egl->context ? rival_egl_use(egl) : 1;
}

int rival_egl_use(const rival_egl *egl)
{
    return eglMakeCurrent(egl->display, EGL_NO_SURFACE, EGL_NO_SURFACE, egl->context) ? 0 : 1;
}

void rival_egl_close(rival_egl *egl)
{
    if (!egl->context)
        return;
    eglMakeCurrent(egl->display, EGL_NO_SURFACE, EGL_NO_SURFACE, EGL_NO_CONTEXT);
    eglDestroyContext(egl->display, egl->context);
}

static GLuint compile(GLenum kind, const char *defines, const char *text)
{
    const char *parts[] = {"#version 330\n", defines, text};
    GLuint shader = glCreateShader(kind);
    char log[1024] = "";

    glShaderSource(shader, 3, parts, NULL);
    glCompileShader(shader);
    glGetShaderInfoLog(shader, sizeof log, NULL, log);
    fputs(log, stderr);
    return shader;
}

GLuint rival_egl_program(const char *defines, const char *vertex, const char *fragment)
{
    GLuint program = glCreateProgram();
    GLint linked = 0;

    glAttachShader(program, compile(GL_VERTEX_SHADER, defines, vertex));
    glAttachShader(program, compile(GL_FRAGMENT_SHADER, defines, fragment));
    glLinkProgram(program);
    glGetProgramiv(program, GL_LINK_STATUS, &linked);
    if (!linked)
        return 0;
    glUseProgram(program);
    return program;
}

void rival_egl_attach(GLuint buffer, GLenum attachment, GLenum format, int samples, int width,
                      int height)
{
    glBindRenderbuffer(GL_RENDERBUFFER, buffer);
    glRenderbufferStorageMultisample(GL_RENDERBUFFER, samples, format, width, height);
    glFramebufferRenderbuffer(GL_FRAMEBUFFER, attachment, GL_RENDERBUFFER, buffer);
}

void rival_egl_turn_over(float *pixels, int width, int height, int channels)
{
    size_t row = (size_t)width * (size_t)channels;

    for (int y = 0; y < height / 2; y++) {
        float *a = pixels + (size_t)y * row, *b = pixels + (size_t)(height - 1 - y) * row;

        for (size_t i = 0; i < row; i++) {
            float kept = a[i];

            a[i] = b[i];
            b[i] = kept;
        }
    }
}
