/* engine/media/alloc.c: memory for libraries.
 *
 * Their allocators are given no context, and not all of them say later that it was memory that
 * they lacked (others say so when it was not); so whether there was none is noted where it happens,
 * on the thread where it happens. */
#include "engine/media/codec.h"

static _Thread_local bool ran_out;

void *lb_codec_alloc(size_t bytes)
{
    void *block = bytes <= LB_CODEC_BLOCK_MAX ? lb_alloc(1, bytes ? bytes : 1) : NULL;

    ran_out = ran_out || !block;
    return block;
}

void *lb_codec_calloc(size_t count, size_t size)
{
    size_t bytes;

    return lb_codec_alloc(lb_size_mul(count, size, &bytes) ? bytes : SIZE_MAX);
}

void *lb_codec_realloc(void *block, size_t bytes)
{
    void *grown = bytes <= LB_CODEC_BLOCK_MAX ? lb_realloc(block, 1, bytes ? bytes : 1) : NULL;

    ran_out = ran_out || !grown;
    return grown;
}

void *lb_codec_block(size_t bytes)
{
    void *block = lb_block_new(bytes);

    ran_out = ran_out || !block;
    return block;
}

void lb_codec_note_shortage(void)
{
    ran_out = true;
}

bool lb_codec_ran_out(void)
{
    bool did = ran_out;

    ran_out = false;
    return did;
}

void *lb_codec_zalloc(void *opaque, unsigned count, unsigned size)
{
    (void)opaque;
    return lb_codec_calloc(count, size);
}

void lb_codec_zfree(void *opaque, void *block)
{
    (void)opaque;
    lb_free(block);
}
