/* tests/engine/cli/test_reference.c: the committed reference pages are what the program writes. */
#include <criterion/criterion.h>
#include <stdlib.h>

Test(reference, operators)
{
    cr_expect_eq(system(LB_PROGRAM " ops --markdown | diff - " LB_SOURCE_DIR "/docs/operators.md"),
                 0, "write it anew: lampblack ops --markdown > docs/operators.md");
}
