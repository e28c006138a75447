/* tests/bench/rivals.h: other libraries behind plain C functions, for report.py. Each file is a
 * shared library of its own, built where its library is installed. 0 is good. */
#ifndef LB_TESTS_BENCH_RIVALS_H
#define LB_TESTS_BENCH_RIVALS_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* Rows of interleaved samples of `bits` 8 or 16 (in the machine's order, libspng turns them).
 * channels 3 or 4. *bytes is freed with rival_spng_free. */
int rival_spng_encode(const void *pixels, int width, int height, int channels, int bits, int level,
                      void **bytes, size_t *count);
int rival_spng_decode(const void *bytes, size_t count, void *pixels, size_t size);
void rival_spng_free(void *bytes);

/* OpenEXR's C++ library: R, G, B, A planes. `halves` are binary16 bits, ready made. Level is
 * zlib's. Threads: of the library's own pool. */
int rival_exr_write(const unsigned short *halves, int width, int height, int level, int threads,
                    void **bytes, size_t *count);
int rival_exr_read(const void *bytes, size_t count, int width, int height, int threads,
                   float *planes);
void rival_exr_free(void *bytes);

/* Convolution by FFTW, overlap-save in square tiles: `planes` planes, 0 outside. The kernel has
 * (2 * reach + 1)^2 weights. A plan keeps the kernel's spectrum. */
typedef struct rival_fftw rival_fftw;
rival_fftw *rival_fftw_new(const float *kernel, int reach, int tile, int threads);
int rival_fftw_run(rival_fftw *f, const float *in, float *out, int width, int height, int planes);
void rival_fftw_free(rival_fftw *f);

/* The renderer's scene, for both: a mesh in front of a camera at `eye` that looks along -z, one
 * light from far away, one texture. Nothing is culled. Colours are linear. */
typedef struct rival_mesh {
    int vertex_count, triangle_count;
    const float *positions, *normals, *uvs; /* 3, 3, 2 a vertex; v runs down the texture */
    const unsigned *triangles;              /* 3 a triangle */
    float eye[3], light[3];                 /* a position; a unit vector towards the light */
    float tan_half_fov;                     /* of the height */
    int texture_side;
    const unsigned char *texture; /* RGBA, square, rows from the top */
} rival_mesh;

/* llvmpipe: OpenGL through EGL without a window. Its number of threads is LP_NUM_THREADS when the
 * first is made. NULL: it cannot be had. */
typedef struct rival_gl rival_gl;
rival_gl *rival_gl_new(const rival_mesh *mesh, int width, int height, int samples);
/* Draws, resolves and reads back rows of RGBA floats, from the top. */
int rival_gl_run(rival_gl *gl, float *pixels);
const char *rival_gl_name(const rival_gl *gl);
void rival_gl_free(rival_gl *gl);

/* A scene as bench_scene_new hands it out. Colours are linear; matrices stand by columns, one an
 * instant of the shutter; the origin is where the camera is in the middle of it. */
#define RIVAL_INSTANTS 16
#define RIVAL_PICTURES 16
#define RIVAL_LIGHTS 8
typedef struct rival_picture {
    int width, height, channels, is_height, repeats;
    const float *texels; /* interleaved, rows from the top */
} rival_picture;
typedef struct rival_part {
    int vertex_count, triangle_count;
    const float *positions, *normals, *uvs, *colors; /* 3, 3, 2, 4 a vertex; the last may be NULL */
    const unsigned *triangles;
    float diffuse[3], specular[3], emission[3], exponent;
    int maps[4];            /* diffuse, specular, height, emission: of pictures, -1: none */
    float tiles[4], height; /* uvs are multiplied by tiles, heights by height */
    float worlds[16 * RIVAL_INSTANTS], turns[9 * RIVAL_INSTANTS]; /* of positions, of normals */
} rival_part;
typedef struct rival_light {
    float color[3], position[3], axis[3]; /* the way it shines */
    int decay;                            /* 0 none, 1 linear, 2 quadratic */
    float inverse_range, cone_outer, cone_step;
} rival_light;
typedef struct rival_scene {
    int part_count, picture_count, light_count;
    rival_part *parts;
    rival_picture pictures[RIVAL_PICTURES];
    rival_light lights[RIVAL_LIGHTS];
    float ambient[3], near, far;
    float views[16 * RIVAL_INSTANTS], eyes[3 * RIVAL_INSTANTS];
} rival_scene;

/* llvmpipe once more: scenes drawn several times while the shutter is open, 4 samples each. */
typedef struct rival_stage rival_stage;
rival_stage *rival_stage_new(int width, int height);
/* Loads a scene (lent until then); its number, from 0. -1: no room. */
int rival_stage_add(rival_stage *stage, const rival_scene *scene);
/* Draws scene `index` at `times` instants and reads back their mean, rows of premultiplied RGBA
 * floats from the top, and how far the middle instant's surfaces are along the axis. */
int rival_stage_run(rival_stage *stage, int index, int times, float *pixels, float *depth);
void rival_stage_free(rival_stage *stage);

/* Embree: 16 rays a pixel in a packet. `shade` 0 only asks what each hits; 1 lights it, with the
 * texture read between four texels. `pixels` as above. */
typedef struct rival_embree rival_embree;
rival_embree *rival_embree_new(const rival_mesh *mesh);
int rival_embree_run(rival_embree *e, int width, int height, int shade, int threads, float *pixels);
void rival_embree_free(rival_embree *e);

#ifdef __cplusplus
}
#endif

#endif
