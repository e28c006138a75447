/* tests/engine/cli/test_reuse.c: parts and versions as a person sees them: what is made once, which
 * files are written. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[64];
static char output[1 << 16]; /* standard error and output of the last command */

static void enter_folder(void)
{
    strcpy(folder, "/tmp/lampblack-reuse-XXXXXX");
    cr_assert_not_null(mkdtemp(folder));
    cr_assert_eq(chdir(folder), 0);
}

static void leave_folder(void)
{
    char command[256];

    cr_assert_eq(chdir("/"), 0);
    snprintf(command, sizeof command, "rm -rf %s", folder);
    cr_expect_eq(system(command), 0);
}

TestSuite(reuse, .init = enter_folder, .fini = leave_folder, .timeout = 120);

static int run(const char *words)
{
    char command[1024];
    FILE *pipe;
    size_t count;
    int status;

    snprintf(command, sizeof command, "%s %s 2>&1", LB_PROGRAM, words);
    cr_assert_not_null(pipe = popen(command, "r"));
    count = fread(output, 1, sizeof output - 1, pipe);
    output[count] = 0;
    status = pclose(pipe);
    cr_assert(WIFEXITED(status), "'%s' ended by a signal:\n%s", command, output);
    return WEXITSTATUS(status);
}

static void write_graph(const char *name, const char *text)
{
    FILE *file = fopen(name, "w");

    cr_assert_not_null(file);
    cr_assert(fputs(text, file) >= 0);
    cr_assert_eq(fclose(file), 0);
}

static int count_of(const char *word)
{
    int count = 0;

    for (const char *at = output; (at = strstr(at, word)); at += strlen(word))
        count++;
    return count;
}

/* Two uses with equal inputs and params are one piece of work; the third differs in a param, and
 * shares what comes before it. */
Test(reuse, equal_uses_compute_once)
{
    write_graph("kit.yaml", "lampblack: 1\n"
                            "parts:\n"
                            "  halo:\n"
                            "    inputs: {image: image}\n"
                            "    params: {wide: 3}\n"
                            "    nodes:\n"
                            "      soft: {op: blur, image: image, sigma: 2}\n"
                            "      wider: {op: blur, image: soft, sigma: {param: wide}}\n"
                            "    result: wider\n");
    write_graph("g.yaml", "lampblack: 1\n"
                          "frame: {size: [64, 36], rate: 25, range: [1, 1]}\n"
                          "include: {kit: kit.yaml, again: kit.yaml}\n"
                          "nodes:\n"
                          "  card: {op: solid, color: \"#ff7a1f\"}\n"
                          "  small: {op: crop, image: card, box: [8, 8, 40, 28]}\n"
                          "  a: {op: part/kit/halo, image: small, wide: {expr: 1 + 1.5}}\n"
                          "  b: {op: part/again/halo, image: small, wide: 2.5}\n"
                          "  c: {op: part/kit/halo, image: small}\n"
                          "  ab: {op: composite, source: a, backdrop: b, operator: lighter}\n"
                          "  out: {op: composite, source: ab, backdrop: c, operator: lighter}\n"
                          "outputs: {o: {image: out, file: out.exr}}\n");
    cr_assert_eq(run("render g.yaml --explain"), 0, "%s", output);
    cr_expect_eq(count_of(" blur "), 3, "%s", output);
    cr_assert_eq(run("render g.yaml --progress none"), 0, "%s", output);
    cr_expect_eq(access("out.exr", F_OK), 0);
}

static const char versions[] = "lampblack: 1\n"
                               "frame: {size: [64, 36], rate: 25, range: [1, 2]}\n"
                               "params: {ember: \"#ff7a1f\"}\n"
                               "versions:\n"
                               "  cold: {params: {ember: \"#1f7aff\"}}\n"
                               "  square: {frame: {size: [36, 36], range: [2, 2]}}\n"
                               "nodes: {card: {op: solid, color: {param: ember}}}\n"
                               "outputs:\n"
                               "  o: {image: card, file: \"out/{version}.#.png\"}\n"
                               "  p: {image: card, file: \"all/card.#.png\"}\n";

static void expect_size(const char *file, const char *size)
{
    char words[100];

    snprintf(words, sizeof words, "info %s", file);
    cr_expect_eq(run(words), 0, "%s", output);
    cr_expect(strstr(output, size), "%s: %s", file, output);
}

Test(reuse, versions_are_written)
{
    write_graph("g.yaml", versions);
    cr_assert_eq(run("render g.yaml --outputs o --progress none"), 0, "%s", output);
    cr_assert_eq(run("render g.yaml --outputs o --version all --progress none"), 0, "%s", output);
    expect_size("out/base.1.png", "64 x 36");
    expect_size("out/cold.2.png", "64 x 36");
    expect_size("out/square.2.png", "36 x 36");
    cr_expect_eq(access("out/square.1.png", F_OK), -1);
    cr_assert_eq(run("render g.yaml --version cold --progress none"), 0, "%s", output);
    cr_expect_eq(access("all/card.1.png", F_OK), 0);
}

/* Before anything is rendered. */
Test(reuse, versions_that_meet)
{
    write_graph("g.yaml", versions);
    cr_expect_eq(run("render g.yaml --version all --progress none"), 1);
    cr_expect(strstr(output, "g.yaml:10:26: error: versions 'cold' and 'square' write the same "
                             "files; put {version} into the pattern\n"),
              "%s", output);
    cr_expect_eq(access("out", F_OK), -1);
    cr_assert_eq(run("render g.yaml --version all --outputs o --progress none"), 0, "%s", output);
    cr_expect_eq(run("render g.yaml --version colt"), 1);
    cr_expect(strstr(output, "version colt: the graph has no such version; did you mean 'cold'?"),
              "%s", output);
    cr_expect_eq(run("--version"), 0);
    cr_expect_eq(strncmp(output, "lampblack ", 10), 0);
}

Test(reuse, check_looks_at_all_versions)
{
    write_graph("g.yaml", "lampblack: 1\n"
                          "frame: {size: [64, 36], rate: 25, range: [1, 2]}\n"
                          "params: {map: a.png, gain: 1}\n"
                          "versions: {x: {params: {gain: -1}}, y: {params: {map: b.png}}}\n"
                          "nodes: {m: {op: image, file: {param: map}},\n"
                          "  out: {op: glow, image: m, gain: {param: gain}}}\n"
                          "outputs: {o: {image: out, file: o.#.exr}}\n");
    cr_expect_eq(run("check g.yaml"), 2, "a file is not there");
    cr_expect(strstr(output, "'gain' is -1"), "%s", output);
    cr_expect_eq(count_of("note: in version 'x'"), 1, "%s", output);
    cr_expect_eq(count_of("note: in version 'y'"), 1, "%s", output);
    cr_expect_eq(count_of("'a.png' is not there"), 1, "%s", output);
    cr_expect_eq(run("check g.yaml --version y"), 2);
    cr_expect(strstr(output, "b.png"), "%s", output);
    cr_expect(strstr(output, "note: in version 'y'"), "%s", output);
}
