/* examples/kiln-hours/generator/maps.c: clay, glaze, brick and heat as pictures. */
#include "maps.h"

#include "place.h"

#include <math.h>
#include <stdio.h>

static float *pixel(const picture *p, int x, int y)
{
    return &p->values[((size_t)y * (size_t)p->width + (size_t)x) * (size_t)p->channels];
}

static double encode_srgb(double x)
{
    return x <= 0.0031308 ? 12.92 * x : 1.055 * lb_pow(x, 1 / 2.4) - 0.055;
}

static void put_color(float *at, double r, double g, double b)
{
    at[0] = (float)encode_srgb(clamp01(r));
    at[1] = (float)encode_srgb(clamp01(g));
    at[2] = (float)encode_srgb(clamp01(b));
}

static void save(const picture *p, const char *folder, const char *name, int bits, int steps,
                 int is_srgb)
{
    char path[1024];

    if (snprintf(path, sizeof path, "%s/%s", folder, name) >= (int)sizeof path)
        give_up("the folder's name is too long");
    picture_write(p, path, bits, steps, is_srgb);
}

/* The plaque: 1800 x 500 texels over 460 x 127.8 mm; heights from -3.2 to +0.8 mm. */
enum { PLAQUE_X = 1800, PLAQUE_Y = 500 };
#define PLAQUE_LOW (-3.2)
#define PLAQUE_SPAN 4.0 /* the graph's bump scale is this, in metres */

typedef struct plaque_art {
    picture letters; /* distance, texels */
} plaque_art;

/* Distance to the incised line that runs round, and to the kiln's mark below the letters. */
static double line_distance(double x, double y)
{
    double half_x = PLAQUE_X / 2.0 - 46, half_y = PLAQUE_Y / 2.0 - 46, round = 26;
    double dx = fabs(x - PLAQUE_X / 2.0) - half_x + round,
           dy = fabs(y - PLAQUE_Y / 2.0) - half_y + round;
    double outside = sqrt(fmax(dx, 0) * fmax(dx, 0) + fmax(dy, 0) * fmax(dy, 0));
    double frame = fabs(outside + fmin(fmax(dx, dy), 0) - round);

    return frame - 2.0;
}

/* A little arch with a flame of two strokes, and rules left and right of it. */
static double mark_distance(double x, double y)
{
    double cx = x - PLAQUE_X / 2.0, cy = y - 402, arch, rule, fire;

    if (cy < 0)
        arch = fabs(sqrt(cx * cx + cy * cy) - 30);
    else
        arch = fmax(fabs(fabs(cx) - 30), cy - 16);
    fire = sqrt(cx * cx + (cy - 4) * (cy - 4) * 0.4) - 6;
    rule = fmax(fabs(cy - 6), fmax(86 - fabs(cx), fabs(cx) - 430));
    return fmin(fmin(arch - 3.6, fire), rule - 1.8);
}

static double art_distance(const plaque_art *art, int x, int y)
{
    double letters = (double)*pixel(&art->letters, x, y) - 1.6; /* the stamp was a little fat */
    double lines = fmin(line_distance(x + 0.5, y + 0.5), mark_distance(x + 0.5, y + 0.5));

    return fmin(letters, lines);
}

/* Millimetres. */
static double plaque_height(const plaque_art *art, int x, int y)
{
    double letters = (double)*pixel(&art->letters, x, y) - 1.6;
    double lines = fmin(line_distance(x + 0.5, y + 0.5), mark_distance(x + 0.5, y + 0.5));
    double u = x / 100.0, v = y / 100.0, h, edge;
    uint32_t id;

    h = 0.30 * cloud(u * 0.55, v * 0.55, 0, 2, 0, 810);
    edge = v + 0.25 * noise(u * 0.3, 0, 0, 0, 811); /* the board it was beaten out with */
    h += 0.055 * cloud(u * 0.8, edge * 9, 1, 3, 0, 812);
    h += 0.030 * cloud(u * 14, v * 14, 2, 2, 0, 813);
    double pit = cells(u * 5, v * 5, 0, 814, &id);
    if (id % 5 == 0)
        h -= 0.22 * bell(pit / (0.05 + 0.10 * chance(id, 1, 1)));
    if (id % 11 == 3)
        h += 0.12 * bell(pit / 0.09); /* grog */
    /* what the stamp pushed out rises round the letters */
    h += 0.34 * bell(letters / 9) * smooth(-2, 3, letters);
    h += 0.10 * bell(lines / 6) * smooth(-2, 2, lines);
    double pressed = 1 - smooth(-8.5, 0.5, letters);
    h = mix(h, -2.45 + 0.35 * h, pressed);
    double scratched = 1 - smooth(-4.5, 0.5, lines);
    return mix(h, h - 1.0, scratched);
}

