/* tests/engine/cli/test_program.c: the program as a person uses it: exit status, messages, whole
 * frames. Each test runs in a folder of its own. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[64];
static char output[1 << 20]; /* standard error and output of the last run */

static void enter_folder(void)
{
    strcpy(folder, "/tmp/lampblack-test-XXXXXX");
    cr_assert_not_null(mkdtemp(folder));
    cr_assert_eq(chdir(folder), 0);
}

static void leave_folder(void)
{
    char command[256];

    cr_assert_eq(chdir("/"), 0);
    snprintf(command, sizeof command, "chmod -R u+w %s; rm -rf %s", folder, folder);
    cr_expect_eq(system(command), 0);
}

static void put(const char *name, const char *text)
{
    FILE *file = fopen(name, "w");

    cr_assert_not_null(file);
    fputs(text, file);
    fclose(file);
}

/* Runs "lampblack WORDS" and answers its exit status; what it printed is in `output`. */
static int run(const char *words)
{
    char command[2048];
    FILE *pipe;
    size_t count;
    int status;

    snprintf(command, sizeof command, "%s %s 2>&1", LB_PROGRAM, words);
    cr_assert_not_null(pipe = popen(command, "r"));
    count = fread(output, 1, sizeof output - 1, pipe);
    output[count] = 0;
    status = pclose(pipe);
    cr_assert(WIFEXITED(status), "'%s' ended by a signal:\n%s", words, output);
    return WEXITSTATUS(status);
}

static int count_files(const char *path)
{
    DIR *dir = opendir(path);
    struct dirent *entry;
    int count = 0;

    while (dir && (entry = readdir(dir)))
        count += entry->d_name[0] != '.' || strstr(entry->d_name, ".part") != NULL;
    if (dir)
        closedir(dir);
    return count;
}

static const char good[] =
    "lampblack: 1\n"
    "frame: {size: [64, 36], rate: 30, range: [1, 6]}\n"
    "nodes:\n"
    "  sky: {op: gradient, type: linear, from: [0, 0], to: [64, 0], stops: [{at: 0, "
    "color: \"#000000\"}, {at: 1, color: \"#ff7a1f\"}]}\n"
    "  soft: {op: blur, image: sky, sigma: {keys: {1: 0, 6: 4}}}\n"
    "outputs:\n"
    "  master: {image: soft, file: \"out/a.####.exr\"}\n"
    "  review: {image: soft, file: \"out/a.####.png\"}\n";

TestSuite(program, .init = enter_folder, .fini = leave_folder);

Test(program, renders)
{
    put("g.yaml", good);
    cr_expect_eq(run("render g.yaml --progress none"), 0, "%s", output);
    cr_expect_str_empty(output);
    cr_expect_eq(count_files("out"), 12);
    cr_expect_eq(access("out/a.0006.png", R_OK), 0);
    cr_expect_eq(run("check g.yaml"), 0, "%s", output);
}

Test(program, chooses_frames_outputs_scale_shards)
{
    put("g.yaml", good);
    cr_expect_eq(run("render g.yaml --frames 2-3,6 --outputs review --scale 1/2"), 0, "%s", output);
    cr_expect_eq(count_files("out"), 3);
    cr_expect_eq(run("info out/a.0002.png"), 0);
    cr_expect_not_null(strstr(output, "32 x 18"), "%s", output);
    cr_expect_eq(run("render g.yaml --shard 1/3 --outputs master"), 0, "%s", output);
    cr_expect_eq(access("out/a.0002.exr", R_OK), 0);
    cr_expect_eq(access("out/a.0003.exr", R_OK), -1);
    cr_expect_eq(run("render g.yaml --shard 3/3 --outputs master"), 0, "%s", output);
    cr_expect_eq(access("out/a.0005.exr", R_OK), 0);
    cr_expect_eq(access("out/a.0003.exr", R_OK), -1);
}

