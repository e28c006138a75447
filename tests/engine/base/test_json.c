/* tests/engine/base/test_json.c: what is written is JSON, read back by jansson. */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>

#include "engine/base/json.h"

Test(json, is_read_back)
{
    lb_text text = {0};
    lb_json json = {.text = &text};
    json_error_t error;
    json_t *root, *list;

    lb_json_open(&json, '{', false);
    lb_json_key(&json, "empty");
    lb_json_open(&json, '[', false);
    lb_json_close(&json, ']');
    lb_json_key(&json, "flat");
    lb_json_open(&json, '[', true);
    lb_json_number(&json, 0.1);
    lb_json_number(&json, NAN);
    lb_json_open(&json, '{', false);
    lb_json_key(&json, "a \"b\"\n");
    lb_json_bool(&json, true);
    lb_json_close(&json, '}');
    lb_json_close(&json, ']');
    lb_json_key(&json, "text");
    lb_json_text(&json, "\xC3\xA4\x01");
    lb_json_key(&json, "raw");
    lb_json_raw(&json, "{\"x\": [1]}");
    lb_json_close(&json, '}');
    cr_assert(!text.failed);
    cr_expect_str_eq(text.bytes, "{\n \"empty\": [],\n \"flat\": [0.1, null, {\"a \\\"b\\\"\\n\": "
                                 "true}],\n \"text\": \"\xC3\xA4\\u0001\",\n \"raw\": {\"x\": "
                                 "[1]}\n}");
    root = json_loads(text.bytes, JSON_REJECT_DUPLICATES, &error);
    cr_assert(root, "%s", error.text);
    list = json_object_get(root, "flat");
    cr_expect_eq(json_array_size(list), 3);
    cr_expect(json_real_value(json_array_get(list, 0)) == 0.1);
    cr_expect(json_is_true(json_object_get(json_array_get(list, 2), "a \"b\"\n")));
    json_decref(root);
    lb_text_clear(&text);
}

Test(json, remembers_that_memory_ran_out)
{
    for (int64_t n = 1; n <= 3; n++) {
        lb_text text = {0};
        lb_json json = {.text = &text};

        lb_memory_fail_at(n);
        lb_json_open(&json, '[', false);
        for (int i = 0; i < 200; i++)
            lb_json_number(&json, i / 3.0);
        lb_json_close(&json, ']');
        lb_memory_fail_at(0);
        cr_expect(text.failed, "allocation %d", (int)n);
        lb_text_clear(&text);
    }
}