static void write_clay(const char *folder)
{
    int count;
    plaque_art art = {stamp_distance("KILN HOURS", "EB Garamond 12:bold", PLAQUE_X, PLAQUE_Y, 152,
                                     318, 13, &count)};
    picture height = picture_new(PLAQUE_X, PLAQUE_Y, 1);
    picture color = picture_new(PLAQUE_X / 2, PLAQUE_Y / 2, 3);
    picture specular = picture_new(PLAQUE_X / 2, PLAQUE_Y / 2, 1);

    for (int y = 0; y < PLAQUE_Y; y++)
        for (int x = 0; x < PLAQUE_X; x++)
            *pixel(&height, x, y) = (float)((plaque_height(&art, x, y) - PLAQUE_LOW) / PLAQUE_SPAN);
    for (int y = 0; y < color.height; y++) {
        for (int x = 0; x < color.width; x++) {
            double d = 0, u = x / 50.0, v = y / 50.0, r, g, b, shine;

            for (int i = 0; i < 4; i++)
                d += art_distance(&art, 2 * x + i % 2, 2 * y + i / 2) / 4;
            double dark = 1 - smooth(-5.0, 1.5, d); /* ash has stayed in the letters */
            double flash =
                smooth(-0.15, 0.4, cloud(u * 0.5, v * 0.7, 5, 3, 0, 820) + 0.22 * (v / 5 - 0.4));
            double mottle = 1 + 0.22 * cloud(u * 2.2, v * 2.2, 6, 4, 0, 821);
            double border = fmin(fmin(u, 18 - u), fmin(v, 5 - v));
            double burnt = smooth(0.35, 0.0, border + 0.2 * cloud(u * 2, v * 2, 7, 2, 0, 822));
            uint32_t id;
            double iron = cells(u * 4.2, v * 4.2, 0, 823, &id);
            double speck = id % 3 == 0 ? bell(iron / (0.05 + 0.07 * chance(id, 2, 2))) : 0;

            mottle *= (1 - 0.55 * speck) * (1 - 0.55 * burnt);
            mottle *= 1 + 0.25 * bell(d / 5) * smooth(0, 4, d); /* rubbed on the rims */
            r = mix(0.60, 0.50, flash) * mottle;
            g = mix(0.42, 0.25, flash) * mottle;
            b = mix(0.28, 0.13, flash) * mottle;
            shine = 0.34 + 0.30 * cloud(u * 0.8, v * 6, 8, 3, 0, 824) +
                    0.35 * flash * smooth(0.0, 0.3, cloud(u * 3, v * 3, 9, 3, 0, 825));
            shine = mix(shine * (1 - 0.5 * speck), 0.07, dark);
            put_color(pixel(&color, x, y), mix(r, 0.020, dark), mix(g, 0.014, dark),
                      mix(b, 0.010, dark));
            *pixel(&specular, x, y) = (float)clamp01(shine);
        }
    }
    save(&height, folder, "clay_height.png", 16, 4096, 0);
    save(&color, folder, "clay_color.png", 8, 128, 1);
    save(&specular, folder, "clay_specular.png", 8, 64, 0);
    picture_free(&height);
    picture_free(&color);
    picture_free(&specular);
    picture_free(&art.letters);
}

/* Half a metre of brick, repeating. */
static void write_brick(const char *folder)
{
    enum { SIDE = 512 };
    picture height = picture_new(SIDE, SIDE, 1), color = picture_new(SIDE, SIDE, 3);

    for (int y = 0; y < SIDE; y++) {
        for (int x = 0; x < SIDE; x++) {
            double u = (double)x / SIDE, v = (double)y / SIDE, h;
            uint32_t id, fine;
            double pit = cells(u * 26, v * 26, 26, 830, &id),
                   grain = cells(u * 84, v * 84, 84, 831, &fine);
            double hole = id % 9 == 0 ? bell(pit / (0.08 + 0.20 * chance(id, 1, 1))) : 0;
            double lime = id % 23 == 5 ? bell(pit / 0.16) : 0;
            double crease = cloud(u * 6, v * 30, 3, 3, 6, 832); /* from cutting, along u */
            double blotch = cloud(u * 6, v * 6, 4, 4, 6, 833),
                   tone = cloud(u * 16, v * 16, 5, 3, 16, 834);

            h = 0.62 + 0.30 * cloud(u * 12, v * 12, 1, 4, 12, 835) + 0.10 * crease;
            h += 0.05 * (0.5 - grain) - 0.42 * hole;
            *pixel(&height, x, y) = (float)h;
            double light = 1 + 0.55 * tone + 0.25 * crease + 0.12 * (fine % 256 / 255.0 - 0.5);
            light *= 1 - 0.6 * hole;
            double pale = clamp01(lime + 0.25 * smooth(0.1, 0.5, blotch));
            put_color(pixel(&color, x, y), light * mix(0.44, 0.62, pale),
                      light * mix(0.19, 0.42, pale), light * mix(0.115, 0.30, pale));
        }
    }
    save(&height, folder, "brick_height.png", 16, 384, 0);
    save(&color, folder, "brick_color.png", 8, 64, 1);
    picture_free(&height);
    picture_free(&color);
}

