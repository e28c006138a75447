/* tests/engine/cli/test_report.c: what render tells of its work: --explain, --profile, and what
 * --cache-size bounds. Each test runs in a folder of its own. The form of profiles: "Trace Event
 * Format" (Google, public document), JSON object format. */
#include <criterion/criterion.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[64];
static char output[1 << 20]; /* of the last run: standard output, or error where it failed */

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
    snprintf(command, sizeof command, "rm -rf %s", folder);
    cr_expect_eq(system(command), 0);
}

static int run(const char *words, const char *redirected)
{
    char command[2048];
    FILE *pipe;
    size_t count;
    int status;

    snprintf(command, sizeof command, "%s %s %s", LB_PROGRAM, words, redirected);
    cr_assert_not_null(pipe = popen(command, "r"));
    count = fread(output, 1, sizeof output - 1, pipe);
    output[count] = 0;
    status = pclose(pipe);
    cr_assert(WIFEXITED(status), "'%s' ended by a signal:\n%s", words, output);
    return WEXITSTATUS(status);
}

static void put_graph(void)
{
    FILE *file = fopen("g.yaml", "w");

    cr_assert_not_null(file);
    fputs("lampblack: 1\n"
          "frame: {size: [128, 96], rate: 25, range: [1, 3]}\n"
          "nodes:\n"
          "  sky: {op: gradient, stops: [{color: \"#000000\"}, {color: \"#ff7a1f\"}]}\n"
          "  haze: {op: blur, image: sky, sigma: 8}\n"
          "  warm: {op: exposure, image: haze, stops: {expr: frame * 0.1}}\n"
          "  grade: {op: cdl, image: warm, slope: 1.2}\n"
          "  final: {op: composite, source: grade, backdrop: haze, opacity: 0.5}\n"
          "  idle: {op: exposure, image: final, stops: 1}\n"
          "outputs:\n"
          "  master: {image: final, file: \"out/a.####.exr\"}\n"
          "  review: {image: haze, file: \"out/a.####.png\"}\n",
          file);
    fclose(file);
}

/* Where a line of `output` begins that has all of these words in this order; NULL: none does. */
static const char *find_line(const char *first, const char *second, const char *third)
{
    const char *line = output;

    while (line && *line) {
        size_t length = strcspn(line, "\n");
        const char *a = strstr(line, first), *b = a ? strstr(a, second) : NULL;
        const char *c = b ? strstr(b, third) : NULL;

        if (c && c + strlen(third) <= line + length)
            return line;
        line = line[length] ? line + length + 1 : NULL;
    }
    return NULL;
}

TestSuite(report, .init = enter_folder, .fini = leave_folder, .timeout = 120);

/* Order, what runs as one, pixels and channels, what is not needed; and nothing is made. */
Test(report, explains)
{
    const char *sky, *haze, *warm, *grade, *final;

    put_graph();
    cr_expect_eq(run("render g.yaml --explain --frames 2", "2>&1"), 0, "%s", output);
    cr_expect(find_line("frame 2: 128 x 96;", "5 steps in 3 batches, 3 of them run with others;",
                        "MiB at most"),
              "%s", output);
    sky = find_line(" 1  sky", "gradient", "A B G R");
    haze = find_line(" 2  haze", "blur", "A B G R");
    warm = find_line(" 3  warm", "exposure", "=A B G R");
    grade = find_line(" +  grade", "cdl", "=A B G R");
    final = find_line(" +  final", "composite", "128x96+0+0");
    cr_expect(sky && haze && warm && grade && final, "%s", output);
    cr_expect(sky < haze && haze < warm && warm < grade && grade < final, "%s", output);
    cr_expect(find_line("3 run as one;", "after 2;", "keeps"), "%s", output);
    cr_expect(find_line("not needed: idle", "", ""), "%s", output);
    cr_expect_null(strstr(output, "from the cache"), "%s", output);
    cr_expect_eq(access("out", F_OK), -1, "nothing is written");
    cr_expect_eq(run("render g.yaml --explain --frames 1-3 --outputs review --scale 1/2", "2>&1"),
                 0, "%s", output);
    cr_expect(find_line("frame 1: 64 x 48;", "2 steps in 2 batches, 0 of them", "MiB"), "%s",
              output);
    cr_expect(find_line("frame 3: 64 x 48;", "", ""), "%s", output);
    cr_expect(find_line("not needed: warm, grade, final, idle", "", ""), "%s", output);
}

