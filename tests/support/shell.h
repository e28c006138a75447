/* tests/support/shell.h: lines of bash with the program in the path, in an empty folder of their
 * own.
 *
 * Header-only, for tests of the program: enter_folder and leave_folder go around each of them. */
#ifndef LB_TESTS_SUPPORT_SHELL_H
#define LB_TESTS_SUPPORT_SHELL_H

#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static char output[1 << 20]; /* both streams of the last run */
static char shell_folder[64];

/* The exit status of a line. */
static inline int run(const char *line)
{
    FILE *pipe;
    size_t count;
    int status;

    cr_assert_eq(setenv("LINE", line, 1), 0);
    cr_assert_not_null(pipe = popen("bash -c \"$LINE\" 2>&1", "r"));
    count = fread(output, 1, sizeof output - 1, pipe);
    output[count] = 0;
    status = pclose(pipe);
    cr_assert(WIFEXITED(status), "'%s' ended by a signal:\n%s", line, output);
    return WEXITSTATUS(status);
}

static inline void must(const char *line)
{
    cr_assert_eq(run(line), 0, "%s: %s", line, output);
}

/* Nothing of the machine's own settings counts inside. */
static inline void enter_folder(void)
{
    strcpy(shell_folder, "/tmp/lampblack-test-XXXXXX");
    cr_assert_not_null(mkdtemp(shell_folder));
    cr_assert_eq(chdir(shell_folder), 0);
    cr_assert_eq(setenv("PROGRAM", LB_PROGRAM, 1), 0);
    must("mkdir bin work && ln -s \"$PROGRAM\" bin/lampblack");
    snprintf(output, sizeof output, "%s/bin:%s", shell_folder, getenv("PATH"));
    cr_assert_eq(setenv("PATH", output, 1), 0);
    cr_assert_eq(chdir("work"), 0);
    cr_assert_eq(setenv("HOME", shell_folder, 1), 0);
    cr_assert_eq(setenv("GIT_CONFIG_NOSYSTEM", "1", 1), 0);
}

static inline void leave_folder(void)
{
    char command[128];

    cr_assert_eq(chdir("/"), 0);
    snprintf(command, sizeof command, "rm -rf %s", shell_folder);
    cr_expect_eq(system(command), 0);
}

#endif
