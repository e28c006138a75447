/* tests/bench/rival_stage.c: a scene with lights, maps and motion blur by llvmpipe.
 *
 * What was tried: 4 samples at 4 instants take 0.6 of the time of 16 instants of one sample; depth
 * alone beforehand gains nothing (4 samples a pixel cost as much as shading); nor do maps of 8 bits
 * or of whole floats. */
#include "tests/bench/rival_egl.h"
#include "tests/bench/rivals.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SAMPLES 4
#define SCENES 2
#define BUFFERS 5 /* of a part: positions, normals, uvs, colours, indices */

enum { BUMP = 1, SPECULAR = 2, EMISSION = 4, VARIANTS = 8 }; /* programs: what a surface has */

typedef struct loaded {
    const rival_scene *scene;
    GLuint *arrays, textures[RIVAL_PICTURES];
    GLuint programs[VARIANTS];
} loaded;

struct rival_stage {
    rival_egl egl;
    int width, height, count;
    GLuint many, one, sum, renderbuffers[3], resolved, white, flat, add, nothing;
    loaded scenes[SCENES];
};

static const char vertex_text[] =
    "layout(location=0) in vec3 position; layout(location=1) in vec3 normal;\n"
    "layout(location=2) in vec2 uv; layout(location=3) in vec4 color;\n"
    "uniform mat4 world, view; uniform mat3 turn; out vec3 p, n; out vec2 t; out vec3 c;\n"
    "void main() { vec4 at = world * vec4(position, 1); p = at.xyz; t = uv; c = color.rgb;\n"
    "  n = turn * normal; gl_Position = view * at; }\n";

/* The same formulas as engine/raster/lights.c: Blinn with decay, range and cone; and the bump of
 * M. Mikkelsen, "Bump Mapping Unparametrized Surfaces on the GPU", 2010, from a map of slopes. */
static const char fragment_text[] =
    "in vec3 p, n; in vec2 t; in vec3 c; out vec4 result;\n"
    "uniform vec3 eye, ambient, diffuse, specular, emission; uniform float exponent, height;\n"
    "uniform vec3 color[LIGHTS], place[LIGHTS], axis[LIGHTS], decay[LIGHTS], shape[LIGHTS];\n"
    "uniform sampler2D base_map, gloss_map, slope_map, glow_map; uniform vec4 tiles;\n"
    "void main() { vec3 m = normalize(gl_FrontFacing ? n : -n);\n"
    "#ifdef BUMP\n"
    "  vec2 slope = texture(slope_map, t * tiles.z).rg * tiles.z * height;\n"
    "  vec3 px = dFdx(p), py = dFdy(p), r1 = cross(py, m), r2 = cross(m, px);\n"
    "  float det = dot(px, r1);\n"
    "  m = normalize(abs(det) * m - sign(det) * (dot(slope, dFdx(t)) * r1 +\n"
    "                                            dot(slope, dFdy(t)) * r2));\n"
    "#endif\n"
    "  vec3 base = diffuse * c * texture(base_map, t * tiles.x).rgb, sum = ambient * base;\n"
    "#ifdef EMISSION\n"
    "  sum += emission * texture(glow_map, t * tiles.w).rgb;\n"
    "#endif\n"
    "#ifdef SPECULAR\n"
    "  vec3 gloss = specular * texture(gloss_map, t * tiles.y).rgb, v = normalize(eye - p);\n"
    "#endif\n"
    "  for (int i = 0; i < LIGHTS; i++) {\n"
    "    vec3 way = place[i] - p; float d = max(length(way), 1e-4), r = d * shape[i].x; way /= d;\n"
    "    float cone = clamp((-dot(way, axis[i]) - shape[i].y) * shape[i].z, 0.0, 1.0);\n"
    "    float e = dot(decay[i], vec3(1, 1 / d, 1 / (d * d))) * max(1 - r * r * r * r, 0.0);\n"
    "    float cosine = dot(m, way); vec3 light = color[i] * (cosine > 0 ? e * cone * cone : "
    "0.0);\n"
    "    sum += light * cosine * base;\n"
    "#ifdef SPECULAR\n"
    "    sum += light * gloss * pow(max(dot(m, normalize(way + v)), 1e-9), exponent);\n"
    "#endif\n"
    "  }\n"
    "  result = vec4(sum, 1); }\n";

static const char square_text[] =
    "void main() { gl_Position = vec4(gl_VertexID == 1 ? 3 : -1, gl_VertexID == 2 ? 3 : -1, 0, 1); "
    "}\n";
static const char add_text[] =
    "uniform sampler2D from; uniform float weight; out vec4 result;\n"
    "void main() { result = weight * texelFetch(from, ivec2(gl_FragCoord.xy), 0); }\n";

static void set_3(GLuint program, const char *name, const float *v)
{
    glUniform3fv(glGetUniformLocation(program, name), 1, v);
}

