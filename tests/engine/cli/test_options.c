/* tests/engine/cli/test_options.c: how words are read. "--name value", "--name=value", "--" and "-"
 * as POSIX.1-2017, XBD 12.2 (guidelines 10 and 13) and getopt_long(3) have them; the rest is the
 * program's own. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static const char graph[] =
    "lampblack: 1\nframe: {size: [8, 8], rate: 24, range: [-2, 9]}\nparams: {glow: 0.5, dim: 1}\n"
    "nodes:\n  a: {op: solid, color: [{param: glow}, {param: dim}, 0]}\n"
    "outputs:\n  o: {image: a, file: \"out/o.####.exr\"}\n";

static const struct {
    const char *words;
    int status;
    const char *says;
} rows[] = {
    /* Order and form are free. */
    {"check g.yaml", 0, "good"},
    {"check g.yaml --set glow=0.5", 0, "good"},
    {"check --set=glow=0.5 g.yaml", 0, "good"},
    {"check --set glow=0.5 --set dim=2 g.yaml", 0, "good"},
    {"check -- --odd.yaml", 0, "--odd.yaml: good"},
    {"check -- g.yaml --set", 2, "'--set' is one word too many"},
    {"check -", 2, "'-'"},
    {"render --progress=none g.yaml --frames=-2--1 --threads 1", 0, ""},
    {"render g.yaml --progress none --frames -2", 0, ""},
    {"render g.yaml --progress none --size 4x4 --shard 1/2 --scale 1/2 --memory 1.5GiB", 0, ""},
    /* Words too few, too many, wrong. */
    {"check", 2, "which GRAPH?"},
    {"info", 2, "which IMAGE?"},
    {"check g.yaml h.yaml", 2, "'h.yaml' is one word too many"},
    {"manual x", 2, "'x' is one word too many"},
    {"completion", 2, "which SHELL?"},
    {"completion bsh", 2, "SHELL is one of bash, zsh, fish; not 'bsh'; did you mean 'bash'?"},
    {"names nodes", 2, "nodes of which GRAPH?"},
    {"names operators g.yaml", 2, "not a graph's"},
    {"ops blur --markdown", 2, "--markdown"},
    /* Options that are not there, or there twice. */
    {"render g.yaml --outpts o", 2, "no option '--outpts'; did you mean '--outputs'?"},
    {"render g.yaml --fraems=1", 2, "no option '--fraems'; did you mean '--frames'?"},
    {"render g.yaml -f", 2, "no option '-f'"},
    {"render g.yaml --scale 1 --scale=1/2", 2, "--scale is given twice"},
    {"render g.yaml --explain --explain", 2, "--explain is given twice"},
    {"render g.yaml --explain=yes", 2, "--explain takes no value, and 'yes' is one"},
    /* Values that are missing. */
    {"render g.yaml --frames", 2, "--frames takes a list such as 1-270,300"},
    {"render g.yaml --frames --explain", 2, "--frames takes a list such as 1-270,300\n"},
    {"render g.yaml --cache -- x", 2, "--cache takes a folder\n"},
    {"render g.yaml --cache=", 2, "--cache takes a folder, not ''"},
    {"render g.yaml --progress", 2, "--progress is one of auto, bar, lines, json, none\n"},
    /* Values that would not do. */
    {"render g.yaml --progress bra", 2, "not 'bra'; did you mean 'bar'?"},
    {"check g.yaml --set glow", 2, "--set takes NAME=VALUE, not 'glow'"},
    {"check g.yaml --set =1", 2, "--set takes NAME=VALUE, not '=1'"},
    {"render g.yaml --frames 5-2", 2, "not '5-2'"},
    {"render g.yaml --frames 1,", 2, "not '1,'"},
    {"render g.yaml --frames 99999999999999999999", 2, "--frames takes"},
    {"render g.yaml --frames 1-99999999", 2, "--frames takes"},
    {"render g.yaml --scale 100", 2, "--scale takes 1/64 to 64, not '100'"},
    {"render g.yaml --scale 1/0", 2, "--scale takes"},
    {"render g.yaml --scale nan", 2, "--scale takes"},
    {"render g.yaml --size 10x", 2, "--size takes WIDTHxHEIGHT in pixels, not '10x'"},
    {"render g.yaml --size 0x5", 2, "--size takes"},
    {"render g.yaml --size 10x99999", 2, "--size takes"},
    {"render g.yaml --shard 3/2", 2, "--shard takes K/N with K from 1 to N, not '3/2'"},
    {"render g.yaml --threads -1", 2, "--threads takes a count"},
    {"render g.yaml --threads 1025", 2, "--threads takes a count"},
    {"render g.yaml --threads 1x", 2, "--threads takes a count"},
    {"render g.yaml --memory 4X", 2, "--memory takes bytes, such as 4G, not '4X'"},
    {"render g.yaml --memory -4G", 2, "--memory takes bytes"},
    {"render g.yaml --memory nan", 2, "--memory takes bytes"},
    /* The program's own words. */
    {"", 2, "usage: lampblack COMMAND"},
    {"--help", 0, "usage: lampblack COMMAND"},
    {"-h", 0, "usage: lampblack COMMAND"},
    {"help", 0, "usage: lampblack COMMAND"},
    {"help chekc", 2, "did you mean 'check'?"},
    {"check -h", 0, "usage: lampblack check GRAPH"},
    {"--versoin", 2, "no command '--versoin'"},
};

