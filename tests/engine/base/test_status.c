/* tests/engine/base/test_status.c: how messages are collected and shown. The form is the project's
 * own; columns are code points, as the header says. */
#include <criterion/criterion.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/memory.h"

/* What lb_diag_print writes, in memory of the C library. */
static char *printed(lb_diag *diag, bool color)
{
    char *text = NULL;
    size_t bytes = 0;
    FILE *out = open_memstream(&text, &bytes);

    cr_assert(out != NULL);
    lb_diag_print(diag, out, color);
    fclose(out);
    return text;
}

static void expect_printed(lb_diag *diag, const char *want)
{
    char *text = printed(diag, false);

    cr_expect(strcmp(text, want) == 0, "got:\n%s\nwant:\n%s", text, want);
    free(text);
}

static lb_diag *new_diag(void)
{
    lb_diag *diag = lb_diag_new();

    cr_assert(diag != NULL);
    return diag;
}

Test(status, the_documented_form)
{
    lb_diag *diag = new_diag();
    char source[1024];
    const char *file;

    memset(source, '\n', 40);
    strcpy(source + 40, "    threshold: -0.5\n    radius: 4\n");
    file = lb_diag_add_source(diag, "kiln.yaml", source, strlen(source));
    cr_assert(file != NULL);
    cr_expect(lb_fail(diag, LB_INVALID, (lb_loc){file, 41, 16, 4},
                      "'%s' is %g; it goes from %g to %g", "threshold", -0.5, 0.0,
                      65504.0) == LB_INVALID);
    expect_printed(diag, "kiln.yaml:41:16: error: 'threshold' is -0.5; it goes from 0 to 65504\n"
                         "   41 |     threshold: -0.5\n"
                         "      |                ^~~~\n");
    expect_printed(diag, ""); /* only once */
    lb_diag_free(&diag);
    cr_expect(diag == NULL);
    lb_diag_free(&diag);
}

Test(status, places_that_are_missing)
{
    lb_diag *diag = new_diag();
    const char *file = lb_diag_add_source(diag, "a.yaml", "one\ntwo", 7);

    lb_fail(diag, LB_IO, LB_NOWHERE, "cannot go on");
    lb_fail(diag, LB_IO, (lb_loc){.file = "b.exr"}, "it is cut short");
    lb_fail(diag, LB_INVALID, (lb_loc){file, 2, 0, 0}, "no column");
    lb_fail(diag, LB_INVALID, (lb_loc){file, 3, 1, 1}, "no such line");
    lb_fail(diag, LB_INVALID, (lb_loc){file, 2, 9, 5}, "behind the end");
    lb_fail(diag, LB_INVALID, (lb_loc){file, -7, -7, -7}, "nonsense");
    lb_fail(diag, LB_INVALID, (lb_loc){file, INT32_MAX, INT32_MAX, INT32_MAX}, "far away");
    expect_printed(diag, "a.yaml: error: nonsense\n"
                         "a.yaml:2: error: no column\n"
                         "    2 | two\n"
                         "a.yaml:2:9: error: behind the end\n"
                         "    2 | two\n"
                         "      |    ^\n"
                         "a.yaml:3:1: error: no such line\n"
                         "a.yaml:2147483647:2147483647: error: far away\n"
                         "b.exr: error: it is cut short\n"
                         "lampblack: error: cannot go on\n");
    lb_diag_free(&diag);
}

