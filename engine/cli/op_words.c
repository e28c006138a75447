/* engine/cli/op_words.c */
#include "engine/cli/op_words.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void lb_op_put_initial(lb_text *out, const lb_param *param)
{
    static const int32_t counts[] = {
        [LB_NUMBER] = 1, [LB_VEC2] = 2, [LB_VEC3] = 3, [LB_VEC4] = 4, [LB_COLOR] = 3, [LB_INT] = 1};
    char number[32];
    int32_t count = 0;

    if (param->required)
        return;
    if (param->type == LB_BOOL)
        lb_text_put(out, param->initial[0] != 0 ? "true" : "false");
    else if (param->type == LB_CHOICE && lb_is_set(param->initial[0]))
        lb_text_put(out, param->names[(int)param->initial[0]]);
    else if (param->initial_text && (param->type == LB_TEXT || param->type == LB_FILE))
        lb_text_put(out, param->initial_text);
    else if (param->type == LB_INT || (param->type >= LB_NUMBER && param->type <= LB_COLOR))
        count = counts[param->type];
    if (count == 0 || !lb_is_set(param->initial[0]))
        return;
    for (int32_t i = 0; i < count; i++)
        lb_text_printf(out, "%s%s",
                       i           ? ", "
                       : count > 1 ? "["
                                   : "",
                       lb_text_from_number(param->initial[i], number));
    if (count > 1)
        lb_text_put(out, "]");
}

static void put_from_to(lb_text *out, double from, double to)
{
    char low[32], high[32];

    lb_text_from_number(from, low);
    if (isinf(to))
        lb_text_printf(out, "at least %s", low);
    else
        lb_text_printf(out, "%s to %s", low, lb_text_from_number(to, high));
}

void lb_op_put_range(lb_text *out, const lb_param *param)
{
    bool has_range = param->min != 0 || param->max != 0;
    bool has_usual = param->usual_min != 0 || param->usual_max != 0;

    if (has_range)
        put_from_to(out, param->min, param->max);
    if (has_usual)
        lb_text_put(out, has_range ? ", usually " : "usually ");
    if (has_usual)
        put_from_to(out, param->usual_min, param->usual_max);
}

void lb_op_put_example(lb_text *out, const lb_op *op)
{
    if (!op->example)
        return;
    lb_text_printf(out,
                   "lampblack: 1\n\n"
                   "frame: {size: [320, 180], rate: 25, range: [1, 50]}\n\n"
                   "nodes:\n%s\n"
                   "outputs:\n"
                   "  picture: {image: last, file: \"%s.png\", range: 20}\n",
                   op->example, op->name);
}

/* Groups in the order in which a picture goes through them. */
static const struct {
    const char *name, *text;
} groups[] = {
    {"source", "Pictures from files, type and formulas"},
    {"scene", "Things in space, what they are made of, and pictures of them"},
    {"filter", "Pictures blurred, displaced, moved, and the light around them"},
    {"color", "Colour of each pixel"},
    {"channel", "Channels and alpha"},
    {"composite", "Two pictures into one"},
};
#define GROUPS (sizeof groups / sizeof groups[0])

static size_t group_index(const char *name)
{
    size_t i = 0;

    while (i < GROUPS && name && strcmp(groups[i].name, name) != 0)
        i++;
    return name ? i : GROUPS;
}

const char *lb_op_group_text(const char *group)
{
    size_t i = group_index(group);

    return i < GROUPS ? groups[i].text : "Others";
}

static int by_group(const void *left, const void *right)
{
    const lb_op *a = *(const lb_op *const *)left, *b = *(const lb_op *const *)right;
    size_t i = group_index(a->group), k = group_index(b->group);

    if (i != k)
        return i < k ? -1 : 1;
    return strcmp(a->name, b->name);
}

const lb_op **lb_ops_by_group(const lb_op *const *list)
{
    const lb_op **sorted;
    size_t count = 0;

    while (list[count])
        count++;
    if (!(sorted = lb_alloc(count + 1, sizeof(const lb_op *))))
        return NULL;
    for (size_t i = 0; i < count; i++)
        sorted[i] = list[i];
    qsort(sorted, count, sizeof(const lb_op *), by_group);
    return sorted;
}
