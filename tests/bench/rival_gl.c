/* tests/bench/rival_gl.c: the renderer's work by llvmpipe, OpenGL 3.3 in Mesa. */
#define GL_GLEXT_PROTOTYPES
#include "tests/bench/rivals.h"

#include <EGL/egl.h>
#include <EGL/eglext.h>
#include <GL/gl.h>
#include <GL/glext.h>
#include <stdio.h>
#include <stdlib.h>

struct rival_gl {
    EGLDisplay display;
    EGLContext context;
    int width, height, triangle_count;
    GLuint program, many, one, vao, buffers[4], texture, renderbuffers[3];
    char name[128];
};

static const char vertex_text[] =
    "#version 330\n"
    "layout(location=0) in vec3 position; layout(location=1) in vec3 normal;\n"
    "layout(location=2) in vec2 uv; uniform vec3 eye; uniform vec2 scale;\n"
    "out vec3 n; out vec2 t;\n"
    "void main() { vec3 p = position - eye; n = normal; t = uv;\n"
    "  float a = 0.1, b = 100.0;\n"
    "  gl_Position = vec4(p.xy * scale, (p.z * (a + b) + 2 * a * b) / (a - b), -p.z); }\n";
static const char fragment_text[] =
    "#version 330\n"
    "in vec3 n; in vec2 t; uniform vec3 light; uniform sampler2D map; out vec4 color;\n"
    "void main() { color = vec4(texture(map, t).rgb * max(dot(normalize(n), light), 0.0), 1.0); "
    "}\n";

static GLuint compile(GLenum kind, const char *text)
{
    GLuint shader = glCreateShader(kind);

    glShaderSource(shader, 1, &text, NULL);
    glCompileShader(shader);
    return shader;
}

static int make_program(rival_gl *gl, const rival_mesh *mesh)
{
    GLint linked = 0;
    float y = 1 / mesh->tan_half_fov, x = y * (float)gl->height / (float)gl->width;

    gl->program = glCreateProgram();
    glAttachShader(gl->program, compile(GL_VERTEX_SHADER, vertex_text));
    glAttachShader(gl->program, compile(GL_FRAGMENT_SHADER, fragment_text));
    glLinkProgram(gl->program);
    glGetProgramiv(gl->program, GL_LINK_STATUS, &linked);
    if (!linked)
        return 1;
    glUseProgram(gl->program);
    glUniform3fv(glGetUniformLocation(gl->program, "eye"), 1, mesh->eye);
    glUniform3fv(glGetUniformLocation(gl->program, "light"), 1, mesh->light);
    glUniform2f(glGetUniformLocation(gl->program, "scale"), x, y);
    return 0;
}

static void load_attribute(rival_gl *gl, GLuint index, int components, const float *data, int count)
{
    glBindBuffer(GL_ARRAY_BUFFER, gl->buffers[index]);
    glBufferData(GL_ARRAY_BUFFER, (GLsizeiptr)count * components * 4, data, GL_STATIC_DRAW);
    glEnableVertexAttribArray(index);
    glVertexAttribPointer(index, components, GL_FLOAT, GL_FALSE, 0, NULL);
}

static void load_mesh(rival_gl *gl, const rival_mesh *mesh)
{
    glGenVertexArrays(1, &gl->vao);
    glBindVertexArray(gl->vao);
    glGenBuffers(4, gl->buffers);
    load_attribute(gl, 0, 3, mesh->positions, mesh->vertex_count);
    load_attribute(gl, 1, 3, mesh->normals, mesh->vertex_count);
    load_attribute(gl, 2, 2, mesh->uvs, mesh->vertex_count);
    glBindBuffer(GL_ELEMENT_ARRAY_BUFFER, gl->buffers[3]);
    glBufferData(GL_ELEMENT_ARRAY_BUFFER, (GLsizeiptr)mesh->triangle_count * 12, mesh->triangles,
                 GL_STATIC_DRAW);
    gl->triangle_count = mesh->triangle_count;
    glGenTextures(1, &gl->texture);
    glBindTexture(GL_TEXTURE_2D, gl->texture);
    glTexImage2D(GL_TEXTURE_2D, 0, GL_RGBA8, mesh->texture_side, mesh->texture_side, 0, GL_RGBA,
                 GL_UNSIGNED_BYTE, mesh->texture);
    glGenerateMipmap(GL_TEXTURE_2D);
    glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MIN_FILTER, GL_LINEAR_MIPMAP_LINEAR);
}