Test(status, sorted_by_place_with_notes_below)
{
    lb_diag *diag = new_diag();
    const char *file = lb_diag_add_source(diag, "k.yaml", "a: 1\nb: 2\na: 3\n", 15);
    const char *other = lb_diag_intern(diag, "a.yaml");

    cr_expect(lb_diag_intern(diag, "a.yaml") == other);
    cr_expect(lb_diag_intern(diag, "k.yaml") == file);
    lb_fail(diag, LB_INVALID, (lb_loc){file, 3, 1, 1}, "'a' is there twice");
    lb_note(diag, (lb_loc){file, 1, 1, 1}, "the first is here");
    lb_note(diag, LB_NOWHERE, "keep one");
    lb_warn(diag, (lb_loc){file, 2, 4, 1}, "a lonely value");
    lb_fail(diag, LB_INVALID, (lb_loc){other, 9, 1, 1}, "unknown");
    lb_fail(diag, LB_INVALID, (lb_loc){file, 2, 1, 1}, "no 'b'");
    expect_printed(diag, "k.yaml:2:1: error: no 'b'\n"
                         "    2 | b: 2\n"
                         "      | ^\n"
                         "k.yaml:2:4: warning: a lonely value\n"
                         "    2 | b: 2\n"
                         "      |    ^\n"
                         "k.yaml:3:1: error: 'a' is there twice\n"
                         "    3 | a: 3\n"
                         "      | ^\n"
                         "k.yaml:1:1: note: the first is here\n"
                         "    1 | a: 1\n"
                         "      | ^\n"
                         "lampblack: note: keep one\n"
                         "a.yaml:9:1: error: unknown\n");
    cr_expect(lb_diag_count(diag, LB_ERROR) == 3);
    cr_expect(lb_diag_count(diag, LB_WARNING) == 1);
    cr_expect(lb_diag_count(diag, LB_NOTE) == 2);
    lb_diag_free(&diag);
}

/* A text that is read first is told first, whatever it is called. */
Test(status, sorted_by_file_as_they_were_read)
{
    lb_diag *diag = new_diag(), *other = new_diag();
    const char *named = lb_diag_intern(diag, "b.exr"), *early = lb_diag_intern(diag, "z.yaml");
    const char *first, *second, *third;

    first = lb_diag_add_source(diag, "z.yaml", "a", 1);
    second = lb_diag_add_source(diag, "k.yaml", "a", 1);
    third = lb_diag_add_source(other, "c.yaml", "a", 1);
    cr_expect(first == early);
    lb_fail(other, LB_INVALID, (lb_loc){third, 1, 0, 0}, "three");
    lb_fail(diag, LB_INVALID, LB_NOWHERE, "six");
    lb_fail(diag, LB_INVALID, (lb_loc){named, 0, 0, 0}, "five");
    lb_fail(diag, LB_INVALID, (lb_loc){.file = "a.exr"}, "four");
    lb_fail(diag, LB_INVALID, (lb_loc){second, 1, 0, 0}, "two");
    lb_fail(diag, LB_INVALID, (lb_loc){first, 1, 0, 0}, "one");
    lb_diag_take(diag, &other, true);
    expect_printed(diag, "z.yaml:1: error: one\n    1 | a\n"
                         "k.yaml:1: error: two\n    1 | a\n"
                         "c.yaml:1: error: three\n    1 | a\n"
                         "a.exr: error: four\nb.exr: error: five\nlampblack: error: six\n");
    lb_diag_free(&diag);
}

/* Of very many messages the first of each severity are shown. */
Test(status, limit)
{
    lb_diag *diag = new_diag();

    lb_diag_set_limit(diag, 2);
    for (int i = 1; i < 5; i++) {
        lb_fail(diag, LB_INVALID, (lb_loc){"k.yaml", i, 1, 1}, "wrong");
        lb_note(diag, (lb_loc){"k.yaml", 9, 1, 1}, "see");
    }
    lb_warn(diag, (lb_loc){"k.yaml", 7, 1, 1}, "odd");
    expect_printed(diag, "k.yaml:1:1: error: wrong\nk.yaml:9:1: note: see\n"
                         "k.yaml:2:1: error: wrong\nk.yaml:9:1: note: see\n"
                         "k.yaml:7:1: warning: odd\nlampblack: 2 more errors\n");
    expect_printed(diag, "");
    for (int i = 10; i < 13; i++) {
        lb_fail(diag, LB_INVALID, (lb_loc){"k.yaml", i, 1, 1}, "wrong");
        lb_warn(diag, (lb_loc){"k.yaml", i, 1, 1}, "odd");
    }
    lb_warn(diag, (lb_loc){"k.yaml", 13, 1, 1}, "odd");
    expect_printed(diag, "k.yaml:10:1: error: wrong\nk.yaml:10:1: warning: odd\n"
                         "k.yaml:11:1: error: wrong\nk.yaml:11:1: warning: odd\n"
                         "lampblack: 1 more error, 2 more warnings\n");
    cr_expect(lb_diag_count(diag, LB_ERROR) == 7 && lb_diag_count(diag, LB_WARNING) == 5);
    lb_diag_free(&diag);
}

