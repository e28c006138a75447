/* tests/bench/rival_fftw.c: convolution through FFTW, overlap-save in square tiles. */
#include "tests/bench/rivals.h"

#include <fftw3.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#define MOST_THREADS 64

struct rival_fftw {
    int reach, tile, threads;
    fftwf_plan forward, back;
    fftwf_complex *kernel;
};

/* One job: all tiles of all planes, taken one after the other by every thread. */
typedef struct job {
    const rival_fftw *f;
    const float *in;
    float *out;
    int width, height, planes, across, down;
    atomic_int next;
    atomic_int failed;
} job;

static size_t real_count(int tile)
{
    return (size_t)tile * (size_t)tile;
}

static size_t complex_count(int tile)
{
    return (size_t)tile * (size_t)(tile / 2 + 1);
}

rival_fftw *rival_fftw_new(const float *kernel, int reach, int tile, int threads)
{
    rival_fftw *f = calloc(1, sizeof *f);
    float *spread = fftwf_alloc_real(real_count(tile));

    if (f)
        f->kernel = fftwf_alloc_complex(complex_count(tile));
    if (!f || !spread || !f->kernel || tile <= 2 * reach || threads > MOST_THREADS) {
        rival_fftw_free(f);
        fftwf_free(spread);
        return NULL;
    }
    f->reach = reach;
    f->tile = tile;
    f->threads = threads;
    f->forward = fftwf_plan_dft_r2c_2d(tile, tile, spread, f->kernel, FFTW_MEASURE);
    f->back = fftwf_plan_dft_c2r_2d(tile, tile, f->kernel, spread, FFTW_MEASURE);
    memset(spread, 0, real_count(tile) * sizeof *spread);
    for (int y = -reach; y <= reach; y++)
        for (int x = -reach; x <= reach; x++)
            spread[((y + tile) % tile) * tile + (x + tile) % tile] =
                kernel[(y + reach) * (2 * reach + 1) + x + reach] /
                (float)real_count(tile); /* FFTW does not scale */
    fftwf_execute_dft_r2c(f->forward, spread, f->kernel);
    fftwf_free(spread);
    return f;
}

/* Copies the tile's pixels and what the kernel reaches around them. */
static void load_tile(const job *j, const float *plane, int x0, int y0, float *tile)
{
    int n = j->f->tile;

    for (int y = 0; y < n; y++) {
        int sy = y0 + y, from = x0 < 0 ? -x0 : 0, to = j->width - x0 < n ? j->width - x0 : n;
        float *row = tile + (size_t)y * (size_t)n;

        memset(row, 0, (size_t)n * sizeof *row);
        if (sy >= 0 && sy < j->height && to > from)
            memcpy(row + from, plane + (size_t)sy * (size_t)j->width + x0 + from,
                   (size_t)(to - from) * sizeof *row);
    }
}

static void multiply(fftwf_complex *restrict a, const fftwf_complex *restrict b, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        float re = a[i][0] * b[i][0] - a[i][1] * b[i][1];
        float im = a[i][0] * b[i][1] + a[i][1] * b[i][0];

        a[i][0] = re;
        a[i][1] = im;
    }
}

static void one_tile(job *j, int index, float *real, fftwf_complex *spectrum)
{
    const rival_fftw *f = j->f;
    int step = f->tile - 2 * f->reach, per_plane = j->across * j->down;
    size_t plane = (size_t)(index / per_plane) * (size_t)j->width * (size_t)j->height;
    int x0 = index % per_plane % j->across * step, y0 = index % per_plane / j->across * step;
    int columns = j->width - x0 < step ? j->width - x0 : step;

    load_tile(j, j->in + plane, x0 - f->reach, y0 - f->reach, real);
    fftwf_execute_dft_r2c(f->forward, real, spectrum);
    multiply(spectrum, f->kernel, complex_count(f->tile));
    fftwf_execute_dft_c2r(f->back, spectrum, real);
    for (int y = 0; y < step && y0 + y < j->height; y++)
        memcpy(j->out + plane + (size_t)(y0 + y) * (size_t)j->width + x0,
               real + (size_t)(y + f->reach) * (size_t)f->tile + f->reach,
               (size_t)columns * sizeof *real);
}

static void *work(void *context)
{
    job *j = context;
    float *real = fftwf_alloc_real(real_count(j->f->tile));
    fftwf_complex *spectrum = fftwf_alloc_complex(complex_count(j->f->tile));
    int count = j->across * j->down * j->planes;

    if (!real || !spectrum)
        atomic_store(&j->failed, 1);
    else
        for (int i; (i = atomic_fetch_add(&j->next, 1)) < count;)
            one_tile(j, i, real, spectrum);
    fftwf_free(real);
    fftwf_free(spectrum);
    return NULL;
}

int rival_fftw_run(rival_fftw *f, const float *in, float *out, int width, int height, int planes)
{
    int step = f->tile - 2 * f->reach, started = 0;
    job j = {.f = f,
             .in = in,
             .out = out,
             .width = width,
             .height = height,
             .planes = planes,
             .across = (width + step - 1) / step,
             .down = (height + step - 1) / step};
    pthread_t threads[MOST_THREADS];

    while (started < f->threads - 1 && pthread_create(&threads[started], NULL, work, &j) == 0)
        started++;
    work(&j);
    for (int i = 0; i < started; i++)
        pthread_join(threads[i], NULL);
    return atomic_load(&j.failed);
}

void rival_fftw_free(rival_fftw *f)
{
    if (!f)
        return;
    if (f->forward)
        fftwf_destroy_plan(f->forward);
    if (f->back)
        fftwf_destroy_plan(f->back);
    fftwf_free(f->kernel);
    free(f);
}
