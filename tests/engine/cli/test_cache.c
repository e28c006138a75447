/* tests/engine/cli/test_cache.c: results kept on disk as a person sees them: keys that follow the
 * content and nothing else, edits that make again what hangs on them, lampblack cache. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[64];
static char output[1 << 20]; /* standard error and output of the last command */

static void enter_folder(void)
{
    strcpy(folder, "/tmp/lampblack-cache-XXXXXX");
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

TestSuite(kept, .init = enter_folder, .fini = leave_folder, .timeout = 120);

/* Answers the command's exit status; what it printed is in `output`. */
static int shell(const char *command)
{
    FILE *pipe = popen(command, "r");
    size_t count;
    int status;

    cr_assert_not_null(pipe);
    count = fread(output, 1, sizeof output - 1, pipe);
    output[count] = 0;
    status = pclose(pipe);
    cr_assert(WIFEXITED(status), "'%s' ended by a signal:\n%s", command, output);
    return WEXITSTATUS(status);
}

/* Runs "BEFORE lampblack WORDS". */
static int run(const char *before, const char *words)
{
    char command[1024];

    snprintf(command, sizeof command, "%s %s %s 2>&1", before, LB_PROGRAM, words);
    return shell(command);
}

/* A scene file, textures, a picture that moves, and what is done to the render; every picture is an
 * output, so that each is kept however quickly it was made. */
static const char graph[] =
    "lampblack: 1\n"
    "frame: {size: [64, 36], rate: 30, range: [1, 3]}\n"
    "params: {gain: 1, bend: 9}\n"
    "nodes:\n"
    "  model: {op: scene, file: assets/model.gltf}\n"
    "  paint: {op: image, file: assets/paint.png, space: srgb}\n"
    "  paint-map: {op: uv, image: paint, wrap: repeat}\n"
    "  clay: {op: material, diffuse-map: paint-map}\n"
    "  pot: {op: sphere, radius: 1, position: [0, 0, -4], material: clay}\n"
    "  lamp: {op: light, type: point, position: [{keys: {1: -1, 3: 1}}, 2, 0], decay: none}\n"
    "  stage: {op: group, items: [model, pot, lamp]}\n"
    "  eye: {op: camera, position: [0, 0, 2], target: [0, 0, -4]}\n"
    "  beauty: {op: render, scene: stage, camera: eye, samples: 4, shutter: 180}\n"
    "  soft: {op: blur, image: beauty, sigma: 1.5}\n"
    "  air: {op: shimmer, image: soft, strength: {param: bend}, scale: 20}\n"
    "  backdrop: {op: gradient, type: linear, from: [0, 0], to: [64, 0], stops: [{at: 0, color: "
    "\"#000000\"}, {at: 1, color: \"#ff7a1f\"}]}\n"
    "  graded: {op: cdl, image: air, slope: [{param: gain}, 1, 1]}\n"
    "  over: {op: composite, source: graded, backdrop: backdrop}\n"
    "outputs:\n"
    "  o1: {image: beauty, file: \"out/beauty.####.exr\"}\n"
    "  o2: {image: soft, file: \"out/soft.####.exr\"}\n"
    "  o3: {image: air, file: \"out/air.####.exr\"}\n"
    "  o4: {image: backdrop, file: \"out/backdrop.####.exr\"}\n"
    "  o5: {image: graded, file: \"out/graded.####.exr\"}\n"
    "  o6: {image: over, file: \"out/over.####.exr\"}\n";
static const char *const pictures[] = {"beauty", "soft", "air", "backdrop", "graded", "over"};
#define PICTURES 6

static void put_job(const char *where)
{
    char command[1024], path[128];
    FILE *file;

    snprintf(command, sizeof command,
             "mkdir -p %s/assets && cp %s/gltf/samples/Triangle/glTF/Triangle.gltf "
             "%s/assets/model.gltf && cp %s/gltf/samples/Triangle/glTF/*.bin %s/assets && "
             "cp %s/png/primary/basn2c08.png %s/assets/paint.png",
             where, LB_TEST_DATA, where, LB_TEST_DATA, where, LB_TEST_DATA, where);
    cr_assert_eq(shell(command), 0, "%s", output);
    snprintf(path, sizeof path, "%s/job.yaml", where);
    cr_assert_not_null(file = fopen(path, "w"));
    fputs(graph, file);
    fclose(file);
}

/* A figure of a node in the last run's summary; -1: there is none. */
static int figure(const char *node, const char *name)
{
    char words[128];
    const char *at;

    snprintf(words, sizeof words, "\"node\":\"%s\"", node);
    if (!(at = strstr(output, words)))
        return -1;
    snprintf(words, sizeof words, "\"%s\":", name);
    at = strstr(at, words);
    return at ? atoi(at + strlen(words)) : -1;
}

/* Checks how often each picture was made; `made` in the order of `pictures`. */
static void expect_made(const int made[PICTURES], const char *when)
{
    for (int i = 0; i < PICTURES; i++)
        cr_expect_eq(figure(pictures[i], "evaluated"), made[i], "%s: %s: %d", when, pictures[i],
                     figure(pictures[i], "evaluated"));
}

/* The same job in another folder, of another age, under another name, with another environment,
 * other threads, and run from elsewhere: every picture of every frame comes from the folder that
 * the first one filled, and is the same. Other content is other. */
Test(kept, keys_follow_the_content)
{
    static const int all[PICTURES] = {3, 3, 3, 1, 3, 3}, none[PICTURES] = {0};

    put_job("one");
    put_job("far/away");
    cr_assert_eq(shell("mv far/away/job.yaml far/away/renamed.yaml; "
                       "find far -exec touch -d '2001-02-03' {} +"),
                 0);
    cr_assert_eq(run("cd one &&", "render job.yaml --cache ../kept --progress json --threads 1"), 0,
                 "%s", output);
    expect_made(all, "first");
    cr_assert_eq(run("TZ=Asia/Tokyo LANG=C HOME=/nowhere",
                     "render far/away/renamed.yaml --cache kept --progress json --threads 3"),
                 0, "%s", output);
    expect_made(none, "elsewhere");
    for (int i = 0; i < PICTURES; i++)
        cr_expect_geq(figure(pictures[i], "reused"), 1, "%s", pictures[i]);
    cr_expect_eq(figure("model", "evaluated") + figure("paint", "evaluated"), 0);
    cr_expect_eq(shell("diff -r one/out far/away/out"), 0, "%s", output);
    cr_assert_eq(shell("cp -p far/away/assets/paint.png keep.png; cp " LB_TEST_DATA
                       "/png/primary/basn0g08.png far/away/assets/paint.png; touch -r keep.png "
                       "far/away/assets/paint.png"),
                 0);
    cr_assert_eq(run("", "render far/away/renamed.yaml --cache kept --progress json"), 0, "%s",
                 output);
    expect_made((const int[PICTURES]){3, 3, 3, 0, 3, 3}, "another texture of the same age");
}

/* Edits make again what hangs on them, and nothing else. */
Test(kept, edits_make_what_hangs_on_them)
{
    put_job("job");
    cr_assert_eq(run("cd job &&", "render job.yaml --cache ../kept --progress json"), 0, "%s",
                 output);
    expect_made((const int[PICTURES]){3, 3, 3, 1, 3, 3}, "first");
    cr_assert_eq(
        run("cd job &&", "render job.yaml --cache ../kept --progress json --set gain=1.25"), 0,
        "%s", output);
    expect_made((const int[PICTURES]){0, 0, 0, 0, 3, 3}, "the grade");
    cr_expect_eq(figure("model", "evaluated"), 0);
    cr_expect_eq(figure("stage", "evaluated"), 0);
    cr_assert_eq(
        run("cd job &&", "render job.yaml --cache ../kept --progress json --set bend=5 --frames 2"),
        0, "%s", output);
    expect_made((const int[PICTURES]){0, 0, 1, 0, 1, 1}, "the hot air");
    cr_assert_eq(run("cd job &&", "render job.yaml --cache ../kept --progress json"), 0, "%s",
                 output);
    expect_made((const int[PICTURES]){0}, "the first again");
    cr_assert_eq(shell("sed -i 's/sigma: 1.5/sigma: 2/' job/job.yaml"), 0);
    cr_assert_eq(run("cd job &&", "render job.yaml --cache ../kept --progress json --frames 1,3"),
                 0, "%s", output);
    expect_made((const int[PICTURES]){0, 2, 2, 0, 2, 2}, "the blur");
}

/* ---- lampblack cache ---- */

static int count_entries(void)
{
    cr_assert_eq(shell("find kept -name '*.plane' | wc -l"), 0);
    return atoi(output);
}

Test(kept, command_shows)
{
    char words[128];
    int entries;

    put_job("job");
    cr_assert_eq(run("", "render job/job.yaml --cache kept --progress none"), 0, "%s", output);
    entries = count_entries();
    cr_expect_geq(entries, 16, "six pictures of three frames, one of which is still");
    cr_expect_eq(run("", "cache kept"), 0);
    snprintf(words, sizeof words, "kept: %d entries, ", entries);
    cr_expect_not_null(strstr(output, words), "%s", output);
    cr_expect_not_null(strstr(output, "last used from 20"), "%s", output);
    cr_expect_null(strstr(output, "damaged"));
    cr_assert_eq(shell("f=$(find kept -name '*.plane' | head -1); touch -d '2020-03-01T12:00:00Z' "
                       "$f; touch $(dirname $f)/.0123456789abcdef0123456789abcd.plane.1-2.part"),
                 0);
    cr_expect_eq(run("", "cache kept --json --verify"), 0, "%s", output);
    snprintf(words, sizeof words, "{\"folder\":\"kept\",\"entries\":%d,\"bytes\":", entries);
    cr_expect_not_null(strstr(output, words), "%s", output);
    cr_expect_not_null(strstr(output, "\"oldest_use\":\"2020-03-01T12:00:00Z\""), "%s", output);
    cr_expect_not_null(strstr(output, "\"unfinished\":1,\"unfinished_bytes\":0,\"damaged\":0}"),
                       "%s", output);
    cr_assert_eq(shell("f=$(find kept -name '*.plane' | tail -1); "
                       "printf x | dd of=$f bs=1 seek=5000 conv=notrunc status=none"),
                 0);
    cr_expect_eq(run("", "cache kept"), 0, "a look at names tells nothing of it");
    cr_expect_eq(run("", "cache kept --verify"), 1, "%s", output);
    cr_expect_not_null(strstr(output, ".plane: damaged, or of another version\n"), "%s", output);
    cr_expect_not_null(strstr(output, "  damaged: 1\n"), "%s", output);
    cr_expect_eq(count_entries(), entries, "showing removes nothing");
}

Test(kept, command_limits_and_clears)
{
    put_job("job");
    cr_assert_eq(run("", "render job/job.yaml --cache kept --progress none"), 0, "%s", output);
    cr_assert_eq(shell("echo mine > kept/notes; mkdir kept/ab kept/mine; echo mine > kept/ab/x; "
                       "cp $(find kept -name '*.plane' | head -1) kept/mine/"),
                 0);
    cr_expect_eq(run("", "cache kept --limit 100k"), 0, "%s", output);
    cr_expect_not_null(strstr(output, "removed "), "%s", output);
    cr_assert_eq(run("", "cache kept --json"), 0);
    cr_expect_leq(atoi(strstr(output, "\"bytes\":") + 8), 100 << 10, "%s", output);
    cr_expect_geq(atoi(strstr(output, "\"entries\":") + 10), 1, "%s", output);
    cr_expect_eq(run("", "cache kept --clear"), 0, "%s", output);
    cr_expect_not_null(strstr(output, "kept: 0 entries, 0 bytes"), "%s", output);
    cr_expect_eq(shell("find kept -type f | sort"), 0);
    cr_expect_not_null(strstr(output, "kept/ab/x\nkept/mine/"), "%s", output);
    cr_expect_not_null(strstr(output, "kept/notes\n"), "%s", output);
    cr_expect_eq(count_entries(), 1, "the copy in a folder that is not ours");
    cr_assert_eq(run("", "render job/job.yaml --cache kept --progress none"), 0, "%s", output);
    cr_expect_geq(count_entries(), 17, "filled again");
}

Test(kept, command_refuses)
{
    cr_expect_eq(run("", "cache"), 2);
    cr_expect_not_null(strstr(output, "usage: lampblack cache DIR"), "%s", output);
    cr_expect_eq(run("", "cache none"), 2);
    cr_expect_not_null(strstr(output, "'none' cannot be read"), "%s", output);
    cr_assert_eq(shell("touch file; mkdir empty"), 0);
    cr_expect_eq(run("", "cache file --clear"), 2);
    cr_expect_not_null(strstr(output, "'file' is not a folder"), "%s", output);
    cr_expect_eq(run("", "cache empty --limit lots"), 2);
    cr_expect_eq(run("", "cache empty --clear --limit 1G"), 2);
    cr_expect_eq(run("", "cache empty --claer"), 2);
    cr_expect_not_null(strstr(output, "did you mean '--clear'?"), "%s", output);
    cr_expect_eq(run("", "cache empty file"), 2);
    cr_expect_eq(run("", "cache empty --verify"), 0);
    cr_expect_not_null(strstr(output, "empty: 0 entries, 0 bytes\n  damaged: 0\n"), "%s", output);
    cr_expect_eq(shell("ls empty"), 0);
    cr_expect_str_empty(output);
}
