/* tests/fuzz/fuzz_format.c: random texts for lb_lang_format and lb_lang_merge, by libFuzzer. Not
 * part of the build. It is built and run as fuzz_lang.c says, with this file in its place; a merge
 * takes the three parts of the text between lines "%%". */
#include <string.h>

#include "lang/format.h"
#include "lang/layout.h"
#include "lang/merge.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* What is laid out once stays as it is. */
static void try_format(const char *text, size_t bytes)
{
    lb_text once = {0}, twice = {0};
    lb_status status = lb_lang_format(NULL, "f", text, bytes, &once);

    if (status == LB_UNSUPPORTED)
        __builtin_trap();
    if (status == LB_OK && (lb_lang_format(NULL, "f", once.bytes, once.length, &twice) != LB_OK ||
                            strcmp(once.bytes, twice.bytes) != 0))
        __builtin_trap();
    lb_text_clear(&once);
    lb_text_clear(&twice);
}

static void try_merge(const char *text, size_t bytes)
{
    lb_merge_side sides[3] = {{"base", text, 0}, {"ours", text, 0}, {"theirs", text, 0}};
    lb_text made = {0};
    int32_t conflicts;
    const char *end = text + bytes;
    lb_status status;

    for (int i = 0; i < 3; i++) {
        const char *cut = i < 2 ? memmem(text, (size_t)(end - text), "%%\n", 3) : end;

        if (!cut)
            return;
        sides[i].text = text;
        sides[i].bytes = (size_t)(cut - text);
        text = cut + 3;
    }
    status = lb_lang_merge(NULL, &sides[0], &sides[1], &sides[2], &made, &conflicts);
    if ((status == LB_OK) != (made.bytes != NULL))
        __builtin_trap();
    lb_text_clear(&made);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    try_format((const char *)data, size);
    try_merge((const char *)data, size);
    return 0;
}