Test(report, explains_what_is_kept)
{
    put_graph();
    cr_expect_eq(run("render g.yaml --progress none --frames 1 --cache kept", "2>&1"), 0, "%s",
                 output);
    cr_expect_eq(run("render g.yaml --explain --frames 1 --cache kept", "2>&1"), 0, "%s", output);
    cr_expect(find_line("frame 1:", "0 steps in 0 batches", ""), "%s", output);
    cr_expect(find_line("from the cache:", "", ""), "%s", output);
    cr_expect(find_line("disk  haze", "blur", "A B G R"), "%s", output);
    cr_expect(find_line("disk  final", "composite", "A B G R"), "%s", output);
    cr_expect(find_line("not needed: sky, warm, grade, idle", "", ""), "%s", output);
    cr_expect_eq(run("render g.yaml --explain --frames 2 --cache kept", "2>&1"), 0, "%s", output);
    cr_expect(find_line("frame 2:", "3 steps in 1 batch", ""), "%s", output);
    cr_expect(find_line("disk  haze", "blur", "A B G R"), "%s", output);
}

/* Reads profile.json; the list of events, lent by *root. */
static json_t *read_profile(json_t **root)
{
    json_error_t error;
    json_t *events;

    *root = json_load_file("profile.json", JSON_REJECT_DUPLICATES, &error);
    cr_assert_not_null(*root, "line %d: %s", error.line, error.text);
    events = json_object_get(*root, "traceEvents");
    cr_assert(json_is_array(events));
    return events;
}

static const char *text_of(const json_t *event, const char *key)
{
    const char *text = json_string_value(json_object_get(event, key));

    return text ? text : "";
}
static double number_of(const json_t *event, const char *key)
{
    const json_t *number = json_object_get(event, key);

    cr_assert(json_is_number(number), "no '%s'", key);
    return json_number_value(number);
}

/* How many events of that name, category and frame there are. */
static int count_events(const json_t *events, const char *name, const char *category, int frame)
{
    size_t index;
    json_t *event;
    int count = 0;

    json_array_foreach((json_t *)events, index, event)
    {
        const json_t *args = json_object_get(event, "args");

        count += !strcmp(text_of(event, "ph"), "X") && !strcmp(text_of(event, "name"), name) &&
                 !strcmp(text_of(event, "cat"), category) && number_of(args, "frame") == frame;
    }
    return count;
}

/* Two events of one thread are one after the other or one inside the other. The times are printed
 * in thousandths of a microsecond. */
static bool are_apart(const json_t *a, const json_t *b)
{
    double a0 = number_of(a, "ts"), a1 = a0 + number_of(a, "dur");
    double b0 = number_of(b, "ts"), b1 = b0 + number_of(b, "dur");
    double slack = 0.002;

    return number_of(a, "tid") != number_of(b, "tid") || a1 <= b0 + slack || b1 <= a0 + slack ||
           (a0 <= b0 + slack && b1 <= a1 + slack) || (b0 <= a0 + slack && a1 <= b1 + slack);
}

static void check_events(const json_t *events)
{
    size_t i, k;
    json_t *event, *other;
    int threads = 0, counters = 0;

    json_array_foreach((json_t *)events, i, event)
    {
        const char *phase = text_of(event, "ph");

        cr_assert(number_of(event, "pid") == 1);
        cr_assert(!strcmp(phase, "X") || !strcmp(phase, "C") || !strcmp(phase, "M"), "%s", phase);
        threads += !strcmp(text_of(event, "name"), "thread_name");
        if (phase[0] == 'C') {
            counters++;
            cr_assert(number_of(event, "ts") >= 0);
            cr_assert(number_of(json_object_get(event, "args"), "value") >= 0);
        }
        if (phase[0] != 'X')
            continue;
        cr_assert(number_of(event, "ts") >= 0 && number_of(event, "dur") >= 0);
        json_array_foreach((json_t *)events, k,
                           other) if (k > i && !strcmp(text_of(other, "ph"), "X"))
            cr_assert(are_apart(event, other), "%s and %s", text_of(event, "name"),
                      text_of(other, "name"));
    }
    json_array_foreach((json_t *)events, i, event) if (!strcmp(text_of(event, "ph"), "X"))
        cr_assert(number_of(event, "tid") >= 1 && number_of(event, "tid") <= threads);
    cr_expect(counters > 0);
}

