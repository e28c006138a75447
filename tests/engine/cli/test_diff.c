/* tests/engine/cli/test_diff.c: lampblack diff, and git calling it as docs/review.md says. What
 * differs from what, tests/lang/test_diff.c looks at. */
#include <jansson.h>

#include "tests/support/shell.h"

static void enter(void)
{
    enter_folder();
    must(
        "printf 'lampblack: 1\\nnodes:\\n  a: {op: solid}\\n  b: {op: blur, image: a, sigma: 2}\\n'"
        ">a.yaml; sed 's/sigma: 2/sigma: 8/' a.yaml >b.yaml;"
        "printf 'nodes:\\n  b: {image: a, op: blur, sigma: 2.0} # soft\\n  a: {op: solid}\\n"
        "lampblack: 1\\n' >same.yaml; printf 'nodes: [' >broken.yaml");
}

TestSuite(diff, .init = enter, .fini = leave_folder, .timeout = 120);

Test(diff, exit_status_is_that_of_diff)
{
    cr_expect_eq(run("lampblack diff a.yaml same.yaml"), 0);
    cr_expect_str_eq(output, "");
    cr_expect_eq(run("lampblack diff a.yaml b.yaml"), 1);
    cr_expect_str_eq(output, "~ node b: sigma 2 -> 8 pixels\n");
    cr_expect_eq(run("lampblack diff a.yaml broken.yaml"), 2, "%s", output);
    cr_expect_not_null(strstr(output, "broken.yaml:1:"), "%s", output);
    cr_expect_eq(run("lampblack diff a.yaml missing.yaml"), 2, "%s", output);
    cr_expect_eq(run("lampblack diff a.yaml b.yaml same.yaml"), 2, "%s", output);
}

Test(diff, json_has_places)
{
    json_error_t error;
    json_t *list, *change;

    cr_expect_eq(run("lampblack diff a.yaml b.yaml --json"), 1);
    list = json_loads(output, JSON_REJECT_DUPLICATES, &error);
    cr_assert_not_null(list, "%s\n%s", error.text, output);
    cr_assert_eq(json_array_size(list), 1);
    change = json_array_get(list, 0);
    cr_expect_str_eq(json_string_value(json_object_get(change, "change")), "changed");
    cr_expect_str_eq(json_string_value(json_object_get(change, "section")), "nodes");
    cr_expect_str_eq(json_string_value(json_object_get(change, "path")), "sigma");
    cr_expect_str_eq(json_string_value(json_object_get(change, "old")), "2");
    cr_expect_str_eq(json_string_value(json_object_get(change, "unit")), "pixels");
    change = json_object_get(change, "new_place");
    cr_expect_str_eq(json_string_value(json_object_get(change, "file")), "b.yaml");
    cr_expect_eq(json_integer_value(json_object_get(change, "line")), 4);
    cr_expect_eq(json_integer_value(json_object_get(change, "column")), 34);
    json_decref(list);
    cr_expect_eq(run("lampblack diff a.yaml same.yaml --json"), 0);
    cr_expect_str_eq(output, "[]\n");
}

Test(diff, git_shows_what_was_meant)
{
    must("git init -q -b main . && git config user.name Tester && "
         "git config user.email tester@example.invalid && "
         "git config diff.lampblack.command 'lampblack diff --git' && "
         "echo '*.yaml diff=lampblack' >.gitattributes && mkdir shots && "
         "cp a.yaml shots/kiln.yaml && cp a.yaml shots/gone.yaml && "
         "git add shots .gitattributes && git commit -q -m one && cp same.yaml shots/kiln.yaml");
    must("git diff");
    cr_expect_str_eq(output, "", "order, layout and comments do not show");
    must("cp b.yaml shots/kiln.yaml && git diff");
    cr_expect_str_eq(output, "shots/kiln.yaml\n  ~ node b: sigma 2 -> 8 pixels\n");
    must("git rm -q shots/gone.yaml && cp a.yaml shots/new.yaml && git add shots && "
         "git commit -q -m two && git log -1 --format= -p --ext-diff --no-renames");
    cr_expect_str_eq(output,
                     "shots/gone.yaml\n"
                     "  - lampblack 1\n"
                     "  - node a {op: solid}\n"
                     "  - node b {image: a, op: blur, sigma: 2}\n"
                     "shots/kiln.yaml\n"
                     "  ~ node b: sigma 2 -> 8 pixels\n"
                     "shots/new.yaml\n"
                     "  + lampblack 1\n"
                     "  + node a {op: solid}\n"
                     "  + node b {image: a, op: blur, sigma: 2}\n",
                     "%s", output);
    must("rm .gitattributes && git config difftool.lampblack.cmd 'lampblack diff \"$LOCAL\" "
         "\"$REMOTE\"' && "
         "git difftool --no-prompt --tool=lampblack HEAD~1 HEAD -- shots/kiln.yaml");
    cr_expect_str_eq(output, "~ node b: sigma 2 -> 8 pixels\n");
}