Test(status, the_same_is_told_once)
{
    lb_diag *diag = new_diag();
    const char *file = lb_diag_add_source(diag, "k.yaml", "a", 1);
    lb_loc here = {file, 1, 1, 1};

    for (int frame = 0; frame < 3; frame++) {
        cr_expect(lb_fail(diag, LB_IO, here, "cannot read it") == LB_IO);
        lb_note(diag, LB_NOWHERE, "try again");
        if (frame == 1)
            expect_printed(diag, "k.yaml:1:1: error: cannot read it\n"
                                 "    1 | a\n"
                                 "      | ^\n"
                                 "lampblack: note: try again\n");
    }
    expect_printed(diag, "");
    lb_fail(diag, LB_IO, (lb_loc){file, 1, 2, 1}, "cannot read it");
    cr_expect(lb_diag_count(diag, LB_ERROR) == 2);
    lb_diag_free(&diag);
}

/* Columns count code points; what is shown goes by a terminal's cells: tabs stop every eight, East
 * Asian wide characters and emoji take two (Unicode Standard Annex 11), combining marks none. */
Test(status, the_caret_stands_right)
{
    static const struct {
        const char *text;
        int32_t column, length;
        const char *shown, *caret;
    } rows[] = {
        {"\té:\tx y", 4, 1, "        é:      x y", "          ^~~~~~"},
        {"\té:\tx y", 5, 3, "        é:      x y", "                ^~~"},
        {"窯: 火 x", 4, 1, "窯: 火 x", "    ^~"},
        {"窯: 火 x", 6, 1, "窯: 火 x", "       ^"},
        {"窯: 火 x", 1, 4, "窯: 火 x", "^~~~~~"},
        {"e\xcc\x81t: y", 5, 1, "e\xcc\x81t: y", "   ^"}, /* e and a combining acute */
        {"e\xcc\x81t: y", 2, 1, "e\xcc\x81t: y", "^"},
        {"\xf0\x9f\x94\xa5\xe2\x80\x8d: y", 4, 2, "\xf0\x9f\x94\xa5\xe2\x80\x8d: y", "   ^~"},
        {"ﾊ: ハ", 4, 1, "ﾊ: ハ", "   ^~"}, /* half and full width */
    };

    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        lb_diag *diag = new_diag();
        const char *file = lb_diag_add_source(diag, "u.yaml", rows[i].text, strlen(rows[i].text));
        char want[200];

        lb_fail(diag, LB_INVALID, (lb_loc){file, 1, rows[i].column, rows[i].length}, "here");
        snprintf(want, sizeof want, "u.yaml:1:%d: error: here\n    1 | %s\n      | %s\n",
                 (int)rows[i].column, rows[i].shown, rows[i].caret);
        expect_printed(diag, want);
        lb_diag_free(&diag);
    }
}

/* A wide character that lies across the edge of what is shown is half a blank. */
Test(status, wide_characters_at_the_edge)
{
    lb_diag *diag = new_diag();
    char source[1200] = "", shown[1200], want[2500];
    const char *file;

    for (int i = 0; i < 120; i++)
        strcat(source, i == 99 ? "Xx" : "窯");
    file = lb_diag_add_source(diag, "u.yaml", source, strlen(source));
    lb_fail(diag, LB_INVALID, (lb_loc){file, 1, 101, 1}, "here");
    /* x is in cell 199, shown are 139 to 238: half a character at either end */
    strcpy(shown, "");
    for (int i = 70; i < 119; i++)
        strcat(shown, i == 99 ? "Xx" : "窯");
    snprintf(want, sizeof want, "u.yaml:1:101: error: here\n    1 | ... %s ...\n      | ...%*s^\n",
             shown, 60, "");
    expect_printed(diag, want);
    lb_fail(diag, LB_INVALID, (lb_loc){file, 1, 41, 1}, "there"); /* cell 80: from 20 to 119 */
    strcpy(shown, "");
    for (int i = 10; i < 60; i++)
        strcat(shown, "窯");
    snprintf(want, sizeof want, "u.yaml:1:41: error: there\n    1 | ...%s...\n      | ...%*s^~\n",
             shown, 60, "");
    expect_printed(diag, want);
    lb_diag_free(&diag);
}