Test(report, profiles)
{
    static const char *const words[] = {"--threads 1", "--threads 3", "--threads 7 --memory 64M"};

    put_graph();
    for (int i = 0; i < 3; i++) {
        char command[256];
        json_t *root, *events;

        snprintf(command, sizeof command, "render g.yaml --progress none --profile profile.json %s",
                 words[i]);
        cr_assert_eq(run(command, "2>&1"), 0, "%s", output);
        events = read_profile(&root);
        check_events(events);
        cr_expect_eq(
            json_integer_value(json_object_get(json_object_get(root, "otherData"), "lost_events")),
            0);
        cr_expect_eq(count_events(events, "sky", "node", 1), 1, "made once, for the first frame");
        cr_expect_eq(count_events(events, "haze", "node", 1), 1);
        cr_expect_eq(count_events(events, "haze", "node", 2), 0);
        for (int frame = 1; frame <= 3; frame++) {
            cr_expect_eq(count_events(events, "final", "node", frame), 1, "three as one");
            cr_expect_eq(count_events(events, "idle", "node", frame), 0);
            cr_expect_eq(count_events(events, "master", "encode", frame), 1);
            cr_expect_eq(count_events(events, "master", "write", frame), 1);
            cr_expect_eq(count_events(events, "review", "write", frame), 1);
        }
        json_decref(root);
    }
    cr_expect_eq(run("render g.yaml --progress none --profile no/such/folder.json", "2>&1"), 2,
                 "%s", output);
    cr_expect(strstr(output, "no/such/folder.json"), "%s", output);
}

/* What the pixels that a profile tells of add up to: 128 x 96 floats of four bytes. */
Test(report, profiles_tell_bytes)
{
    json_t *root, *events, *event;
    size_t index;
    int seen = 0;

    put_graph();
    cr_assert_eq(run("render g.yaml --progress none --frames 2 --profile profile.json", "2>&1"), 0,
                 "%s", output);
    events = read_profile(&root);
    json_array_foreach(events, index, event)
    {
        const json_t *args = json_object_get(event, "args");
        const double plane = 128 * 96 * 4;

        if (strcmp(text_of(event, "cat"), "node") != 0)
            continue;
        seen++;
        cr_expect(number_of(args, "made_bytes") == 4 * plane, "%s", text_of(event, "name"));
        cr_expect(number_of(args, "peak_bytes") >= 4 * plane);
        if (!strcmp(text_of(event, "name"), "haze"))
            cr_expect(number_of(args, "read_bytes") == 4 * plane);
        if (!strcmp(text_of(event, "name"), "final")) {
            cr_expect(number_of(args, "fused") == 3);
            cr_expect_str_eq(text_of(args, "op"), "composite");
        }
    }
    cr_expect_eq(seen, 3);
    json_decref(root);
}

/* Bytes of the files under `kept`. */
static long kept_bytes(void)
{
    FILE *pipe =
        popen("find kept -type f -printf '%s\\n' | awk '{s += $1} END {print s + 0}'", "r");
    long bytes = -1;

    cr_assert_not_null(pipe);
    cr_assert_eq(fscanf(pipe, "%ld", &bytes), 1);
    pclose(pipe);
    return bytes;
}

/* Results on disk stay within what is said; the frames are the same. */
Test(report, cache_size)
{
    put_graph();
    cr_assert_eq(run("render g.yaml --progress none --cache kept", "2>&1"), 0, "%s", output);
    cr_expect(kept_bytes() > 500000, "%ld", kept_bytes());
    cr_assert_eq(rename("out", "one"), 0);
    cr_assert_eq(system("rm -r kept"), 0);
    cr_assert_eq(run("render g.yaml --progress none --cache kept --cache-size 300K", "2>&1"), 0,
                 "%s", output);
    cr_expect(kept_bytes() <= 300 << 10, "%ld", kept_bytes());
    cr_expect_eq(system("diff -r one out"), 0);
}

Test(report, refuses)
{
    static const struct {
        const char *words, *says;
    } rows[] = {
        {"render g.yaml --cache-size 0", "--cache-size takes bytes"},
        {"render g.yaml --cache-size many", "--cache-size takes bytes, such as 20G, not 'many'"},
        {"render g.yaml --cache-size", "--cache-size takes bytes, such as 20G"},
        {"render g.yaml --profile", "--profile takes a file"},
        {"render g.yaml --profil x.json", "did you mean '--profile'?"},
        {"render g.yaml --explain=yes", "takes no value"},
    };

    put_graph();
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        cr_expect_eq(run(rows[i].words, "2>&1"), 2, "%s", output);
        cr_expect(strstr(output, rows[i].says), "%s: %s", rows[i].words, output);
    }
    cr_expect_eq(access("out", F_OK), -1);
}
