/* tests/engine/cli/test_completion.c: what bash, zsh and fish offer, asked of the shells themselves
 * (the drivers in shell/) after they have read the scripts that the program writes. */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

/* A line up to the cursor and all that may follow. Shells differ in how much of a word they repeat,
 * so what stands before a value and a last '=' or '/' is left out here; `fish` is what fish offers
 * where it ranks files instead of choosing. */
static const struct {
    const char *line, *offers, *fish;
} rows[] = {
    {"re", "render", NULL},
    {"-", "--help --version", NULL},
    {"render ", "kiln.yaml my_kiln.yaml out torn.yaml", "kiln.yaml my_kiln.yaml torn.yaml"},
    {"render kiln.yaml --pro", "--profile --progress", NULL},
    {"render kiln.yaml --progress ", "auto bar json lines none", NULL},
    {"render kiln.yaml --progress=b", "bar", NULL},
    {"render kiln.yaml --outputs r", "review rough", NULL},
    {"render kiln.yaml --outputs=", "master review rough", NULL},
    {"render kiln.yaml --outputs master,r", "review rough", NULL},
    {"render kiln.yaml --outputs=master,r", "review rough", NULL},
    {"render --scale 1/2 kiln.yaml --outputs r", "review rough", NULL},
    {"render my\\ kiln.yaml --outputs ", "wide", NULL},
    {"render kiln.yaml --set ", "glow headline", NULL},
    {"render kiln.yaml --set=g", "glow", NULL},
    {"render kiln.yaml --set glow=", "", NULL},
    {"render kiln.yaml --set=glow=1 --explain --sc", "--scale", NULL},
    {"render kiln.yaml --set glow=1 --set head", "headline", NULL},
    {"render kiln.yaml -- --", "", NULL},
    {"render kiln.yaml --scale ", "", NULL},
    {"check kiln.yaml --se", "--set", NULL},
    {"check kiln.yaml k", "", NULL},
    {"cache ", "out", NULL},
    {"info kiln.yaml other.t", "other.txt", NULL},
    {"ops glo", "glow", NULL},
    {"names ", "commands nodes operators outputs params versions", NULL},
    {"names params my", "my_kiln.yaml", NULL},
    {"completion ", "bash fish zsh", NULL},
    {"help rend", "render", NULL},
    {"nosuch x", "", NULL},
    /* Graphs that cannot be read: silence. */
    {"render torn.yaml --outputs ", "", NULL},
    {"render missing.yaml --outputs ", "", NULL},
};
#define ROWS (sizeof rows / sizeof rows[0])

static char folder[64];
static char output[1 << 20];

static void put(const char *name, const char *text)
{
    FILE *file = fopen(name, "w");

    cr_assert_not_null(file);
    fputs(text, file);
    fclose(file);
}

/* Standard output and error of a line in sh. */
static int run(const char *line)
{
    FILE *pipe = popen(line, "r");
    size_t count;
    int status;

    cr_assert_not_null(pipe);
    count = fread(output, 1, sizeof output - 1, pipe);
    output[count] = 0;
    status = pclose(pipe);
    cr_assert(WIFEXITED(status), "%s", output);
    return WEXITSTATUS(status);
}

/* A graph that does not pass `check` but is YAML: it is being written. */
static void enter_folder(void)
{
    strcpy(folder, "/tmp/lampblack-shell-XXXXXX");
    cr_assert_not_null(mkdtemp(folder));
    cr_assert_eq(chdir(folder), 0);
    cr_assert_eq(system("mkdir bin work work/out && ln -s " LB_PROGRAM " bin/lampblack"), 0);
    cr_assert_eq(chdir("work"), 0);
    put("kiln.yaml", "lampblack: 1\nparams: {headline: KILN, glow: 0.5}\n"
                     "nodes:\n  sky: {op: nosuchop, x: }\n  ember: {op: blur, image: skk}\n"
                     "outputs: {master: {image: ember}, review: , rough: {}}\n");
    put("my kiln.yaml", "outputs: {wide: 1}\n");
    put("torn.yaml", "lampblack: 1\noutputs: {master: [\n  : }\n");
    put("other.txt", "");
    snprintf(output, sizeof output, "%s/bin:%s", folder, getenv("PATH"));
    cr_assert_eq(setenv("PATH", output, 1), 0);
    cr_assert_eq(setenv("HOME", folder, 1), 0);
    cr_assert_eq(setenv("LC_ALL", "C", 1), 0);
}

