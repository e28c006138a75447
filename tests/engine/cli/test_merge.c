/* tests/engine/cli/test_merge.c: lampblack merge, and git calling it as docs/review.md says. What
 * merges into what, tests/lang/test_merge.c looks at; here git is the outside that decides whether
 * the driver is one. */
#include "tests/support/shell.h"

TestSuite(merge, .init = enter_folder, .fini = leave_folder, .timeout = 120);

Test(merge, files)
{
    must("printf 'n:\\n  a: {x: 1, y: 1}\\n' >b; printf 'n:\\n  a: {x: 2, y: 1}\\n' >o;"
         "printf 'n:\\n  a: {x: 1, y: 2}\\n' >t; printf 'n:\\n  a: {x: 3, y: 1}\\n' >c;"
         "printf 'n: [' >broken");
    cr_expect_eq(run("lampblack merge b o t"), 0);
    cr_expect_str_eq(output, "n:\n  a: {x: 2, y: 2}\n");
    cr_expect_eq(run("lampblack merge b o t --output o && cat o"), 0);
    cr_expect_str_eq(output, "n:\n  a: {x: 2, y: 2}\n");
    cr_expect_eq(run("lampblack merge b o c --output m"), 1);
    cr_expect_not_null(strstr(output, "o:2:10: error: both sides change 'n.a.x', here to 2\n"),
                       "%s", output);
    cr_expect_eq(run("cat m"), 0);
    cr_expect_str_eq(output, "n:\n<<<<<<< ours\n  a: {x: 2, y: 2}\n=======\n  a: {x: 3, y: 2}\n"
                             ">>>>>>> theirs\n");
    cr_expect_eq(run("lampblack check m"), 1, "a file with conflicts is no graph");
    cr_expect_eq(run("lampblack merge b o broken --output o"), 2, "%s", output);
    cr_expect_eq(run("lampblack merge b o missing --output o"), 2, "%s", output);
    cr_expect_eq(run("cat o"), 0);
    cr_expect_str_eq(output, "n:\n  a: {x: 2, y: 2}\n");
    cr_expect_eq(run("lampblack merge b o c --path g.yaml >/dev/null"), 1);
    cr_expect_not_null(strstr(output, "g.yaml:2:10: error: both"), "%s", output);
    cr_expect_not_null(strstr(output, "g.yaml (theirs):2:10: note: changed there"), "%s", output);
}

/* A repository with the driver, and a graph on its first commit. */
static void make_repository(void)
{
    must("git init -q -b main . && git config user.name Tester && "
         "git config user.email tester@example.invalid && "
         "git config merge.lampblack.name 'graphs by meaning' && "
         "git config merge.lampblack.driver "
         "'lampblack merge %O %A %B --output %A --path %P' && "
         "echo '*.yaml merge=lampblack' >.gitattributes && echo bin >.gitignore && "
         "printf 'lampblack: 1\\nnodes:\\n  a: {op: solid, color: red}\\n"
         "  b: {op: blur, image: a, sigma: 4}\\n' >g.yaml && "
         "git add -A && git commit -q -m first");
}

/* Lines that a merge of texts could not put together: next to each other, or the same one. */
Test(merge, in_git)
{
    make_repository();
    must("git checkout -q -b side && sed -i 's/sigma: 4/sigma: 5/; s/red/blue/' g.yaml && "
         "printf '  # Of the side.\\n  c: {op: blur, image: b}\\n' >>g.yaml && "
         "git commit -q -a -m side && git checkout -q main && "
         "sed -i 's/image: a, sigma: 4/sigma: 4, image: a, edge: clamp/' g.yaml && "
         "printf '  d: {op: blur, image: b}\\n' >>g.yaml && git commit -q -a -m main");
    must("git merge -q --no-edit side");
    must("cat g.yaml");
    cr_expect_str_eq(output, "lampblack: 1\nnodes:\n  a: {op: solid, color: blue}\n"
                             "  b: {op: blur, sigma: 5, image: a, edge: clamp}\n"
                             "  # Of the side.\n  c: {op: blur, image: b}\n"
                             "  d: {op: blur, image: b}\n");
    cr_expect_neq(run("git reset -q --hard HEAD^ && echo '*.yaml merge' >.git/info/attributes && "
                      "git merge -q --no-edit side"),
                  0, "git alone merges this too: the test shows nothing");
    must("git merge --abort; rm .git/info/attributes");
    must("git rebase -q side && cat g.yaml");
    cr_expect_not_null(strstr(output, "sigma: 5"), "%s", output);
    cr_expect_not_null(strstr(output, "edge: clamp"), "%s", output);
    cr_expect_not_null(strstr(output, "  d: {op: blur, image: b}\n"), "%s", output);
}

Test(merge, conflicts_in_git)
{
    make_repository();
    must("git checkout -q -b side && sed -i 's/sigma: 4/sigma: 5/; s/red/blue/' g.yaml && "
         "git commit -q -a -m side && git checkout -q main && "
         "sed -i 's/sigma: 4/sigma: 6/' g.yaml && git commit -q -a -m main");
    cr_expect_eq(run("git merge --no-edit side"), 1, "%s", output);
    cr_expect_not_null(
        strstr(output, "g.yaml:4:34: error: both sides change 'nodes.b.sigma', here to 6\n"), "%s",
        output);
    must("git diff --name-only --diff-filter=U");
    cr_expect_str_eq(output, "g.yaml\n");
    must("cat g.yaml");
    cr_expect_str_eq(output, "lampblack: 1\nnodes:\n  a: {op: solid, color: blue}\n<<<<<<< ours\n"
                             "  b: {op: blur, image: a, sigma: 6}\n=======\n"
                             "  b: {op: blur, image: a, sigma: 5}\n>>>>>>> theirs\n");
}
