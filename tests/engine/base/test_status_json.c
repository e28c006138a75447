/* tests/engine/base/test_status_json.c: messages as JSON, read back by jansson (RFC 8259). */
#include <criterion/criterion.h>
#include <jansson.h>
#include <string.h>

#include "engine/base/status_json.h"

static json_t *messages_of(lb_diag *diag)
{
    lb_text text = {0};
    json_error_t error;
    json_t *all;

    lb_diag_json(diag, &text);
    cr_assert(!text.failed);
    all = json_loads(text.bytes, JSON_REJECT_DUPLICATES, &error);
    cr_assert(json_is_array(all), "%s\n%s", error.text, text.bytes);
    lb_text_clear(&text);
    return all;
}

static const char *word(const json_t *message, const char *key)
{
    const char *text = json_string_value(json_object_get(message, key));

    return text ? text : "(none)";
}

static int count(const json_t *message, const char *place, const char *key)
{
    const json_t *number = json_object_get(json_object_get(message, place), key);

    return json_is_integer(number) ? (int)json_integer_value(number) : -1;
}

/* What stands in the file between the bytes is what the message is about. */
static void expect_range(const json_t *message, const char *file, const char *want, int line,
                         int column, int end_column)
{
    int begin = count(message, "begin", "byte"), end = count(message, "end", "byte");

    cr_assert(begin >= 0 && end >= begin && end <= (int)strlen(file));
    cr_expect((size_t)(end - begin) == strlen(want) &&
                  memcmp(file + begin, want, strlen(want)) == 0,
              "%d to %d", begin, end);
    cr_expect(count(message, "begin", "line") == line && count(message, "end", "line") == line);
    cr_expect(count(message, "begin", "column") == column &&
              count(message, "end", "column") == end_column);
}

Test(status_json, the_documented_form)
{
    static const char source[] = "\xEF\xBB\xBF"
                                 "é: 窯火 x\r\nb: \"2\"\r\nb: 3\r\n";
    lb_diag *diag = lb_diag_new();
    const char *file = lb_diag_add_source(diag, "dir/k\"1\".yaml", source, sizeof source - 1);
    json_t *all, *one;

    lb_fail(diag, LB_INVALID, (lb_loc){file, 3, 1, 1}, "'b' is given twice");
    lb_note(diag, (lb_loc){file, 2, 1, 1}, "first here");
    lb_note(diag, LB_NOWHERE, "and\n\"that\"");
    lb_warn(diag, (lb_loc){file, 1, 4, 2}, "odd");
    lb_fail(diag, LB_IO, (lb_loc){.file = "b.exr"}, "cut short");
    lb_fail(diag, LB_IO, (lb_loc){"c.yaml", 7, 2, 3}, "unseen");
    lb_fail(diag, LB_IO, LB_NOWHERE, "\x01 \xff no");
    all = messages_of(diag);
    cr_assert(json_array_size(all) == 5);

    one = json_array_get(all, 0);
    cr_expect_str_eq(word(one, "severity"), "warning");
    cr_expect_str_eq(word(one, "message"), "odd");
    cr_expect_str_eq(word(one, "file"), "dir/k\"1\".yaml");
    cr_expect(json_array_size(json_object_get(one, "notes")) == 0);
    expect_range(one, source, "窯火", 1, 4, 6);

    one = json_array_get(all, 1);
    cr_expect_str_eq(word(one, "severity"), "error");
    expect_range(one, source, "b", 3, 1, 2);
    one = json_object_get(one, "notes");
    cr_assert(json_array_size(one) == 2);
    expect_range(json_array_get(one, 0), source, "b", 2, 1, 2);
    cr_expect_str_eq(word(json_array_get(one, 0), "message"), "first here");
    cr_expect_str_eq(word(json_array_get(one, 1), "message"), "and\n\"that\"");
    cr_expect(json_is_null(json_object_get(json_array_get(one, 1), "file")));
    cr_expect(!json_object_get(json_array_get(one, 1), "severity"));

    one = json_array_get(all, 2);
    cr_expect_str_eq(word(one, "file"), "b.exr");
    cr_expect(json_is_null(json_object_get(one, "begin")) &&
              json_is_null(json_object_get(one, "end")));
    one = json_array_get(all, 3);
    cr_expect(json_is_null(json_object_get(json_object_get(one, "begin"), "byte")));
    cr_expect(count(one, "begin", "line") == 7 && count(one, "end", "column") == 5);
    one = json_array_get(all, 4);
    cr_expect(json_is_null(json_object_get(one, "file")));
    cr_expect_str_eq(word(one, "message"), "\x01 \xEF\xBF\xBD no");
    json_decref(all);

    all = messages_of(diag); /* only once */
    cr_expect(json_array_size(all) == 0);
    json_decref(all);
    lb_diag_free(&diag);
}

/* Places that are none, and lines that end early. */
Test(status_json, odd_places)
{
    static const lb_loc rows[] = {
        {"f", 1, 0, 0},    {"f", 1, 1, 1000}, {"f", 1, 9, 5},
        {"f", -3, -3, -3}, {"f", 2, 3, -7},   {"f", INT32_MAX, INT32_MAX, INT32_MAX},
    };
    lb_diag *diag = lb_diag_new();
    json_t *all;

    cr_assert(lb_diag_add_source(diag, "f", "one\ntwo", 7));
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        lb_fail(diag, LB_INVALID, rows[i], "%zu", i);
    all = messages_of(diag);
    cr_expect(json_array_size(all) == sizeof rows / sizeof rows[0]);
    for (size_t i = 0; i < json_array_size(all); i++) {
        const json_t *one = json_array_get(all, i);
        int begin = count(one, "begin", "byte"), end = count(one, "end", "byte");

        cr_expect(end >= begin && end <= 7, "%zu: %d to %d", i, begin, end);
    }
    json_decref(all);
    lb_diag_free(&diag);
    diag = NULL;
    all = messages_of(diag);
    cr_expect(json_array_size(all) == 0);
    json_decref(all);
}
