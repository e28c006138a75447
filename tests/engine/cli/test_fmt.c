/* tests/engine/cli/test_fmt.c: lampblack fmt as a person and a check use it. What the layout is,
 * tests/lang/test_format.c looks at. */
#include <sys/stat.h>

#include "tests/support/shell.h"

static void enter(void)
{
    enter_folder();
    must("printf 'a:   1 # c\\nb: [1,\\n 2]\\n' >wild.yaml;"
         "printf 'a: 1  # c\\nb: [1, 2]\\n' >tidy.yaml;"
         "printf 'a: [1\\n' >broken.yaml");
}

TestSuite(fmt, .init = enter, .fini = leave_folder, .timeout = 120);

Test(fmt, writes_what_differs)
{
    struct stat before, after, wild;

    cr_assert_eq(run("chmod 640 wild.yaml; ln -s wild.yaml link.yaml"), 0);
    cr_assert_eq(stat("tidy.yaml", &before), 0);
    cr_expect_eq(run("lampblack fmt link.yaml tidy.yaml"), 0, "%s", output);
    cr_expect_str_empty(output);
    cr_expect_eq(run("cmp wild.yaml tidy.yaml && test -L link.yaml && ls -A"), 0, "%s", output);
    cr_expect_str_eq(output, "broken.yaml\nlink.yaml\ntidy.yaml\nwild.yaml\n");
    cr_assert_eq(stat("tidy.yaml", &after), 0);
    cr_expect(before.st_ino == after.st_ino && before.st_mtim.tv_nsec == after.st_mtim.tv_nsec,
              "what is tidy is not written");
    cr_assert_eq(stat("wild.yaml", &wild), 0);
    cr_expect_eq(wild.st_mode & 0777, 0640, "%o", wild.st_mode);
}

Test(fmt, check_changes_nothing)
{
    cr_expect_eq(run("cp wild.yaml kept; lampblack fmt --check tidy.yaml wild.yaml"), 1);
    cr_expect_str_eq(output, "wild.yaml\n");
    cr_expect_eq(run("cmp wild.yaml kept"), 0);
    cr_expect_eq(run("lampblack fmt --check tidy.yaml"), 0);
    cr_expect_str_empty(output);
    cr_expect_eq(run("lampblack fmt --check <wild.yaml"), 1);
    cr_expect_str_eq(output, "<stdin>\n");
}

Test(fmt, standard_input)
{
    cr_expect_eq(run("lampblack fmt <wild.yaml | cmp - tidy.yaml"), 0, "%s", output);
    cr_expect_eq(run("lampblack fmt - <wild.yaml | cmp - tidy.yaml"), 0, "%s", output);
    cr_expect_eq(run("lampblack fmt <broken.yaml"), 1);
    cr_expect_not_null(strstr(output, "<stdin>:1:6: error: not YAML"), "%s", output);
}

/* A file that is no YAML is left alone, and the others are done all the same. */
Test(fmt, goes_on)
{
    cr_expect_eq(run("cp broken.yaml kept; lampblack fmt broken.yaml wild.yaml"), 1);
    cr_expect_not_null(strstr(output, "broken.yaml:1:6: error: not YAML"), "%s", output);
    cr_expect_eq(run("cmp broken.yaml kept && cmp wild.yaml tidy.yaml"), 0, "%s", output);
    cr_expect_eq(run("lampblack fmt missing.yaml broken.yaml"), 2);
    cr_expect_not_null(strstr(output, "missing.yaml"), "%s", output);
}