/* The same bytes for any number of threads. */
Test(program, threads)
{
    put("g.yaml", good);
    cr_expect_eq(run("render g.yaml --progress none --threads 1"), 0, "%s", output);
    cr_assert_eq(rename("out", "one"), 0);
    cr_expect_eq(run("render g.yaml --progress none --threads 2"), 0, "%s", output);
    cr_expect_eq(system("diff -r one out"), 0);
    cr_assert_eq(system("rm -r out"), 0);
    cr_expect_eq(run("render g.yaml --progress none --threads 7"), 0, "%s", output);
    cr_expect_eq(system("diff -r one out"), 0);
}

/* A second run with a warm cache makes no node again; changing one parameter makes what hangs on
 * it. */
Test(program, warm_cache)
{
    put("g.yaml", good);
    cr_expect_eq(run("render g.yaml --cache kept --progress json"), 0, "%s", output);
    cr_expect_not_null(strstr(output, "\"node\":\"soft\",\"op\":\"blur\",\"evaluated\":6"), "%s",
                       output);
    cr_assert_eq(rename("out", "one"), 0);
    cr_expect_eq(run("render g.yaml --cache kept --progress json"), 0, "%s", output);
    cr_expect_not_null(
        strstr(output, "\"node\":\"soft\",\"op\":\"blur\",\"evaluated\":0,\"reused\":6"), "%s",
        output);
    cr_expect_not_null(strstr(output, "\"node\":\"sky\",\"op\":\"gradient\",\"evaluated\":0"), "%s",
                       output);
    cr_expect_eq(system("diff -r one out"), 0);
}

Test(program, set)
{
    put("g.yaml",
        "lampblack: 1\nframe: {size: [8, 8], rate: 24, range: [1, 1]}\nparams: {glow: 0.5}\n"
        "nodes:\n  a: {op: solid, color: [{param: glow}, 0, 0]}\n"
        "outputs:\n  o: {image: a, file: o.exr, depth: float}\n");
    cr_expect_eq(run("render g.yaml --progress none --set glow=0.25"), 0, "%s", output);
    cr_expect_eq(run("info o.exr"), 0);
    cr_expect_not_null(strstr(output, "0.25"), "%s", output);
    cr_expect_eq(run("render g.yaml --set glwo=0.25"), 1);
    cr_expect_not_null(strstr(output, "'glow'"), "%s", output);
}

#define FRAME "lampblack: 1\nframe: {size: [8, 8], rate: 24, range: [1, 1]}\n"

/* Bad input: a message that says what and where, and the right status. */
Test(program, refuses)
{
    static const struct {
        const char *text; /* NULL: no graph is written */
        const char *words;
        int status;
        const char *message;
    } cases[] = {
        {NULL, "render none.yaml", 2, "none.yaml"},
        {good, "render g.yaml --frmaes 1", 2, "did you mean '--frames'?"},
        {good, "render g.yaml --frames 5-2", 2, "5-2"},
        {good, "rendr g.yaml", 2, "did you mean 'render'?"},
        {good, "render g.yaml --outputs msater", 1, "no output 'msater'"},
        {good, "ops blurr", 1, "did you mean 'blur'?"},
        {FRAME "nodes:\n  a: {op: blurr}\noutputs:\n  o: {image: a, file: o.png}\n", "check g.yaml",
         1, "g.yaml:4:11: error: "},
        {FRAME "nodes:\n  a: {op: solid, colour: \"#fff\"}\noutputs:\n  o: {image: a, "
               "file: "
               "o.png}\n",
         "check g.yaml", 1, "g.yaml:4:18: error: "},
        {FRAME "nodes:\n  a: {op: blur, image: b}\n  b: {op: blur, image: a}\noutputs:\n  "
               "o: "
               "{image: a, file: o.png}\n",
         "check g.yaml", 1, "cycle"},
        {FRAME "nodes:\n  a: {op: image, file: gone.png}\noutputs:\n  o: {image: a, file: "
               "o.png}\n",
         "render g.yaml", 2, "gone.png"},
        {FRAME "nodes:\n  a: {op: solid, color: 7}\noutputs:\n  o: {image: a, file: "
               "o.png}\n",
         "check g.yaml", 1, "g.yaml:4:25: error: "},
        {FRAME "nodes:\n  a: {op: sphere}\noutputs:\n  o: {image: a, file: o.png}\n",
         "check g.yaml", 1, "a scene"},
        {"lampblack: 1\nframe: {size: [8, 8], rate: 24, range: [1, 9]}\nnodes:\n  a: {op: "
         "solid}\noutputs:\n  o: {image: "
         "a, "
         "file: o.png}\n",
         "render g.yaml", 1, "####"},
        {FRAME "nodes:\n  a: {op: solid}\noutputs:\n  o: {image: a.depth, file: o.png}\n",
         "render g.yaml", 1, "no layer 'depth'"},
    };

    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        if (cases[i].text)
            put("g.yaml", cases[i].text);
        cr_expect_eq(run(cases[i].words), cases[i].status, "case %zu: %s", i, output);
        cr_expect_not_null(strstr(output, cases[i].message), "case %zu: %s", i, output);
    }
    cr_expect_eq(count_files("out"), 0, "nothing is written");
}