/* ------------------------------------------------------------------ loading */

static GLuint make_texture(int width, int height, GLenum format, GLenum given, const float *texels,
                           int repeats)
{
    GLenum wrap = repeats ? GL_REPEAT : GL_CLAMP_TO_EDGE;
    GLuint texture;

    glGenTextures(1, &texture);
    glBindTexture(GL_TEXTURE_2D, texture);
    glTexImage2D(GL_TEXTURE_2D, 0, (GLint)format, width, height, 0, given, GL_FLOAT, texels);
    glGenerateMipmap(GL_TEXTURE_2D);
    glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MIN_FILTER, GL_LINEAR_MIPMAP_LINEAR);
    glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_WRAP_S, (GLint)wrap);
    glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_WRAP_T, (GLint)wrap);
    return texture;
}

/* Heights become slopes along u and v, by differences over two texels. */
static GLuint load_slopes(const rival_picture *p)
{
    float *slopes = malloc((size_t)p->width * (size_t)p->height * 2 * sizeof *slopes);
    GLuint texture;

    if (!slopes)
        return 0;
    for (int y = 0; y < p->height; y++)
        for (int x = 0; x < p->width; x++) {
            int left = (x + p->width - 1) % p->width, right = (x + 1) % p->width;
            int up = (y + p->height - 1) % p->height, down = (y + 1) % p->height;
            float *to = slopes + 2 * ((size_t)y * (size_t)p->width + (size_t)x);

#define AT(x, y) p->texels[((size_t)(y) * (size_t)p->width + (size_t)(x)) * (size_t)p->channels]
            to[0] = (AT(right, y) - AT(left, y)) * (float)p->width / 2;
            to[1] = (AT(x, down) - AT(x, up)) * (float)p->height / 2;
#undef AT
        }
    texture = make_texture(p->width, p->height, GL_RG16F, GL_RG, slopes, p->repeats);
    free(slopes);
    return texture;
}

static GLuint load_picture(const rival_picture *p)
{
    static const GLint grey[] = {GL_RED, GL_RED, GL_RED, GL_ONE};
    GLuint texture;

    if (p->is_height)
        return load_slopes(p);
    texture = make_texture(p->width, p->height, p->channels == 1 ? GL_R16F : GL_RGB16F,
                           p->channels == 1   ? GL_RED
                           : p->channels == 3 ? GL_RGB
                                              : GL_RGBA,
                           p->texels, p->repeats);
    if (p->channels == 1)
        glTexParameteriv(GL_TEXTURE_2D, GL_TEXTURE_SWIZZLE_RGBA, grey);
    return texture;
}

static void load_attribute(GLuint buffer, GLuint index, int components, const float *data,
                           int count)
{
    if (!data) {
        glVertexAttrib4f(index, 1, 1, 1, 1);
        return;
    }
    glBindBuffer(GL_ARRAY_BUFFER, buffer);
    glBufferData(GL_ARRAY_BUFFER, (GLsizeiptr)count * components * 4, data, GL_STATIC_DRAW);
    glEnableVertexAttribArray(index);
    glVertexAttribPointer(index, components, GL_FLOAT, GL_FALSE, 0, NULL);
}

static void load_part(const rival_part *part, GLuint array)
{
    GLuint buffers[BUFFERS];

    glBindVertexArray(array);
    glGenBuffers(BUFFERS, buffers);
    load_attribute(buffers[0], 0, 3, part->positions, part->vertex_count);
    load_attribute(buffers[1], 1, 3, part->normals, part->vertex_count);
    load_attribute(buffers[2], 2, 2, part->uvs, part->vertex_count);
    load_attribute(buffers[3], 3, 4, part->colors, part->vertex_count);
    glBindBuffer(GL_ELEMENT_ARRAY_BUFFER, buffers[4]);
    glBufferData(GL_ELEMENT_ARRAY_BUFFER, (GLsizeiptr)part->triangle_count * 12, part->triangles,
                 GL_STATIC_DRAW);
}

/* A program's lights, which stay. */
static void set_lights(GLuint program, const rival_scene *scene)
{
    char name[32];

    set_3(program, "ambient", scene->ambient);
    for (int i = 0; i < scene->light_count; i++) {
        const rival_light *l = &scene->lights[i];
        float decay[3] = {l->decay == 0, l->decay == 1, l->decay == 2 ? 0.318309886f : 0};
        float shape[3] = {l->inverse_range, l->cone_outer, l->cone_step};
        const float *values[] = {l->color, l->position, l->axis, decay, shape};
        static const char *const names[] = {"color", "place", "axis", "decay", "shape"};

        for (int k = 0; k < 5; k++) {
            snprintf(name, sizeof name, "%s[%d]", names[k], i);
            set_3(program, name, values[k]);
        }
    }
    glUniform1i(glGetUniformLocation(program, "gloss_map"), 1);
    glUniform1i(glGetUniformLocation(program, "slope_map"), 2);
    glUniform1i(glGetUniformLocation(program, "glow_map"), 3);
}

