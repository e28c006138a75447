/* tests/bench/rival_gl.c: the renderer's work by llvmpipe, OpenGL 3.3 in Mesa. */
#include "tests/bench/rival_egl.h"
#include "tests/bench/rivals.h"

#include <stdio.h>
#include <stdlib.h>

struct rival_gl {
    rival_egl egl;
    int width, height, triangle_count;
    GLuint program, many, one, vao, buffers[4], texture, renderbuffers[3];
    char name[128];
};

static const char vertex_text[] =
    "layout(location=0) in vec3 position; layout(location=1) in vec3 normal;\n"
    "layout(location=2) in vec2 uv; uniform vec3 eye; uniform vec2 scale;\n"
    "out vec3 n; out vec2 t;\n"
    "void main() { vec3 p = position - eye; n = normal; t = uv;\n"
    "  float a = 0.1, b = 100.0;\n"
    "  gl_Position = vec4(p.xy * scale, (p.z * (a + b) + 2 * a * b) / (a - b), -p.z); }\n";
static const char fragment_text[] =
    "in vec3 n; in vec2 t; uniform vec3 light; uniform sampler2D map; out vec4 color;\n"
    "void main() { color = vec4(texture(map, t).rgb * max(dot(normalize(n), light), 0.0), 1.0); "
    "}\n";

static int make_program(rival_gl *gl, const rival_mesh *mesh)
{
    float y = 1 / mesh->tan_half_fov, x = y * (float)gl->height / (float)gl->width;

    if (!(gl->program = rival_egl_program("", vertex_text, fragment_text)))
        return 1;
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
    glBindFramebuffer(GL_FRAMEBUFFER, gl->one);
    rival_egl_attach(gl->renderbuffers[2], GL_COLOR_ATTACHMENT0, GL_RGBA16F, 0, gl->width,
                     gl->height);
    glBindFramebuffer(GL_FRAMEBUFFER, gl->many);
    rival_egl_attach(gl->renderbuffers[0], GL_COLOR_ATTACHMENT0, GL_RGBA16F, samples, gl->width,
                     gl->height);
    rival_egl_attach(gl->renderbuffers[1], GL_DEPTH_ATTACHMENT, GL_DEPTH_COMPONENT32F, samples,
                     gl->width, gl->height);
    return glCheckFramebufferStatus(GL_FRAMEBUFFER) == GL_FRAMEBUFFER_COMPLETE ? 0 : 1;
}

rival_gl *rival_gl_new(const rival_mesh *mesh, int width, int height, int samples)
{
    rival_gl *gl = calloc(1, sizeof *gl);

    if (!gl)
        return NULL;
    gl->width = width;
    gl->height = height;
    if (rival_egl_open(&gl->egl) != 0 || make_program(gl, mesh) != 0 ||
        make_targets(gl, samples) != 0) {
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

int rival_gl_run(rival_gl *gl, float *pixels)
{
    if (rival_egl_use(&gl->egl) != 0)
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
    rival_egl_turn_over(pixels, gl->width, gl->height, 4);
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
    rival_egl_close(&gl->egl);
    free(gl);
}