/* Outputs that cannot be written: a file where the folder should be; a limit on the file's size, as
 * a full disk shows itself. Nothing half-written under a final name, no temporary left. */
Test(program, cannot_write)
{
    put("g.yaml", good);
    put("out", "in the way");
    cr_expect_eq(run("render g.yaml --progress none"), 2, "%s", output);
    cr_expect_not_null(strstr(output, "out"), "%s", output);
    cr_assert_eq(unlink("out"), 0);
    cr_expect_neq(system("ulimit -f 1; exec " LB_PROGRAM " render g.yaml --progress none 2>err"),
                  0);
    cr_expect_eq(system("grep -q 'g.yaml:7' err || grep -q 'g.yaml:8' err"), 0,
                 "the message has a place");
    for (int i = 1; i <= 6; i++) {
        char name[64];
        struct stat info;

        snprintf(name, sizeof name, "info out/a.%04d.exr", i);
        if (stat(name + 5, &info) == 0)
            cr_expect_eq(run(name), 0, "what is there is whole: %s", output);
    }
    cr_expect_eq(system("ls -A out | grep -q part"), 256, "no temporary is left");
}

/* Interrupted at any moment from the first file on (a shell lets what it runs in the background
 * ignore SIGINT until it asks for it): what is there under its final name is whole. */
Test(program, interrupted, .timeout = 120)
{
    char script[1024];

    put("g.yaml", "lampblack: 1\nframe: {size: [1280, 720], rate: 30, range: [1, 400]}\n"
                  "nodes:\n  a: {op: solid, color: [0.2, 0.1, 0.05]}\n"
                  "  b: {op: blur, image: a, sigma: {keys: {1: 2, 400: 9}}}\n"
                  "outputs:\n  o: {image: b, file: \"out/b.####.exr\"}\n");
    for (int i = 0; i < 4; i++) {
        int found;

        snprintf(
            script, sizeof script,
            "%s render g.yaml --progress none 2>err & pid=$!; until ls out/*.exr >/dev/null 2>&1; "
            "do kill -0 $pid || exit 0; sleep 0.02; done; sleep 0.%d; kill -%s $pid; wait $pid",
            LB_PROGRAM, 2 * i, i % 2 ? "TERM" : "INT");
        put("go", script);
        cr_expect_neq(system("bash go"), 0);
        found = count_files("out");
        cr_expect_lt(found, 400);
        cr_expect_eq(system("ls -A out | grep -q part"), 256, "no temporary is left");
        if (found > 0)
            cr_expect_eq(run("info out/*.exr >/dev/null"), 0, "%s", output);
        if (system("rm -rf out") != 0)
            cr_expect_fail();
    }
}
