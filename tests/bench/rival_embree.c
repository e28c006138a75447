/* tests/bench/rival_embree.c: the renderer's work by Embree 3, rays and a little shading. */
#include "tests/bench/rivals.h"

#include <embree3/rtcore.h>
#include <math.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#define RAYS 16
#define MOST_THREADS 64

struct rival_embree {
    RTCDevice device;
    RTCScene scene;
    rival_mesh mesh; /* arrays lent */
};

typedef struct job {
    const rival_embree *e;
    float *pixels;
    int width, height, shade;
    atomic_int next; /* row */
} job;

static void set_buffer(RTCGeometry geometry, enum RTCBufferType type, enum RTCFormat format,
                       const void *data, size_t stride, size_t count)
{
    void *at = rtcSetNewGeometryBuffer(geometry, type, 0, format, stride, count);

    memcpy(at, data, stride * count);
}

rival_embree *rival_embree_new(const rival_mesh *mesh)
{
    rival_embree *e = calloc(1, sizeof *e);
    RTCGeometry geometry;

    if (!e)
        return NULL;
    e->mesh = *mesh;
    e->device = rtcNewDevice(NULL);
    if (!e->device) {
        free(e);
        return NULL;
    }
    e->scene = rtcNewScene(e->device);
    geometry = rtcNewGeometry(e->device, RTC_GEOMETRY_TYPE_TRIANGLE);
    set_buffer(geometry, RTC_BUFFER_TYPE_VERTEX, RTC_FORMAT_FLOAT3, mesh->positions, 12,
               (size_t)mesh->vertex_count);
    set_buffer(geometry, RTC_BUFFER_TYPE_INDEX, RTC_FORMAT_UINT3, mesh->triangles, 12,
               (size_t)mesh->triangle_count);
    rtcCommitGeometry(geometry);
    rtcAttachGeometry(e->scene, geometry);
    rtcReleaseGeometry(geometry);
    rtcCommitScene(e->scene);
    return e;
}

/* The texture between four texels, repeated. */
static void read_texture(const rival_mesh *m, float u, float v, float out[3])
{
    int n = m->texture_side;
    float x = u * (float)n - 0.5f, y = v * (float)n - 0.5f;
    float fx = floorf(x), fy = floorf(y);
    int x0 = (int)fx & (n - 1), y0 = (int)fy & (n - 1);
    int x1 = (x0 + 1) & (n - 1), y1 = (y0 + 1) & (n - 1);
    const unsigned char *a = m->texture + ((size_t)y0 * (size_t)n + (size_t)x0) * 4;
    const unsigned char *b = m->texture + ((size_t)y0 * (size_t)n + (size_t)x1) * 4;
    const unsigned char *c = m->texture + ((size_t)y1 * (size_t)n + (size_t)x0) * 4;
    const unsigned char *d = m->texture + ((size_t)y1 * (size_t)n + (size_t)x1) * 4;

    x -= fx;
    y -= fy;
    for (int i = 0; i < 3; i++)
        out[i] = (((float)a[i] * (1 - x) + (float)b[i] * x) * (1 - y) +
                  ((float)c[i] * (1 - x) + (float)d[i] * x) * y) /
                 255.0f;
}

static void add_light(const rival_mesh *m, unsigned triangle, float u, float v, float sum[4])
{
    const unsigned *corner = m->triangles + (size_t)triangle * 3;
    float weight[3] = {1 - u - v, u, v}, n[3] = {0}, uv[2] = {0}, color[3];
    float length, cosine;

    for (int i = 0; i < 3; i++) {
        for (int k = 0; k < 3; k++)
            n[k] += weight[i] * m->normals[(size_t)corner[i] * 3 + (size_t)k];
        for (int k = 0; k < 2; k++)
            uv[k] += weight[i] * m->uvs[(size_t)corner[i] * 2 + (size_t)k];
    }
    length = sqrtf(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
    cosine = (n[0] * m->light[0] + n[1] * m->light[1] + n[2] * m->light[2]) / length;
    read_texture(m, uv[0], uv[1], color);
    for (int k = 0; k < 3 && cosine > 0; k++)
        sum[k] += color[k] * cosine;
    sum[3] += 1;
}

/* 16 rays on a grid of 4 by 4 in the pixel. */
static void aim(const job *j, int x, int y, struct RTCRayHit16 *r)
{
    const rival_mesh *m = &j->e->mesh;
    float step = 2 * m->tan_half_fov / (float)j->height;

    for (int i = 0; i < RAYS; i++) {
        float px = (float)x + ((float)(i % 4) + 0.5f) / 4 - 0.5f * (float)j->width;
        float py = (float)y + ((float)(i / 4) + 0.5f) / 4 - 0.5f * (float)j->height;

        r->ray.org_x[i] = m->eye[0];
        r->ray.org_y[i] = m->eye[1];
        r->ray.org_z[i] = m->eye[2];
        r->ray.dir_x[i] = px * step;
        r->ray.dir_y[i] = -py * step;
        r->ray.dir_z[i] = -1;
        r->ray.tnear[i] = 0.1f;
        r->ray.tfar[i] = 100;
        r->ray.mask[i] = ~0u;
        r->ray.flags[i] = 0;
        r->ray.time[i] = 0;
        r->hit.geomID[i] = RTC_INVALID_GEOMETRY_ID;
        r->hit.instID[0][i] = RTC_INVALID_GEOMETRY_ID;
    }
}

static void *work(void *context)
{
    job *j = context;
    struct RTCIntersectContext how;
    _Alignas(64) int valid[RAYS];
    struct RTCRayHit16 r;

    rtcInitIntersectContext(&how);
    how.flags = RTC_INTERSECT_CONTEXT_FLAG_COHERENT;
    memset(valid, 0xff, sizeof valid);
    for (int y; (y = atomic_fetch_add(&j->next, 1)) < j->height;)
        for (int x = 0; x < j->width; x++) {
            float *out = j->pixels + ((size_t)y * (size_t)j->width + (size_t)x) * 4;
            float sum[4] = {0};

            aim(j, x, y, &r);
            rtcIntersect16(valid, j->e->scene, &how, &r);
            for (int i = 0; i < RAYS; i++)
                if (r.hit.geomID[i] == RTC_INVALID_GEOMETRY_ID)
                    continue;
                else if (j->shade)
                    add_light(&j->e->mesh, r.hit.primID[i], r.hit.u[i], r.hit.v[i], sum);
                else
                    sum[3] += 1;
            for (int k = 0; k < 4; k++)
                out[k] = sum[k] / RAYS;
        }
    return NULL;
}

int rival_embree_run(rival_embree *e, int width, int height, int shade, int threads, float *pixels)
{
    job j = {.e = e, .pixels = pixels, .width = width, .height = height, .shade = shade};
    pthread_t others[MOST_THREADS];
    int started = 0;

    while (started < threads - 1 && started < MOST_THREADS &&
           pthread_create(&others[started], NULL, work, &j) == 0)
        started++;
    work(&j);
    for (int i = 0; i < started; i++)
        pthread_join(others[i], NULL);
    return rtcGetDeviceError(e->device) == RTC_ERROR_NONE ? 0 : 1;
}

void rival_embree_free(rival_embree *e)
{
    if (!e)
        return;
    rtcReleaseScene(e->scene);
    rtcReleaseDevice(e->device);
    free(e);
}