/* What a terminal would obey is shown as '?', and so is what is no UTF-8. */
Test(status, a_file_cannot_steer_the_terminal)
{
    lb_diag *diag = new_diag();
    const char text[] = "a\033[2J\xff\xc2\x9b\0b";
    const char *file = lb_diag_add_source(diag, "e\033.yaml", text, sizeof text - 1);

    lb_fail(diag, LB_INVALID, (lb_loc){file, 1, 5, 2}, "'\033[31m' is\nno name");
    expect_printed(diag, "e?.yaml:1:5: error: '?[31m' is?no name\n"
                         "    1 | a?[2J???b\n"
                         "      |     ^~\n");
    lb_diag_free(&diag);
}

Test(status, a_long_line_is_cut_around_the_caret)
{
    lb_diag *diag = new_diag();
    size_t bytes = 3000000;
    char *text = lb_alloc(bytes, 1), *out, *line;
    const char *file;

    cr_assert(text != NULL);
    memset(text, 'x', bytes);
    text[999] = '!';
    file = lb_diag_add_source(diag, "long.yaml", text, bytes);
    lb_free(text);
    lb_fail(diag, LB_INVALID, (lb_loc){file, 1, 1000, 2000000}, "here");
    lb_fail(diag, LB_INVALID, (lb_loc){file, 1, 2000000, 1}, "far");
    out = printed(diag, false);
    cr_expect(strlen(out) < 1000);
    line = strchr(out, '\n');
    cr_assert(line != NULL);
    cr_expect(strncmp(line + 1, "    1 | ...", 11) == 0);
    cr_expect(strchr(line, '^') - strchr(strchr(line, '\n') + 1, '\n') == strchr(line, '!') - line);
    free(out);
    lb_diag_free(&diag);
}

Test(status, colour_only_when_asked)
{
    lb_diag *diag = new_diag();
    char *text;

    lb_fail(diag, LB_IO, LB_NOWHERE, "cannot");
    text = printed(diag, true);
    cr_expect(strstr(text, "\033[1;31merror: \033[0m") != NULL, "%s", text);
    free(text);
    lb_diag_free(&diag);
}

Test(status, the_worst_decides)
{
    static const lb_status order[] = {LB_INVALID,   LB_UNSUPPORTED, LB_LIMIT,  LB_FORMAT,
                                      LB_NOT_FOUND, LB_IO,          LB_MEMORY, LB_CANCELLED};
    lb_diag *diag = new_diag();

    cr_expect(lb_diag_worst(diag) == LB_OK);
    lb_warn(diag, LB_NOWHERE, "well");
    cr_expect(lb_diag_worst(diag) == LB_OK);
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        lb_fail(diag, order[i], LB_NOWHERE, "%s", lb_status_text(order[i]));
        lb_fail(diag, LB_INVALID, LB_NOWHERE, "again");
        cr_expect(lb_diag_worst(diag) == order[i]);
    }
    lb_diag_free(&diag);
}

Test(status, no_diag_is_fine)
{
    cr_expect(lb_fail(NULL, LB_FORMAT, LB_NOWHERE, "%d", 1) == LB_FORMAT);
    lb_warn(NULL, LB_NOWHERE, "x");
    lb_note(NULL, LB_NOWHERE, "x");
    lb_diag_print(NULL, stderr, false);
    cr_expect(lb_diag_count(NULL, LB_ERROR) == 0);
    cr_expect(lb_diag_worst(NULL) == LB_OK);
    cr_expect(lb_diag_intern(NULL, "x") == NULL);
    cr_expect(lb_diag_add_source(NULL, "x", "", 0) == NULL);
}

Test(status, a_source_can_be_given_again)
{
    lb_diag *diag = new_diag();
    const char *file = lb_diag_add_source(diag, "k.yaml", "old\nolder", 9);

    lb_fail(diag, LB_INVALID, (lb_loc){file, 2, 1, 1}, "one");
    expect_printed(diag, "k.yaml:2:1: error: one\n    2 | older\n      | ^\n");
    cr_expect(lb_diag_add_source(diag, "k.yaml", "new", 3) == file);
    lb_fail(diag, LB_INVALID, (lb_loc){file, 1, 1, 3}, "two");
    expect_printed(diag, "k.yaml:1:1: error: two\n    1 | new\n      | ^~~\n");
    cr_expect(lb_diag_add_source(diag, "empty", "", 0) != NULL);
    lb_fail(diag, LB_INVALID, (lb_loc){"empty", 1, 1, 1}, "nothing");
    expect_printed(diag, "empty:1:1: error: nothing\n    1 | \n      | ^\n");
    lb_diag_free(&diag);
}