int rival_stage_add(rival_stage *stage, const rival_scene *scene)
{
    loaded *to = &stage->scenes[stage->count];
    char defines[128];

    if (stage->count == SCENES || rival_egl_use(&stage->egl) != 0 ||
        !(to->arrays = calloc((size_t)scene->part_count, sizeof *to->arrays)))
        return -1;
    to->scene = scene;
    for (int v = 0; v < VARIANTS; v++) {
        snprintf(defines, sizeof defines, "#define LIGHTS %d\n%s%s%s", scene->light_count,
                 v & BUMP ? "#define BUMP\n" : "", v & SPECULAR ? "#define SPECULAR\n" : "",
                 v & EMISSION ? "#define EMISSION\n" : "");
        if (!(to->programs[v] = rival_egl_program(defines, vertex_text, fragment_text)))
            return -1;
        set_lights(to->programs[v], scene);
    }
    for (int i = 0; i < scene->picture_count; i++)
        to->textures[i] = load_picture(&scene->pictures[i]);
    glGenVertexArrays(scene->part_count, to->arrays);
    for (int i = 0; i < scene->part_count; i++)
        load_part(&scene->parts[i], to->arrays[i]);
    return stage->count++;
}

/* ------------------------------------------------------------------ targets */

static GLuint make_target(rival_stage *s, GLenum format)
{
    GLuint texture = make_texture(s->width, s->height, format, GL_RGBA, NULL, 0);

    glTexParameteri(GL_TEXTURE_2D, GL_TEXTURE_MIN_FILTER, GL_NEAREST);
    glFramebufferTexture2D(GL_FRAMEBUFFER, GL_COLOR_ATTACHMENT0, GL_TEXTURE_2D, texture, 0);
    return texture;
}

static int make_targets(rival_stage *s)
{
    GLuint frames[3];

    glGenFramebuffers(3, frames);
    glGenRenderbuffers(3, s->renderbuffers);
    s->many = frames[0];
    s->one = frames[1];
    s->sum = frames[2];
    glBindFramebuffer(GL_FRAMEBUFFER, s->sum);
    make_target(s, GL_RGBA32F);
    glBindFramebuffer(GL_FRAMEBUFFER, s->one);
    s->resolved = make_target(s, GL_RGBA16F);
    rival_egl_attach(s->renderbuffers[2], GL_DEPTH_ATTACHMENT, GL_DEPTH_COMPONENT32F, 0, s->width,
                     s->height);
    glBindFramebuffer(GL_FRAMEBUFFER, s->many);
    rival_egl_attach(s->renderbuffers[0], GL_COLOR_ATTACHMENT0, GL_RGBA16F, SAMPLES, s->width,
                     s->height);
    rival_egl_attach(s->renderbuffers[1], GL_DEPTH_ATTACHMENT, GL_DEPTH_COMPONENT32F, SAMPLES,
                     s->width, s->height);
    return glCheckFramebufferStatus(GL_FRAMEBUFFER) == GL_FRAMEBUFFER_COMPLETE ? 0 : 1;
}

rival_stage *rival_stage_new(int width, int height)
{
    static const float one[4] = {1, 1, 1, 1}, none[4] = {0};
    rival_stage *s = calloc(1, sizeof *s);

    if (!s)
        return NULL;
    s->width = width;
    s->height = height;
    if (rival_egl_open(&s->egl) != 0 || make_targets(s) != 0 ||
        !(s->add = rival_egl_program("", square_text, add_text))) {
        rival_stage_free(s);
        return NULL;
    }
    s->white = make_texture(1, 1, GL_RGBA8, GL_RGBA, one, 1);
    s->flat = make_texture(1, 1, GL_RG16F, GL_RG, none, 1);
    glGenVertexArrays(1, &s->nothing);
    glViewport(0, 0, width, height);
    glEnable(GL_MULTISAMPLE);
    glEnable(GL_CULL_FACE); /* all is closed: a fifth quicker, the same picture */
    glBlendFunc(GL_ONE, GL_ONE);
    return s;
}

/* ------------------------------------------------------------------ drawing */

static float sum_of(const float *v)
{
    return v[0] + v[1] + v[2];
}

static GLuint program_of(const loaded *l, const rival_part *part)
{
    return l
        ->programs[(part->maps[2] >= 0 ? BUMP : 0) | (sum_of(part->specular) > 0 ? SPECULAR : 0) |
                   (sum_of(part->emission) > 0 ? EMISSION : 0)];
}