/* Names of a graph, whether it is good or not. */
static const struct {
    const char *text, *words;
    int status;
    const char *prints;
} names[] = {
    {graph, "names nodes g.yaml", 0, "a\n"},
    {graph, "names params g.yaml", 0, "glow\ndim\n"},
    {graph, "names versions g.yaml", 0, ""},
    {"nodes: {x: {op: nonsense}, y: }\n", "names nodes g.yaml", 0, "x\ny\n"},
    {"\xEF\xBB\xBFnodes: {x: 1}\n", "names nodes g.yaml", 0, "x\n"},
    {"nodes: [x]\n", "names nodes g.yaml", 0, ""},
    {"just text\n", "names nodes g.yaml", 0, ""},
    {"", "names nodes g.yaml", 0, ""},
    {"nodes: {x: [\n", "names nodes g.yaml 2>/dev/null", 1, ""},
    /* What is included, in silence where it cannot be read; not what is inside parts. */
    {"include: {kit: kit.yaml, gone: gone.yaml, self: g.yaml}\nparts: {p: {nodes: {in: 1}}}\n"
     "nodes: {x: 1}\nparams: {a: 1}\n",
     "names nodes g.yaml | grep -v self", 0, "x\nkit/soft\nkit/warm\n"},
    {"include: {kit: {file: kit.yaml}, odd: [1]}\nparams: {a: 1}\n", "names params g.yaml", 0,
     "a\nkit/glow\n"},
    {"include: {kit: kit.yaml}\n", "names outputs g.yaml", 0, ""},
    {"include: {a: g.yaml, b: g.yaml}\nnodes: {x: 1}\n", "names nodes g.yaml | tail -n +20002", 0,
     ""},
    {graph, "names nodes none.yaml 2>/dev/null", 2, ""},
};

static char folder[64];
static char output[1 << 20];

static void put(const char *name, const char *text)
{
    FILE *file = fopen(name, "w");

    cr_assert_not_null(file);
    fputs(text, file);
    fclose(file);
}

static int run(const char *words)
{
    char command[2048];
    FILE *pipe;
    size_t count;
    int status;

    snprintf(command, sizeof command, "(%s %s) 2>&1", LB_PROGRAM, words);
    cr_assert_not_null(pipe = popen(command, "r"));
    count = fread(output, 1, sizeof output - 1, pipe);
    output[count] = 0;
    status = pclose(pipe);
    cr_assert(WIFEXITED(status), "'%s' ended by a signal:\n%s", words, output);
    return WEXITSTATUS(status);
}

static void enter_folder(void)
{
    strcpy(folder, "/tmp/lampblack-words-XXXXXX");
    cr_assert_not_null(mkdtemp(folder));
    cr_assert_eq(chdir(folder), 0);
    put("g.yaml", graph);
    put("--odd.yaml", graph);
}

static void leave_folder(void)
{
    char command[128];

    cr_assert_eq(chdir("/"), 0);
    snprintf(command, sizeof command, "rm -rf %s", folder);
    cr_expect_eq(system(command), 0);
}

TestSuite(options, .init = enter_folder, .fini = leave_folder, .timeout = 120);

Test(options, words)
{
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        cr_expect_eq(run(rows[i].words), rows[i].status, "'%s': %s", rows[i].words, output);
        cr_expect_not_null(strstr(output, rows[i].says), "'%s': %s", rows[i].words, output);
    }
}

Test(options, names)
{
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        put("g.yaml", names[i].text);
        put("kit.yaml", "nodes: {soft: 1, warm: 2}\nparams: {glow: 1}\noutputs: {o: 1}\n");
        cr_expect_eq(run(names[i].words), names[i].status, "'%s': %s", names[i].words, output);
        cr_expect_str_eq(output, names[i].prints, "%zu: '%s': %s", i, names[i].words, output);
    }
}
