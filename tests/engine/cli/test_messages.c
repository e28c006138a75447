/* tests/engine/cli/test_messages.c: what `lampblack check` says, to people and to programs. The
 * form is the project's own; colour: no-color.org; JSON: RFC 8259, read by jansson. */
#include <criterion/criterion.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static char folder[64];
static char output[1 << 20];

static void enter_folder(void)
{
    strcpy(folder, "/tmp/lampblack-test-XXXXXX");
    cr_assert_not_null(mkdtemp(folder));
    cr_assert_eq(chdir(folder), 0);
}

static void leave_folder(void)
{
    char command[128];

    cr_assert_eq(chdir("/"), 0);
    snprintf(command, sizeof command, "rm -rf %s", folder);
    cr_expect_eq(system(command), 0);
}

/* Exit status of a shell's command line; its standard output is in `output`. */
static int run(const char *line)
{
    FILE *pipe = popen(line, "r");
    int status;

    cr_assert_not_null(pipe);
    output[fread(output, 1, sizeof output - 1, pipe)] = 0;
    status = pclose(pipe);
    cr_assert(WIFEXITED(status), "'%s' ended by a signal:\n%s", line, output);
    return WEXITSTATUS(status);
}

static void put(const char *text)
{
    FILE *file = fopen("g.yaml", "w");

    cr_assert_not_null(file);
    fputs(text, file);
    fclose(file);
}

TestSuite(messages, .init = enter_folder, .fini = leave_folder);

static const char faulty[] =
    "lampblack: 1\n"
    "frame: {size: [64, 36], rate: 25, range: [1, 9]}\n"
    "params:\n"
    "  warmth: 2\n"
    "  heat: {expr: wramth * 2}\n"
    "nodes:\n"
    "  base: {op: solid, color: \"#fff\"}\n"
    "  odd: {op: blurr, image: base, sigma: wide}\n"
    "  hot: {op: glow, image: odd, gain: {param: heat}}\n"
    "  base: {op: solid}\n"
    "  dim:\n"
    "    op: exposure\n"
    "    image: hot\n"
    "    stops:\n"
    "      expr: >\n"
    "        frame *\n"
    "        (1 + 窯 * 2)\n"
    "  late: {op: exposure, image: bsae, stops: {keys: {1: 0, 1: 2}}}\n"
    "  cold: {op: exposure, image: late, stops: {expr: \"1 / (frame - 4)\"}}\n"
    "outputs:\n"
    "  o: {image: dim, file: 'o.####.exr', depth: half}\n"
    "  p: {image: hto, file: 'p.####.exr', range: [5, 2]}\n";

static const char told[] =
    "g.yaml:5:16: error: unknown name 'wramth'; did you mean 'warmth'?\n"
    "    5 |   heat: {expr: wramth * 2}\n"
    "      |                ^~~~~~\n"
    "g.yaml:8:13: error: unknown operator 'blurr'; did you mean 'blur'?\n"
    "    8 |   odd: {op: blurr, image: base, sigma: wide}\n"
    "      |             ^~~~~\n"
    "g.yaml:10:3: error: 'base' is given twice\n"
    "   10 |   base: {op: solid}\n"
    "      |   ^~~~\n"
    "g.yaml:7:3: note: first here\n"
    "    7 |   base: {op: solid, color: \"#fff\"}\n"
    "      |   ^~~~\n"
    "g.yaml:17:14: error: '窯' has no meaning in an expression\n"
    "   17 |         (1 + 窯 * 2)\n"
    "      |              ^~\n"
    "g.yaml:18:31: error: unknown node 'bsae'; did you mean 'base'?\n"
    "   18 |   late: {op: exposure, image: bsae, stops: {keys: {1: 0, 1: 2}}}\n"
    "      |                               ^~~~\n"
    "g.yaml:18:58: error: '1' is given twice\n"
    "   18 |   late: {op: exposure, image: bsae, stops: {keys: {1: 0, 1: 2}}}\n"
    "      |                                                          ^\n"
    "g.yaml:18:52: note: first here\n"
    "   18 |   late: {op: exposure, image: bsae, stops: {keys: {1: 0, 1: 2}}}\n"
    "      |                                                    ^\n"
    "g.yaml:19:51: error: 'stops' is .inf; it goes from -64 to 64\n"
    "   19 |   cold: {op: exposure, image: late, stops: {expr: \"1 / (frame - 4)\"}}\n"
    "      |                                                   ^~~~~~~~~~~~~~~~~\n"
    "g.yaml:19:54: note: it becomes .inf here at frame 4\n"
    "   19 |   cold: {op: exposure, image: late, stops: {expr: \"1 / (frame - 4)\"}}\n"
    "      |                                                      ^\n"
    "g.yaml:22:14: error: unknown node 'hto'; did you mean 'hot'?\n"
    "   22 |   p: {image: hto, file: 'p.####.exr', range: [5, 2]}\n"
    "      |              ^~~\n"
    "g.yaml:22:46: error: 'range' takes the first and the last frame, whole numbers in this order\n"
    "   22 |   p: {image: hto, file: 'p.####.exr', range: [5, 2]}\n"
    "      |                                              ^~~~~~\n";

/* Every fault once, in the file's order, whatever follows from it left out; a name that is near, a
 * note to what it clashes with, the frame at which a value goes wrong. */
Test(messages, of_a_graph_with_many_faults)
{
    put(faulty);
    cr_expect_eq(run(LB_PROGRAM " check g.yaml 2>&1 >/dev/null"), 1);
    cr_expect_str_eq(output, told, "%s", output);
}

static const char *word(const json_t *message, const char *key)
{
    const char *text = json_string_value(json_object_get(message, key));

    return text ? text : "(none)";
}

