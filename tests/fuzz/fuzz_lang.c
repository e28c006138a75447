/* tests/fuzz/fuzz_lang.c: random graphs, with all their versions, by libFuzzer. Not part of the
 * build.
 *
 * In the repository's root, with clang-14, libfuzzer-14-dev and libclang-rt-14-dev:
 *
 *   layers=engine/{base,image,color,media,scene,raster,graph}
 *   eval sources="($layers/[a-z]*.c lang/[a-z]*.c)"
 *   flags="-std=c11 -D_GNU_SOURCE -DLB_NO_CLONES -I. -isystem /usr/include/stb -g -O1"
 *   libs="$(pkg-config --cflags --libs yaml-0.1 libxxhash libutf8proc jansson spng zlib OpenEXR)
 * -lm"
 *   clang-14 $flags -fsanitize=fuzzer,address,undefined -o /tmp/fuzz_lang \
 *       tests/fuzz/fuzz_lang.c "${sources[@]}" $libs -lOpenEXRCore-3_1 -lpthread
 *   mkdir -p /tmp/graphs && cp $(find examples -name '*.yaml') /tmp/graphs
 *   /tmp/fuzz_lang -max_total_time=60 -rss_limit_mb=2000 -timeout=10 -max_len=8192 /tmp/graphs
 *
 * What it finds becomes a test in tests/lang. */
#include "engine/base/status_json.h"
#include "lang/lang.h"
#include "tests/lang/graph_ops.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    lb_diag *diag = lb_diag_new();
    const lb_lang_options options = {.ops = any_ops, .all_versions = true};
    lb_graph *graph = NULL;
    lb_text json = {0};
    lb_status status = LB_MEMORY;

    if (diag)
        status = lb_lang_read_text(diag, "g.yaml", (const char *)data, size, &options, &graph);
    if ((status == LB_OK) != (graph != NULL) ||
        (diag && (status == LB_OK) != (lb_diag_count(diag, LB_ERROR) == 0)))
        __builtin_trap();
    if (diag)
        lb_diag_json(diag, &json);
    lb_text_clear(&json);
    lb_graph_free(&graph);
    lb_diag_free(&diag);
    return 0;
}