/* Message i of each thread is the same, so each is kept once; notes stay with their own thread's.
 */
static void *report_many(void *argument)
{
    lb_diag *diag = argument;

    for (int i = 0; i < 2000; i++) {
        lb_fail(diag, LB_INVALID, (lb_loc){"k.yaml", i + 1, 1, 1}, "number %d", i);
        lb_note(diag, LB_NOWHERE, "note %d", i);
    }
    return NULL;
}

Test(status, many_threads_report)
{
    lb_diag *diag = new_diag();
    pthread_t threads[4];
    char *text, *at, want[128];
    int wrong = 0;

    for (int i = 0; i < 4; i++)
        cr_assert(pthread_create(&threads[i], NULL, report_many, diag) == 0);
    for (int i = 0; i < 4; i++)
        pthread_join(threads[i], NULL);
    cr_expect(lb_diag_count(diag, LB_ERROR) == 2000);
    cr_expect(lb_diag_count(diag, LB_NOTE) == 2000);
    at = text = printed(diag, false);
    for (int i = 0; i < 2000; i++) {
        snprintf(want, sizeof want, "k.yaml:%d:1: error: number %d\nlampblack: note: note %d\n",
                 i + 1, i, i);
        wrong += strncmp(at, want, strlen(want)) != 0;
        at += strlen(want);
    }
    cr_expect(wrong == 0, "%d are not in their place", wrong);
    free(text);
    lb_diag_free(&diag);
}

/* Memory is what is missing when much is told: the first messages fit all the same, cut if need be,
 * and what is lost is counted. */
Test(status, without_memory)
{
    char *text;
    lb_diag *diag;

    lb_memory_fail_at(1);
    cr_expect(lb_diag_new() == NULL);
    diag = new_diag();
    lb_memory_set_budget(1);
    for (int i = 0; i < 40; i++)
        lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no room for %0300d", i);
    cr_expect(lb_diag_add_source(diag, "x", "text", 4) == NULL);
    cr_expect(lb_diag_intern(diag, "x") == NULL);
    text = printed(diag, false);
    lb_memory_set_budget(0);
    cr_expect(lb_diag_worst(diag) == LB_MEMORY);
    cr_expect(lb_diag_count(diag, LB_ERROR) >= 1);
    cr_expect(strncmp(text, "lampblack: error: no room for 000", 33) == 0, "%s", text);
    free(text);
    for (int i = 0; i < 100; i++)
        lb_fail(diag, LB_MEMORY, LB_NOWHERE, "later %d", i);
    text = printed(diag, false);
    cr_expect(strstr(text, "later 0\n") && strstr(text, "later 99\n"));
    free(text);
    lb_diag_free(&diag);
}

/* Each allocation made to fail once: nothing leaks, the status comes through. */
Test(status, every_allocation_fails_once)
{
    size_t before = lb_memory_used();
    bool failed = true;

    for (int64_t n = 1; failed; n++) {
        lb_diag *diag;
        lb_memory_fail_at(n);
        diag = lb_diag_new();
        if (diag) {
            const char *file = lb_diag_add_source(diag, "k.yaml", "a\nb", 3);
            for (int i = 0; i < 300; i++) {
                cr_expect(lb_fail(diag, LB_IO, (lb_loc){file, 1, i, 1}, "%0*d", i, i) == LB_IO);
                lb_note(diag, (lb_loc){file, 2, 1, 1}, "n");
            }
            free(printed(diag, false));
            cr_expect(lb_diag_worst(diag) == LB_IO);
        }
        failed = lb_memory_fail_left() == 0;
        lb_memory_fail_at(0);
        lb_diag_free(&diag);
        cr_expect(lb_memory_used() == before, "%d", (int)n);
    }
}