static void leave_folder(void)
{
    char command[128];

    cr_assert_eq(chdir("/"), 0);
    snprintf(command, sizeof command, "rm -rf %s", folder);
    cr_expect_eq(system(command), 0);
}

TestSuite(completion, .init = enter_folder, .fini = leave_folder, .timeout = 120);

static int compare(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Of a word what counts: see `rows`. */
static char *core_of(char *word)
{
    size_t last = strlen(word) - 1;
    char *begin;

    if (last > 0 && (word[last] == '=' || word[last] == '/'))
        word[last] = 0;
    if (!strncmp(word, "--", 2) && (begin = strchr(word, '=')))
        word = begin + 1;
    if ((begin = strrchr(word, ',')))
        word = begin + 1;
    return word;
}

/* A line of a driver, cut at spaces; quoted spaces become '_'. */
static void tidy(char *line, char *out, size_t room)
{
    char *words[256], *save = NULL, *quoted;
    size_t count = 0, at = 0;

    while ((quoted = strstr(line, "my\\ ")))
        memmove(quoted + 2, quoted + 3, strlen(quoted + 2)), quoted[2] = '_';
    while ((quoted = strstr(line, "my ")))
        quoted[2] = '_';
    for (char *w = strtok_r(line, " ", &save); w && count < 256; w = strtok_r(NULL, " ", &save))
        words[count++] = core_of(w);
    qsort(words, count, sizeof words[0], compare);
    out[0] = 0;
    for (size_t i = 0; i < count && at < room; i++)
        at += (size_t)snprintf(out + at, room - at, "%s%s", i ? " " : "", words[i]);
}

/* The options that a command's page of help has, sorted. */
static void list_options(const char *command, char *out, size_t room)
{
    char line[256];

    snprintf(line, sizeof line,
             "lampblack %s --help | sed -n 's/^  \\(--[a-z-]*\\).*/\\1/p' | tr '\\n' ' '", command);
    cr_assert_eq(run(line), 0, "%s", output);
    cr_assert_not_null(strstr(output, "--help"), "%s", output);
    tidy(output, out, room);
}

static void expect_offers(const char *driver, bool is_fish)
{
    FILE *lines = fopen("../lines", "w");
    char options[4096], found[4096];
    char *line = output, *end;

    cr_assert_not_null(lines);
    fputs("lampblack \nlampblack render kiln.yaml --\n", lines); /* all there is */
    for (size_t i = 0; i < ROWS; i++)
        fprintf(lines, "lampblack %s\n", rows[i].line);
    fclose(lines);
    list_options("render", options, sizeof options);
    cr_assert_eq(run(driver), 0, "%s", output);
    for (int i = -2; i < (int)ROWS; i++, line = end + 1) {
        const char *wanted = i < 0                     ? options
                             : is_fish && rows[i].fish ? rows[i].fish
                                                       : rows[i].offers;

        cr_assert_not_null(end = strchr(line, '\n'), "line %d is missing", i);
        *end = 0;
        tidy(line, found, sizeof found);
        if (i == -2)
            cr_expect(strstr(found, "check ") && strstr(found, "render"), "%s", found);
        else
            cr_expect_str_eq(found, wanted, "lampblack %s: '%s', not '%s'",
                             i < 0 ? "render kiln.yaml --" : rows[i].line, found, wanted);
    }
    cr_expect_str_empty(line, "nothing else is said");
}

#define DRIVERS LB_SOURCE_DIR "/tests/engine/cli/shell/"

Test(completion, bash)
{
    expect_offers("lampblack completion bash >../script && "
                  "bash " DRIVERS "offers.bash ../script <../lines 2>&1",
                  false);
}

Test(completion, zsh)
{
    expect_offers("mkdir ../functions && lampblack completion zsh >../functions/_lampblack && "
                  "zsh -f " DRIVERS "offers.zsh ../functions <../lines 2>&1",
                  false);
}

Test(completion, fish)
{
    expect_offers("lampblack completion fish >../script && "
                  "fish --no-config " DRIVERS "offers.fish ../script <../lines 2>&1",
                  true);
}

/* `source <(lampblack completion zsh)`, as people without the file do. */
Test(completion, sourced_by_zsh)
{
    cr_expect_eq(run("zsh -f -c 'autoload -Uz compinit; compinit -u -D; "
                     "source <(lampblack completion zsh); print $_comps[lampblack]' 2>&1"),
                 0);
    cr_expect_str_eq(output, "_lampblack\n");
}
