/* engine/cli/session.c: what a command works with, opened and closed in one place. */
#include "engine/cli/session.h"

#include <malloc.h>
#include <stdarg.h>
#include <string.h>

#include "engine/cli/cli.h"
#include "nodes/nodes.h"

lb_status lb_session_operators(lb_session *session, const lb_texts *objects)
{
    lb_status status = lb_operators_new(lb_nodes_registry, &session->operators);

    if (status != LB_OK)
        lb_fail(session->diag, status, LB_NOWHERE, "no memory");
    for (int32_t i = 0; i < objects->count && status == LB_OK; i++)
        status = lb_operators_load(session->operators, session->diag, LB_NOWHERE, objects->list[i]);
    session->in_trouble = session->in_trouble || status != LB_OK;
    return status;
}

lb_status lb_session_threads(lb_session *session, int32_t count)
{
    lb_status status = lb_pool_new(count, &session->pool);

    if (status != LB_OK)
        return lb_fail(session->diag, status, LB_NOWHERE, "the threads could not be made");
    return LB_OK;
}

lb_status lb_session_version(lb_session *session, const char *path, const lb_settings *settings,
                             const char *version, bool all_versions, lb_graph **out)
{
    const lb_lang_options options = {
        .ops = session->operators ? lb_operators_list(session->operators) : lb_nodes_registry,
        .settings = settings ? settings->list : NULL,
        .setting_count = settings ? settings->count : 0,
        .version = version,
        .all_versions = all_versions};
    lb_status status;

    *out = NULL;
    if (!lb_grow((void **)&session->graphs, &session->graph_capacity, (size_t)session->graph_count,
                 sizeof(lb_graph *)))
        return lb_fail(session->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    status = lb_lang_read(session->diag, path, &options, out);
    if (status == LB_OK)
        session->graphs[session->graph_count++] = *out;
    return status;
}

lb_status lb_session_graph(lb_session *session, const char *path, const lb_settings *settings,
                           lb_graph **out)
{
    return lb_session_version(session, path, settings, NULL, false, out);
}

void lb_session_keep_memory(size_t bytes)
{
    size_t there = lb_memory_resident();

    if (bytes == 0)
        return;
    mallopt(M_MMAP_THRESHOLD, 1 << 20);
    mallopt(M_TRIM_THRESHOLD, 4 << 20);
    lb_memory_set_budget(bytes > 2 * there ? bytes - there : bytes);
}

lb_status lb_session_print(lb_session *session, lb_text *text)
{
    lb_status status = LB_OK;

    if (text->failed)
        status = lb_fail(session->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    else if (text->bytes)
        fwrite(text->bytes, 1, text->length, stdout);
    lb_text_clear(text);
    return status;
}

lb_status lb_session_usage(lb_session *session, const char *format, ...)
{
    va_list args;

    va_start(args, format);
    lb_options_wrong(session->command, format, args);
    va_end(args);
    session->in_trouble = true;
    return LB_INVALID;
}

/* What was asked for is out before anything is said about it. */
static void close_session(lb_session *session)
{
    fflush(stdout);
    if (session->diag)
        lb_print_messages(session->diag);
    for (int32_t i = 0; i < session->graph_count; i++)
        lb_graph_free(&session->graphs[i]);
    lb_free(session->graphs);
    lb_pool_free(&session->pool);
    lb_operators_free(&session->operators);
    lb_diag_free(&session->diag);
}

int lb_session_run(const lb_command *command, int argc, char **argv)
{
    lb_session session = {.command = command};
    void *options = lb_alloc(1, command->options_size + 1);
    int result = LB_EXIT_TROUBLE;

    if (!options || !(session.diag = lb_diag_new()))
        fputs("lampblack: no memory\n", stderr);
    else if (lb_options_parse(command, argc, argv, options))
        result = lb_exit_of(command->run(&session, options));
    if (session.in_trouble)
        result = LB_EXIT_TROUBLE;
    close_session(&session);
    if (options)
        lb_options_clear(command, options);
    lb_free(options);
    return result;
}