/* Around a pot and along its section from foot to lip: bare clay below, a poured glaze above. */
static void write_pots(const char *folder)
{
    picture color = picture_new(512, 384, 3), specular = picture_new(256, 192, 1);
    picture height = picture_new(128, 640, 1);

    for (int y = 0; y < color.height; y++) {
        for (int x = 0; x < color.width; x++) {
            double u = (double)x / color.width, v = (double)y / color.height, r, g, b;
            double drip = 0.10 * noise(u * 9, 0, 0, 9, 840) + 0.05 * noise(u * 27, 0, 0, 27, 841);
            double line = 0.34 - 1.0 * drip * smooth(-0.4, 0.5, drip * 8); /* runs to the foot */
            double glaze = smooth(line - 0.008, line + 0.008, v);
            double lip = bell((v - 0.80) / 0.035), edge = bell((v - line) / 0.02) * glaze;
            double pool = cloud(u * 6, v * 8, 1, 4, 6, 842),
                   streak = cloud(u * 40, v * 3, 2, 3, 40, 843);
            uint32_t id;
            double iron = cells(u * 36, v * 27, 36, 844, &id);
            double speck = id % 4 == 0 ? bell(iron / (0.10 + 0.18 * chance(id, 2, 2))) : 0;
            double light = (1 + 0.25 * pool + 0.28 * streak) * (1 - 0.6 * speck);
            double rust = clamp01(lip + edge + 0.4 * smooth(0.2, 0.6, -streak - pool));
            double brush =
                smooth(0.018, 0.008, fabs(v - 0.56 - 0.010 * noise(u * 5, 3, 0, 5, 845))) *
                smooth(-0.4, 0.1, noise(u * 11, 0, 0, 11, 846));

            r = mix(0.62, 0.36, rust) * light;
            g = mix(0.50, 0.17, rust) * light;
            b = mix(0.37, 0.07, rust) * light;
            r = mix(r, 0.10, brush), g = mix(g, 0.06, brush), b = mix(b, 0.045, brush);
            double bare = 1 + 0.3 * cloud(u * 12, v * 14, 3, 4, 12, 847);
            put_color(pixel(&color, x, y), mix(0.24 * bare, r, glaze), mix(0.12 * bare, g, glaze),
                      mix(0.07 * bare, b, glaze));
            if (x % 2 == 0 && y % 2 == 0)
                *pixel(&specular, x / 2, y / 2) =
                    (float)clamp01(mix(0.06, 0.85 + 0.3 * pool - 0.4 * rust, glaze));
        }
    }
    for (int y = 0; y < height.height; y++) {
        for (int x = 0; x < height.width; x++) {
            double u = (double)x / height.width, v = (double)y / height.height;
            double wobble = 0.25 * noise(u * 3, v * 6, 0, 3, 850);
            double rings = 0.5 + 0.5 * lb_sin(2 * LB_PI * (40 * v + u + wobble));
            double deep = 0.55 + 0.45 * noise(v * 24, 0, 0, 0, 851);

            *pixel(&height, x, y) =
                (float)(0.1 + 0.7 * rings * deep + 0.12 * cloud(u * 24, v * 30, 0, 2, 24, 852));
        }
    }
    save(&color, folder, "pot_color.png", 8, 64, 1);
    save(&specular, folder, "pot_specular.png", 8, 32, 0);
    save(&height, folder, "pot_height.png", 16, 768, 0);
    picture_free(&color);
    picture_free(&specular);
    picture_free(&height);
}

/* Rows from cold to hot. The colour is a black body's (Planck's law, CIE 1931 observer, linear
 * Rec. 709, red 1, negative blue cut); the brightness is what looks right, not Planck's: between
 * 1000 and 2000 K that rises ten thousandfold. */
picture heat_map(void)
{
    static const double body[5][3] = {{1000, 0.00860, 0},
                                      {1200, 0.05752, 0},
                                      {1500, 0.13297, 0},
                                      {1800, 0.20793, 0},
                                      {2000, 0.25666, 0.00810}};
    picture p = picture_new(64, 256, 3);

    for (int y = 0; y < p.height; y++) {
        for (int x = 0; x < p.width; x++) {
            double heat = (y + 0.5) / p.height, u = (double)x / p.width;
            double fleck = 1 + 0.22 * cloud(u * 8, heat * 9, 0, 3, 8, 860);
            double kelvin = mix(1000, 2000, clamp01(lb_pow(heat, 0.9) * fleck));
            double light = lb_pow(heat, 2.3) * fleck;
            int i = 0;

            while (i < 3 && kelvin > body[i + 1][0])
                i++;
            double t = (kelvin - body[i][0]) / (body[i + 1][0] - body[i][0]);
            put_color(pixel(&p, x, y), light, light * mix(body[i][1], body[i + 1][1], t),
                      light * mix(body[i][2], body[i + 1][2], t));
        }
    }
    return p;
}

void write_maps(const char *folder)
{
    write_clay(folder);
    write_brick(folder);
    write_pots(folder);
}