static void draw_part(const rival_stage *s, const loaded *l, int index, int instant)
{
    const rival_part *part = &l->scene->parts[index];
    GLuint program = program_of(l, part);

    glUseProgram(program);
    set_3(program, "eye", l->scene->eyes + 3 * instant);
    set_3(program, "diffuse", part->diffuse);
    set_3(program, "specular", part->specular);
    set_3(program, "emission", part->emission);
    glUniform4fv(glGetUniformLocation(program, "tiles"), 1, part->tiles);
    glUniform1f(glGetUniformLocation(program, "exponent"), part->exponent);
    glUniform1f(glGetUniformLocation(program, "height"), part->height);
    glUniformMatrix3fv(glGetUniformLocation(program, "turn"), 1, GL_FALSE,
                       part->turns + 9 * instant);
    for (int i = 0; i < 4; i++) {
        glActiveTexture(GL_TEXTURE0 + (GLenum)i);
        glBindTexture(GL_TEXTURE_2D, part->maps[i] >= 0 ? l->textures[part->maps[i]]
                                     : i == 2           ? s->flat
                                                        : s->white);
    }
    glUniformMatrix4fv(glGetUniformLocation(program, "view"), 1, GL_FALSE,
                       l->scene->views + 16 * instant);
    glUniformMatrix4fv(glGetUniformLocation(program, "world"), 1, GL_FALSE,
                       part->worlds + 16 * instant);
    glBindVertexArray(l->arrays[index]);
    glDrawElements(GL_TRIANGLES, part->triangle_count * 3, GL_UNSIGNED_INT, NULL);
}

static void draw_scene(const rival_stage *s, const loaded *l, int instant)
{
    glBindFramebuffer(GL_FRAMEBUFFER, s->many);
    glEnable(GL_DEPTH_TEST);
    glDisable(GL_BLEND);
    glClear(GL_COLOR_BUFFER_BIT | GL_DEPTH_BUFFER_BIT);
    for (int i = 0; i < l->scene->part_count; i++)
        draw_part(s, l, i, instant);
}

static void resolve(const rival_stage *s, GLbitfield what)
{
    glBindFramebuffer(GL_READ_FRAMEBUFFER, s->many);
    glBindFramebuffer(GL_DRAW_FRAMEBUFFER, s->one);
    glBlitFramebuffer(0, 0, s->width, s->height, 0, 0, s->width, s->height, what, GL_NEAREST);
}

static void add_to_sum(const rival_stage *s, float weight)
{
    glBindFramebuffer(GL_FRAMEBUFFER, s->sum);
    glDisable(GL_DEPTH_TEST);
    glEnable(GL_BLEND);
    glUseProgram(s->add);
    glUniform1f(glGetUniformLocation(s->add, "weight"), weight);
    glActiveTexture(GL_TEXTURE0);
    glBindTexture(GL_TEXTURE_2D, s->resolved);
    glBindVertexArray(s->nothing);
    glDrawArrays(GL_TRIANGLES, 0, 3);
}

/* OpenGL's depth becomes the distance along the axis. */
static void read_depth(const rival_stage *s, float near, float far, float *depth)
{
    size_t count = (size_t)s->width * (size_t)s->height;

    resolve(s, GL_DEPTH_BUFFER_BIT);
    glBindFramebuffer(GL_READ_FRAMEBUFFER, s->one);
    glReadPixels(0, 0, s->width, s->height, GL_DEPTH_COMPONENT, GL_FLOAT, depth);
    for (size_t i = 0; i < count; i++)
        depth[i] = near * far / (far - depth[i] * (far - near));
    rival_egl_turn_over(depth, s->width, s->height, 1);
}

int rival_stage_run(rival_stage *s, int index, int times, float *pixels, float *depth)
{
    const loaded *l = &s->scenes[index];

    if (rival_egl_use(&s->egl) != 0)
        return 1;
    glBindFramebuffer(GL_FRAMEBUFFER, s->sum);
    glClear(GL_COLOR_BUFFER_BIT);
    for (int i = 0; i < times; i++) {
        draw_scene(s, l, (2 * i + 1) * RIVAL_INSTANTS / (2 * times));
        resolve(s, GL_COLOR_BUFFER_BIT);
        if (i == times / 2)
            read_depth(s, l->scene->near, l->scene->far, depth);
        add_to_sum(s, 1.0f / (float)times);
    }
    glBindFramebuffer(GL_READ_FRAMEBUFFER, s->sum);
    glReadPixels(0, 0, s->width, s->height, GL_RGBA, GL_FLOAT, pixels);
    rival_egl_turn_over(pixels, s->width, s->height, 4);
    return glGetError() == GL_NO_ERROR ? 0 : 1;
}

void rival_stage_free(rival_stage *s)
{
    if (!s)
        return;
    rival_egl_close(&s->egl);
    for (int i = 0; i < s->count; i++)
        free(s->scenes[i].arrays);
    free(s);
}
