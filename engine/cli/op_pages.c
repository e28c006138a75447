/* engine/cli/op_pages.c: the reference of the operators as Markdown pages with pictures. */
#include "engine/cli/op_pages.h"

#include <string.h>

#include "engine/base/file.h"
#include "engine/cli/op_words.h"

typedef struct pages {
    lb_session *session;
    const char *folder;
} pages;

/* ---- Tables ---- */

/* "[x, y], pixels, 0 to 10000", and of a choice its names. */
static void put_type(lb_text *out, const lb_param *param)
{
    lb_text range = {0};

    lb_op_put_range(&range, param);
    if (param->type == LB_CHOICE)
        for (int i = 0; param->names[i]; i++)
            lb_text_printf(out, "%s`%s`", i ? ", " : "", param->names[i]);
    else
        lb_text_printf(out, "%s%s", param->spread ? "a number or " : "", lb_type_text(param->type));
    if (range.length > 0)
        lb_text_printf(out, "; %s", range.bytes);
    if (param->unit != LB_UNITLESS)
        lb_text_printf(out, "%s%s", range.length > 0 ? " " : ", ", lb_unit_text(param->unit));
    out->failed = out->failed || range.failed;
    lb_text_clear(&range);
}

/* Rows of a Markdown table; fields of records get their parent's name before them. */
static void put_params(lb_text *out, const lb_param *params, const char *prefix)
{
    for (; params && params->name; params++) {
        lb_text initial = {0}, name = {0};

        lb_op_put_initial(&initial, params);
        lb_text_printf(&name, "%s%s", prefix, params->name);
        lb_text_printf(out, "| `%s` | ", name.bytes ? name.bytes : "");
        put_type(out, params);
        if (params->required)
            lb_text_put(out, " | required");
        else if (initial.length > 0)
            lb_text_printf(out, " | `%s`", initial.bytes);
        else
            lb_text_put(out, " | ");
        lb_text_printf(out, " | %s%s |\n", params->doc ? params->doc : "",
                       params->fixed ? " Cannot change from frame to frame." : "");
        if (params->fields) {
            lb_text_put(&name, ".");
            put_params(out, params->fields, name.bytes ? name.bytes : "");
        }
        out->failed = out->failed || initial.failed || name.failed;
        lb_text_clear(&initial);
        lb_text_clear(&name);
    }
}

static void put_page(lb_text *out, const lb_op *op)
{
    lb_text_printf(out, "# %s\n\n%s; makes %s.\n", op->name, op->summary, lb_kind_text(op->result));
    if (op->example)
        lb_text_printf(out, "\n![%s](%s.png)\n", op->summary, op->name);
    if (op->doc)
        lb_text_printf(out, "\n%s\n", op->doc);
    if (op->inputs && op->inputs[0].name)
        lb_text_put(out, "\n| input | takes | |\n| --- | --- | --- |\n");
    for (const lb_input *input = op->inputs; input && input->name; input++)
        lb_text_printf(out, "| `%s` | %s%s%s | %s |\n", input->name, lb_kind_text(input->kind),
                       input->list ? ", a list" : "", input->optional ? ", optional" : "",
                       input->doc ? input->doc : "");
    if (op->params && op->params[0].name)
        lb_text_put(out, "\n| parameter | takes | by itself | |\n| --- | --- | --- | --- |\n");
    put_params(out, op->params, "");
    if (op->example) {
        lb_text_put(out, "\nThe picture above:\n\n```yaml\n");
        lb_op_put_example(out, op);
        lb_text_put(out, "```\n");
    }
}

