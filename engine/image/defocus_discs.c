/* engine/image/defocus_discs.c */
#include "engine/image/defocus_discs.h"

#include <math.h>

#include "engine/base/clones.h"
#include "engine/base/math.h"
#include "engine/base/memory.h"
#include "engine/image/convolve.h"

double lb_disc_code_radius(int32_t code)
{
    return code ? (double)LB_DISC_SMALLEST * lb_exp2((double)code / LB_DISC_STEPS_PER_OCTAVE)
                : (double)LB_DISC_SMALLEST;
}

static inline int32_t code_of(float radius)
{
    float octaves = lb_log2f(radius > LB_DISC_SMALLEST ? radius / LB_DISC_SMALLEST : 1.0f);

    return (int32_t)(octaves * LB_DISC_STEPS_PER_OCTAVE + 0.5f);
}

int32_t lb_disc_code(float radius)
{
    return code_of(radius);
}

LB_CLONES
void lb_disc_code_row(const float *restrict radius, float most, int32_t *restrict codes,
                      int32_t count)
{
    for (int32_t x = 0; x < count; x++) {
        float away = fabsf(radius[x]);

        codes[x] = code_of(away > most ? most : away);
    }
}

#define GRAIN 8 /* codes */

/* The disc at hand: coverage of cell (x, y) from its middle, y <= x, at x * (x + 1) / 2 + y; -1
 * until it is asked for. */
struct builder {
    double radius;
    double *cells;
    int32_t side;
};

static double coverage(const struct builder *b, int32_t dx, int32_t dy)
{
    int32_t x = dx > dy ? dx : dy, y = dx > dy ? dy : dx;
    double *kept;

    if (x >= b->side)
        return 0;
    kept = &b->cells[x * (x + 1) / 2 + y];
    if (*kept < 0)
        *kept = lb_disc_weight(b->radius, x, y) * LB_PI * b->radius * b->radius;
    return *kept;
}

/* Columns of row j that the disc's edge may cross: those behind `last` up to `end`; columns up to
 * `last` are wholly covered. */
struct edge {
    int32_t last, end;
};

static struct edge edge_of_row(double r, int32_t j)
{
    double outer = j > 0 ? j - 0.5 : 0, inner = j + 0.5;
    struct edge edge = {-1, (int32_t)ceil(sqrt(fmax(r * r - outer * outer, 0)) + 0.5)};

    if (inner < r)
        edge.last = (int32_t)floor(sqrt(r * r - inner * inner) - 0.5);
    edge.last = edge.last < -1 ? -1 : edge.last;
    return edge;
}

/* Coverage rises by `delta` in column dx from outside. */
struct step {
    double delta;
    int32_t dx;
};

/* From outside in: a step wherever the coverage changes, and what is wholly covered needs none. */
static int32_t add_row(const struct builder *b, int32_t j, struct step *steps)
{
    struct edge edge = edge_of_row(b->radius, j);
    double before = 0;
    int32_t count = 0;

    for (int32_t dx = edge.end; dx > edge.last; dx--) {
        double here = coverage(b, dx, j);

        if (here > before)
            steps[count++] = (struct step){here - before, dx};
        before = fmax(before, here);
    }
    if (edge.last >= 0 && before < 1)
        steps[count++] = (struct step){1 - before, edge.last};
    return count;
}

/* `half`: the rows from the middle down, `firsts` where each begins. */
static lb_status unfold(const struct step *half, const int32_t *firsts, int32_t stride,
                        lb_disc *out)
{
    int32_t h = out->height, count = 0;

    out->first = lb_alloc((size_t)h * 2, sizeof *out->first);
    out->steps = lb_alloc((size_t)(2 * firsts[h] - firsts[1]), sizeof *out->steps);
    if (!out->first || !out->steps)
        return LB_MEMORY;
    for (int32_t j = 1 - h; j < h; j++) {
        int32_t away = j < 0 ? -j : j;

        for (int32_t i = firsts[away]; i < firsts[away + 1]; i++)
            out->steps[count++] =
                (lb_disc_step){half[i].delta, j * stride - half[i].dx, j * stride + half[i].dx + 1};
        out->first[j + h] = count;
    }
    return LB_OK;
}

static lb_status make_disc(double r, int32_t stride, lb_disc *out)
{
    struct builder b = {.radius = r, .side = (int32_t)ceil(r) + 2};
    int32_t cells = b.side * (b.side + 1) / 2, most = 0, *firsts;
    struct step *half;
    lb_status status = LB_MEMORY;

    out->height = (int32_t)ceil(r - 0.5) + 1;
    out->scale = (float)(1 / (LB_PI * r * r));
    for (int32_t j = 0; j < out->height; j++)
        most += edge_of_row(r, j).end - edge_of_row(r, j).last + 1;
    b.cells = lb_alloc((size_t)cells, sizeof *b.cells);
    half = lb_alloc((size_t)most, sizeof *half);
    firsts = lb_alloc((size_t)out->height + 1, sizeof *firsts);
    if (b.cells && half && firsts) {
        for (int32_t i = 0; i < cells; i++)
            b.cells[i] = -1;
        for (int32_t j = 0; j < out->height; j++)
            firsts[j + 1] = firsts[j] + add_row(&b, j, half + firsts[j]);
        status = unfold(half, firsts, stride, out);
    }
    lb_free(b.cells);
    lb_free(half);
    lb_free(firsts);
    return status;
}

struct making {
    const uint8_t *used;
    int32_t least, stride;
    lb_discs *out;
};

static lb_status make_codes(void *context, int32_t begin, int32_t end, int32_t worker)
{
    const struct making *m = context;
    lb_status status = LB_OK;

    (void)worker;
    for (int32_t code = m->least + begin; code < m->least + end && !status; code++)
        if (m->used[code])
            status = make_disc(lb_disc_code_radius(code), m->stride, &m->out->discs[code]);
    return status;
}

lb_status lb_discs_new(lb_pool *pool, const uint8_t *used, int32_t least, int32_t count,
                       int32_t stride, lb_discs *out)
{
    struct making m = {used, least, stride, out};
    lb_status status;

    *out = (lb_discs){.discs = lb_alloc((size_t)count, sizeof *out->discs), .count = count};
    if (!out->discs)
        return LB_MEMORY;
    if (count <= least)
        return LB_OK;
    status = lb_pool_for(pool, count - least, GRAIN, make_codes, &m);
    if (status)
        lb_discs_clear(out);
    return status;
}

void lb_discs_clear(lb_discs *discs)
{
    for (int32_t code = 0; discs->discs && code < discs->count; code++) {
        lb_free(discs->discs[code].steps);
        lb_free(discs->discs[code].first);
    }
    lb_free(discs->discs);
    *discs = (lb_discs){0};
}

/* A row has two steps on average, and the radii of all codes add up to 347 / ln 2 times the
 * largest; while discs are made, a few have their cells beside them. */
size_t lb_discs_bytes(double radius)
{
    int32_t codes = lb_disc_code((float)radius);
    double rows = codes ? 2 * (LB_DISC_STEPS_PER_OCTAVE / 0.693 * radius + 2 * codes) : 0;

    return (size_t)(rows * (sizeof(int32_t) + 2.5 * sizeof(lb_disc_step))) +
           (size_t)(codes + 1) * sizeof(lb_disc);
}