static int make_targets(rival_gl *gl, int samples)
{
    glGenFramebuffers(1, &gl->many);
    glGenFramebuffers(1, &gl->one);
    glGenRenderbuffers(3, gl->renderbuffers);
    for (int i = 0; i < 3; i++) {
        GLenum format = i == 1 ? GL_DEPTH_COMPONENT32F : GL_RGBA16F;

        glBindFramebuffer(GL_FRAMEBUFFER, i == 2 ? gl->one : gl->many);
        glBindRenderbuffer(GL_RENDERBUFFER, gl->renderbuffers[i]);
        glRenderbufferStorageMultisample(GL_RENDERBUFFER, i == 2 ? 0 : samples, format, gl->width,
                                         gl->height);
        glFramebufferRenderbuffer(GL_FRAMEBUFFER,
                                  i == 1 ? GL_DEPTH_ATTACHMENT : GL_COLOR_ATTACHMENT0,
                                  GL_RENDERBUFFER, gl->renderbuffers[i]);
    }
    glBindFramebuffer(GL_FRAMEBUFFER, gl->many);
    return glCheckFramebufferStatus(GL_FRAMEBUFFER) == GL_FRAMEBUFFER_COMPLETE ? 0 : 1;
}

static int make_context(rival_gl *gl)
{
    static const EGLint wanted[] = {EGL_CONTEXT_MAJOR_VERSION, 3, EGL_CONTEXT_MINOR_VERSION, 3,
                                    EGL_NONE};

    gl->display = eglGetPlatformDisplay(EGL_PLATFORM_SURFACELESS_MESA, EGL_DEFAULT_DISPLAY, NULL);
    if (!gl->display || !eglInitialize(gl->display, NULL, NULL) || !eglBindAPI(EGL_OPENGL_API))
        return 1;
    gl->context = eglCreateContext(gl->display, EGL_NO_CONFIG_KHR, EGL_NO_CONTEXT, wanted);
    return gl->context && eglMakeCurrent(gl->display, EGL_NO_SURFACE, EGL_NO_SURFACE, gl->context)
               ? 0
               : 1;
}

rival_gl *rival_gl_new(const rival_mesh *mesh, int width, int height, int samples)
{
    rival_gl *gl = calloc(1, sizeof *gl);

    if (!gl)
        return NULL;
    gl->width = width;
    gl->height = height;
    if (make_context(gl) != 0 || make_program(gl, mesh) != 0 || make_targets(gl, samples) != 0) {
        rival_gl_free(gl);
        return NULL;
    }
    load_mesh(gl, mesh);
    glEnable(GL_DEPTH_TEST);
    glEnable(GL_MULTISAMPLE);
    glViewport(0, 0, width, height);
    glPixelStorei(GL_PACK_ALIGNMENT, 4);
    snprintf(gl->name, sizeof gl->name, "%s", (const char *)glGetString(GL_RENDERER));
    return gl;
}

/* OpenGL's rows begin at the bottom. */
static void turn_over(float *pixels, int width, int height)
{
    size_t row = (size_t)width * 4;

    for (int y = 0; y < height / 2; y++) {
        float *a = pixels + (size_t)y * row, *b = pixels + (size_t)(height - 1 - y) * row;

        for (size_t i = 0; i < row; i++) {
            float kept = a[i];

            a[i] = b[i];
            b[i] = kept;
        }
    }
}

int rival_gl_run(rival_gl *gl, float *pixels)
{
    if (!eglMakeCurrent(gl->display, EGL_NO_SURFACE, EGL_NO_SURFACE, gl->context))
        return 1;
    glBindFramebuffer(GL_FRAMEBUFFER, gl->many);
    glClear(GL_COLOR_BUFFER_BIT | GL_DEPTH_BUFFER_BIT);
    glDrawElements(GL_TRIANGLES, gl->triangle_count * 3, GL_UNSIGNED_INT, NULL);
    glBindFramebuffer(GL_READ_FRAMEBUFFER, gl->many);
    glBindFramebuffer(GL_DRAW_FRAMEBUFFER, gl->one);
    glBlitFramebuffer(0, 0, gl->width, gl->height, 0, 0, gl->width, gl->height, GL_COLOR_BUFFER_BIT,
                      GL_NEAREST);
    glBindFramebuffer(GL_READ_FRAMEBUFFER, gl->one);
    glReadPixels(0, 0, gl->width, gl->height, GL_RGBA, GL_FLOAT, pixels);
    turn_over(pixels, gl->width, gl->height);
    return glGetError() == GL_NO_ERROR ? 0 : 1;
}

const char *rival_gl_name(const rival_gl *gl)
{
    return gl->name;
}

void rival_gl_free(rival_gl *gl)
{
    if (!gl)
        return;
    if (gl->context) {
        eglMakeCurrent(gl->display, EGL_NO_SURFACE, EGL_NO_SURFACE, EGL_NO_CONTEXT);
        eglDestroyContext(gl->display, gl->context); /* and all that is in it */
    }
    free(gl);
}
