/* tests/engine/cli/test_diff_pixels.c: lampblack diff --frame, on pictures of few colours, so that
 * what it has to say is worked out here: counts and places by hand, signals by IEC 61966-2-1's
 * formula, PSNR from its definition, SSIM of two constants by equation 13 of Wang et al. 2004. */
#include <math.h>
#include <sys/stat.h>

#include "engine/media/media.h"
#include "tests/support/shell.h"

/* A graph of 16 x 12 pixels and four frames. */
static void write_graph(const char *name, const char *size, const char *nodes, const char *outputs)
{
    FILE *file = fopen(name, "w");

    cr_assert_not_null(file);
    fprintf(file,
            "lampblack: 1\nframe: {size: %s, rate: 25, range: [1, 4]}\nnodes:\n%s\noutputs:\n%s\n",
            size, nodes, outputs);
    cr_assert_eq(fclose(file), 0);
}

#define GROUND "  ground: {op: solid, color: [0.5, 0.25, 0]}\n"
#define MASTER "  master: {image: last, file: \"out/####.exr\"}\n"
#define OVER                                                                                       \
    GROUND "  red: {op: solid, color: [1, 0.25, 0]}\n"                                             \
           "  patch: {op: crop, image: red, box: [3, 2, 8, 5]}\n"                                  \
           "  last: {op: composite, source: patch, backdrop: ground}\n"

static void enter(void)
{
    enter_folder();
    write_graph("a.yaml", "[16, 12]", "  last: {op: solid, color: [0.5, 0.25, 0]}\n", MASTER);
}

TestSuite(diff_pixels, .init = enter, .fini = leave_folder, .timeout = 120);

static void expect_line(const char *line)
{
    cr_expect_not_null(strstr(output, line), "no '%s' in\n%s", line, output);
}

static void expect_no(const char *text)
{
    cr_expect_null(strstr(output, text), "'%s' is in\n%s", text, output);
}

static double signal_of(double linear)
{
    return linear <= 0.0031308 ? 12.92 * linear : 1.055 * pow(linear, 1 / 2.4) - 0.055;
}

Test(diff_pixels, another_colour)
{
    double high = signal_of(0.5), low = signal_of(0.25), d = high - low;
    double a = 0.2126 * high + 0.7152 * low, b = 0.2126 * high + 0.7152 * high;
    char line[160];

    write_graph("b.yaml", "[16, 12]", "  last: {op: solid, color: [0.5, 0.5, 0]}\n", MASTER);
    cr_expect_eq(run("lampblack diff a.yaml b.yaml --frame 2"), 1);
    expect_line("frame 2, master: 192 of 192 pixels differ (100 %), in 16x12+0+0\n");
    snprintf(line, sizeof line,
             "  largest difference 0.25 (G at 0, 0), mean 0.0625; PSNR %.1f dB, SSIM %.4f\n",
             10 * log10(3 / (d * d)), (2 * a * b + 1e-4) / (a * a + b * b + 1e-4));
    expect_line(line);
    expect_line("  differs first at 'last' (solid)\n");
}

/* 15 of the 192 pixels are redder by 0.5; the mean is over A, B, G and R. */
Test(diff_pixels, a_part_of_the_frame)
{
    double d = 1 - signal_of(0.5);
    char line[160];

    write_graph("b.yaml", "[16, 12]", OVER, MASTER);
    cr_expect_eq(run("lampblack diff a.yaml b.yaml --frame 4"), 1);
    expect_line("frame 4, master: 15 of 192 pixels differ (7.8 %), in 5x3+3+2\n");
    snprintf(line, sizeof line, "  largest difference 0.5 (R at 3, 2), mean 0.00977; PSNR %.1f dB",
             10 * log10(3 * 192 / (15 * d * d)));
    expect_line(line);
    expect_line("  differs first at 'red' (solid)\n");
    /* The other way round nothing is new; the colour that is shown was there under another name. */
    cr_expect_eq(run("lampblack diff b.yaml a.yaml --frame 4"), 1);
    expect_line("  shows 'last' (solid) instead of 'last' (composite)\n");
}