static void put_index(lb_text *out, const lb_op *const *sorted)
{
    const char *group = NULL;

    lb_text_put(out, "# Operators\n\n"
                     "Written by `lampblack ops --pages` from the tables that check the graphs; a "
                     "test compares the two.\n`lampblack ops NAME` prints what stands here. Any "
                     "parameter takes a literal, `{param: …}`, `{expr: …}`\nor `{keys: …}` unless "
                     "its page says otherwise: see [the language](../language.md#values).\n");
    for (; *sorted; sorted++) {
        const lb_op *op = *sorted;

        if (!group || strcmp(group, op->group ? op->group : "") != 0) {
            group = op->group ? op->group : "";
            lb_text_printf(out, "\n## %s\n\n| | | |\n| --- | --- | --- |\n",
                           lb_op_group_text(op->group));
        }
        lb_text_printf(out, "| [%s](%s.md) | %s | ", op->name, op->name, op->summary);
        if (op->example)
            lb_text_printf(out, "<img src=\"%s.png\" width=\"160\" alt=\"\"> ", op->name);
        lb_text_put(out, "|\n");
    }
}

/* ---- Files ---- */

static lb_status write_text(const pages *p, const char *name, lb_text *text)
{
    char *path = lb_path_join(p->folder, name);
    lb_status status = LB_MEMORY;

    if (path && !text->failed)
        status = lb_file_write(p->session->diag, LB_NOWHERE, path, text->bytes, text->length);
    else
        lb_fail(p->session->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    lb_free(path);
    lb_text_clear(text);
    return status;
}

/* The picture of an example: its one output at its one frame. */
static lb_status make_picture(const pages *p, const lb_graph *graph)
{
    const lb_output *output = &graph->outputs[0];
    lb_run_options options = {.pool = p->session->pool, .diag = p->session->diag, .scale = 1};
    lb_want want = {.ref = output->image};
    lb_value value = {0};
    lb_run *run = NULL;
    lb_status status = lb_run_new(graph, &options, &run);

    if (status == LB_OK)
        status = lb_run_frame(run, output->first, &want, 1, &value, NULL);
    if (status == LB_OK)
        status = lb_media_write(p->session->pool, p->session->diag, output->file_loc, output->file,
                                value.image, &output->write);
    lb_value_unref(&value);
    lb_run_free(&run);
    return status;
}

static lb_status write_picture(const pages *p, const lb_op *op)
{
    lb_diag *diag = p->session->diag;
    lb_text name = {0}, text = {0};
    lb_graph *graph = NULL;
    char *path = NULL;
    lb_status status = LB_OK;

    lb_text_printf(&name, "%s.yaml", op->name);
    lb_op_put_example(&text, op);
    if (name.failed || text.failed || !(path = lb_path_join(p->folder, name.bytes)))
        status = lb_fail(diag, LB_MEMORY, LB_NOWHERE, "no memory");
    if (status == LB_OK)
        status = lb_lang_parse(diag, path, text.bytes, text.length,
                               lb_operators_list(p->session->operators), NULL, 0, &graph);
    if (status == LB_OK)
        status = make_picture(p, graph);
    lb_graph_free(&graph);
    lb_free(path);
    lb_text_clear(&name);
    lb_text_clear(&text);
    return status;
}

static lb_status write_op(const pages *p, const lb_op *op)
{
    lb_text name = {0}, page = {0};
    lb_status status;

    lb_text_printf(&name, "%s.md", op->name);
    put_page(&page, op);
    page.failed = page.failed || name.failed;
    status = write_text(p, name.failed ? "" : name.bytes, &page);
    lb_text_clear(&name);
    return status == LB_OK && op->example ? write_picture(p, op) : status;
}

lb_status lb_op_pages_write(lb_session *session, const char *folder)
{
    const pages p = {session, folder};
    const lb_op **sorted = lb_ops_by_group(lb_operators_list(session->operators));
    lb_text index = {0};
    lb_status status;

    if (!sorted)
        return lb_fail(session->diag, LB_MEMORY, LB_NOWHERE, "no memory");
    put_index(&index, sorted);
    status = write_text(&p, "README.md", &index);
    for (size_t i = 0; status == LB_OK && sorted[i]; i++)
        status = write_op(&p, sorted[i]);
    lb_free(sorted);
    return status;
}