static int number(const json_t *message, const char *place, const char *key)
{
    return (int)json_integer_value(json_object_get(json_object_get(message, place), key));
}

static json_t *read_output(void)
{
    json_error_t error;
    json_t *all = json_loads(output, JSON_REJECT_DUPLICATES, &error);

    cr_assert(json_is_array(all), "%s\n%s", error.text, output);
    return all;
}

/* The same as JSON, made text again: nothing is lost. Standard error is silent. */
Test(messages, as_json)
{
    char text[8192] = "";
    json_t *all, *one, *note;
    size_t i, k;

    put(faulty);
    cr_expect_eq(run(LB_PROGRAM " check --json g.yaml 2>err"), 1);
    cr_expect_eq(access("err", R_OK), 0);
    all = read_output();
    json_array_foreach(all, i, one)
    {
        size_t length = strlen(text);

        snprintf(text + length, sizeof text - length, "%s:%d:%d: %s: %s\n", word(one, "file"),
                 number(one, "begin", "line"), number(one, "begin", "column"),
                 word(one, "severity"), word(one, "message"));
        json_array_foreach(json_object_get(one, "notes"), k, note)
        {
            length = strlen(text);
            snprintf(text + length, sizeof text - length, "%s:%d:%d: note: %s\n",
                     word(note, "file"), number(note, "begin", "line"),
                     number(note, "begin", "column"), word(note, "message"));
        }
        cr_expect(number(one, "end", "byte") > number(one, "begin", "byte"));
    }
    json_decref(all);
    put(told); /* without the lines of the file */
    cr_expect_eq(run("grep -v '^ ' g.yaml"), 0);
    cr_expect_str_eq(text, output, "%s", text);
    cr_expect_eq(run("cat err"), 0);
    cr_expect_str_empty(output);
}

#define FRAME "lampblack: 1\nframe: {size: [64, 36], rate: 25, range: [1, 9]}\n"

Test(messages, as_json_of_good_graphs_and_lost_ones)
{
    json_t *all;

    put(FRAME "nodes: {a: {op: solid}}\noutputs: {o: {image: a, file: 'o.####.exr'}}\n");
    cr_expect_eq(run(LB_PROGRAM " check --json g.yaml"), 0);
    cr_expect_str_eq(output, "[]\n");
    put(FRAME "params: {spare: 1}\n"
              "nodes: {a: {op: solid}}\noutputs: {o: {image: a, file: 'o.####.exr'}}\n");
    cr_expect_eq(run(LB_PROGRAM " check --json g.yaml"), 0);
    all = read_output();
    cr_expect_eq(json_array_size(all), 1);
    cr_expect_str_eq(word(json_array_get(all, 0), "severity"), "warning");
    cr_expect_eq(number(json_array_get(all, 0), "begin", "line"), 3);
    json_decref(all);
    cr_expect_eq(run(LB_PROGRAM " check --json none.yaml"), 2);
    all = read_output();
    cr_expect_eq(json_array_size(all), 1);
    cr_expect_str_eq(word(json_array_get(all, 0), "file"), "none.yaml");
    cr_expect(json_is_null(json_object_get(json_array_get(all, 0), "begin")));
    json_decref(all);
}

/* `script`, of util-linux, runs a program on a terminal. */
Test(messages, colour_on_a_terminal_only)
{
    static const struct {
        const char *line;
        bool is_colored;
    } rows[] = {
        {"env -u NO_COLOR TERM=xterm script -qec '" LB_PROGRAM " check g.yaml' /dev/null", true},
        {"env NO_COLOR= TERM=xterm script -qec '" LB_PROGRAM " check g.yaml' /dev/null", true},
        {"env -u NO_COLOR -u TERM script -qec '" LB_PROGRAM " check g.yaml' /dev/null", true},
        {"env NO_COLOR=1 TERM=xterm script -qec '" LB_PROGRAM " check g.yaml' /dev/null", false},
        {"env -u NO_COLOR TERM=dumb script -qec '" LB_PROGRAM " check g.yaml' /dev/null", false},
        {"env -u NO_COLOR TERM=xterm script -qec '" LB_PROGRAM
         " check g.yaml 2>&1 | cat' /dev/null",
         false},
        {"env -u NO_COLOR TERM=xterm " LB_PROGRAM " check g.yaml 2>&1", false},
    };

    put(faulty);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        run(rows[i].line);
        cr_expect_not_null(strstr(output, "unknown name 'wramth'"), "%s:\n%s", rows[i].line,
                           output);
        cr_expect_eq(strstr(output, "\033[1;31merror: ") != NULL, rows[i].is_colored, "%s:\n%s",
                     rows[i].line, output);
        cr_expect_eq(strchr(output, '\033') != NULL, rows[i].is_colored, "%s", rows[i].line);
    }
}

Test(messages, very_many)
{
    FILE *file = fopen("g.yaml", "w");

    cr_assert_not_null(file);
    fputs(FRAME "nodes:\n", file);
    for (int i = 0; i < 250; i++)
        fprintf(file, "  n%d: {op: solid, colour: 1}\n", i);
    fputs("outputs: {o: {image: n0, file: 'o.####.exr'}}\n", file);
    fclose(file);
    cr_expect_eq(run(LB_PROGRAM " check g.yaml 2>&1"), 1);
    cr_expect_not_null(strstr(output, "g.yaml:103:"), "%s", output);
    cr_expect_null(strstr(output, "g.yaml:104:"), "%s", output);
    cr_expect_not_null(strstr(output, "\nlampblack: 150 more errors\n"), "%s", output);
    cr_expect_eq(run(LB_PROGRAM " check --json g.yaml | grep -c severity"), 0);
    cr_expect_str_eq(output, "250\n");
}