Test(diff_pixels, the_same)
{
    write_graph("b.yaml", "[16, 12]",
                "# another name\n  last: {color: [0.5, 0.25, 0], op: solid}\n", MASTER);
    cr_expect_eq(run("lampblack diff a.yaml b.yaml --frame 1,3"), 0);
    cr_expect_str_eq(output, "frame 1, master: the same\nframe 3, master: the same\n"
                             "all 2 frames are the same\n");
    cr_expect_eq(run("lampblack diff a.yaml b.yaml --frame 1 --json"), 0);
    expect_line("\"same\": true");
    expect_line("\"rendered\": false");
    /* By other keys to the same numbers. */
    write_graph("b.yaml", "[16, 12]",
                "  dark: {op: solid, color: [0.25, 0.125, 0]}\n"
                "  last: {op: exposure, image: dark, stops: 1}\n",
                MASTER);
    cr_expect_eq(run("lampblack diff a.yaml b.yaml --frame 1"), 1, "the meaning is not the same");
    expect_line("frame 1, master: the same\n");
}

/* At frames 1 and 2 the expression comes to what the other graph says. */
Test(diff_pixels, several_frames)
{
    double d = signal_of(0.5) - signal_of(0.25);
    char line[160];

    write_graph("b.yaml", "[16, 12]",
                "  last: {op: solid, color: [0.5, {expr: \"frame > 2 ? 0.5 : 0.25\"}, 0]}\n",
                MASTER);
    cr_expect_eq(run("lampblack diff a.yaml b.yaml --frame 1-4"), 1);
    expect_line("frame 2, master: the same\nframe 3, master: 192 of 192");
    snprintf(line, sizeof line, "2 of 4 frames differ, most frame 3 with a PSNR of %.1f dB\n",
             10 * log10(3 / (d * d)));
    expect_line(line);
}

Test(diff_pixels, other_sizes_and_outputs)
{
    write_graph("b.yaml", "[8, 6]", "  last: {op: solid, color: [0.5, 0.25, 0]}\n",
                MASTER "  proof: {image: last, file: proof.png, range: 1}\n");
    cr_expect_eq(run("lampblack diff a.yaml b.yaml --frame 2"), 1);
    expect_line("output proof is only in b.yaml\n");
    expect_line("frame 2, master: the 48 pixels that both have are the same\n"
                "  a.yaml has 16x12+0+0, b.yaml has 8x6+0+0; compared where both have pixels\n"
                "  the graphs' frames differ, so every node's result does\n");
    cr_expect_eq(run("lampblack diff a.yaml b.yaml --frame 2 --outputs master"), 1);
    expect_no("proof is only");
    /* Equal sizes, and an output that one graph writes at another frame. */
    write_graph("c.yaml", "[16, 12]", "  last: {op: solid, color: [0.5, 0.25, 0]}\n",
                "  master: {image: last, file: out.exr, range: 3}\n");
    run("lampblack diff a.yaml c.yaml --frame 2,3");
    expect_line("frame 2: no output is written by both graphs\nframe 3, master: the same\n");
}

/* A file that holds no other channels than R, G, B, A, and one that does. */
Test(diff_pixels, channels)
{
    const char *nodes = "  ground: {op: solid, color: [0.5, 0.25, 0]}\n"
                        "  other: {op: solid, color: [0.75, 0, 0]}\n"
                        "  last: {op: channels, image: ground, other: other,\n"
                        "    set: [{channel: depth.Z, of: other, from: R}]}\n";

    write_graph("b.yaml", "[16, 12]", nodes, MASTER);
    cr_expect_eq(run("lampblack diff a.yaml b.yaml --frame 1"), 1);
    expect_line("(depth.Z at 0, 0)");
    expect_line("what is seen is the same\n  only in b.yaml: depth.Z\n");
}

static void expect_trouble(const char *line, const char *message)
{
    cr_expect_eq(run(line), 2, "%s: %s", line, output);
    expect_line(message);
}

Test(diff_pixels, trouble)
{
    write_graph("b.yaml", "[16, 12]", OVER, MASTER);
    expect_trouble("lampblack diff a.yaml b.yaml --frame 9",
                   "b.yaml: error: there is no frame 9; the graph's frames are 1 to 4");
    expect_trouble("lampblack diff a.yaml b.yaml --frame 1 --outputs none",
                   "neither graph has an output 'none'");
    expect_trouble("lampblack diff a.yaml b.yaml --frame 1,2 --image x.png",
                   "'x.png' has no #### for the frame's number");
    expect_trouble("lampblack diff a.yaml b.yaml --frame 1 --image x.xyz", "'xyz'");
    expect_trouble("lampblack diff a.yaml b.yaml --image x.png", "--frame");
    cr_expect_neq(access("x.png", F_OK), 0);
}

/* The 8-bit code of a channel of a file's pixel. */
static long code(const lb_image *image, const char *channel, int32_t x, int32_t y)
{
    return lrint(255 * (double)lb_plane_at(lb_image_find(image, channel), x, y));
}

static void expect_pixel(const lb_image *image, int32_t x, int32_t y, long r, long g, long b)
{
    cr_expect(code(image, "R", x, y) == r && code(image, "G", x, y) == g &&
                  code(image, "B", x, y) == b,
              "(%d, %d): %ld %ld %ld", (int)x, (int)y, code(image, "R", x, y),
              code(image, "G", x, y), code(image, "B", x, y));
}

/* Of the IEC's formula: 0.5 is 188, 0.25 is 137, 0.18 is 118. */
Test(diff_pixels, side_by_side)
{
    const lb_media_wish as_it_is = {LB_SPACE_RAW, LB_SPACE_RAW};
    lb_image *image = NULL;

    write_graph("b.yaml", "[16, 12]", OVER, MASTER);
    cr_expect_eq(run("lampblack diff a.yaml b.yaml --frame 1-2 --image made/x.####.png"), 1);
    expect_line("  side by side in made/x.0001.png, the difference times 2\n");
    cr_assert_eq(lb_media_read(NULL, NULL, LB_NOWHERE, "made/x.0002.png", &as_it_is, &image),
                 LB_OK);
    cr_expect(lb_box_equal(lb_image_box(image), (lb_box){0, 0, 3 * 16 + 2 * 4, 12}));
    expect_pixel(image, 3, 2, 188, 137, 0);      /* as it was */
    expect_pixel(image, 17, 5, 118, 118, 118);   /* between */
    expect_pixel(image, 20 + 2, 2, 188, 137, 0); /* as it is */
    expect_pixel(image, 20 + 3, 2, 255, 137, 0);
    expect_pixel(image, 20 + 7, 4, 255, 137, 0);
    expect_pixel(image, 40 + 2, 2, 0, 0, 0); /* the difference */
    expect_pixel(image, 40 + 3, 2, 255, 0, 0);
    expect_pixel(image, 40 + 8, 4, 0, 0, 0);
    lb_image_unref(&image);
    cr_expect_eq(run("lampblack diff a.yaml a.yaml --frame 1 --image same.exr"), 0);
    cr_expect_str_eq(output, "frame 1, master: the same\n  side by side in same.exr\n");
}

Test(diff_pixels, json_and_threads)
{
    write_graph("b.yaml", "[16, 12]", OVER, MASTER);
    cr_expect_eq(run("for t in 1 3; do lampblack diff a.yaml b.yaml --frame 1 --threads $t "
                     "--image $t.png --json >$t; done; sed -i s/3.png/1.png/ 3; cmp 1 3 && "
                     "cmp 1.png 3.png && python3 -m json.tool 1"),
                 0, "%s", output);
    expect_line("\"pixels_that_differ\": 15,");
    expect_line("\"largest\": 0.5,\n");
    expect_line("\"mean\": 0.009765625,");
    expect_line("\"factor\": 2");
    expect_line("\"node\": \"red\"");
}
