/* lang/easing.c: CSS Easing Functions Level 1 (cubic-bezier, steps) and Level 2 (linear). */
#include "lang/easing.h"

#include <math.h>
#include <string.h>

#include "engine/base/text.h"

#define MAX_STOPS 1000
#define MAX_STEPS 1000000

static const struct named {
    const char *name;
    lb_easing easing;
} named[] = {
    /* Level 1, sections 2.1 to 2.3 */
    {"linear", {0}},
    {"ease", {LB_EASING_BEZIER, 0.25, 0.1, 0.25, 1, 0, 0, 0, NULL}},
    {"ease-in", {LB_EASING_BEZIER, 0.42, 0, 1, 1, 0, 0, 0, NULL}},
    {"ease-out", {LB_EASING_BEZIER, 0, 0, 0.58, 1, 0, 0, 0, NULL}},
    {"ease-in-out", {LB_EASING_BEZIER, 0.42, 0, 0.58, 1, 0, 0, 0, NULL}},
    {"step-start", {LB_EASING_STEPS, 0, 0, 0, 0, 1, LB_JUMP_START, 0, NULL}},
    {"step-end", {LB_EASING_STEPS, 0, 0, 0, 0, 1, LB_JUMP_END, 0, NULL}},
};

typedef struct scanner {
    lb_diag *diag;
    const lb_yaml_node *scalar;
    lb_arena *arena;
    size_t at;
} scanner;

/* --- reading --- */

static bool is_word(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
           c == '+' || c == '.' || c == '_';
}

static void skip_space(scanner *s)
{
    while (s->at < s->scalar->length && strchr(" \t\n", s->scalar->text[s->at]))
        s->at++;
}

static lb_loc here(const scanner *s)
{
    size_t end = s->at;

    while (end < s->scalar->length && is_word(s->scalar->text[end]))
        end++;
    return lb_yaml_place(s->scalar, s->at, end > s->at || end == s->scalar->length ? end : end + 1);
}

static lb_status expect(scanner *s, char c)
{
    skip_space(s);
    if (s->at >= s->scalar->length)
        return lb_fail(s->diag, LB_INVALID, here(s),
                       "the easing function ends where '%c' should be", c);
    if (s->scalar->text[s->at] != c)
        return lb_fail(s->diag, LB_INVALID, here(s), "'%c' should be here", c);
    s->at++;
    return LB_OK;
}

static bool has(scanner *s, char c)
{
    skip_space(s);
    return s->at < s->scalar->length && s->scalar->text[s->at] == c;
}

/* A word or number; its length, 0 if there is none. */
static size_t word(scanner *s, const char **out)
{
    size_t begin;

    skip_space(s);
    begin = s->at;
    while (s->at < s->scalar->length && is_word(s->scalar->text[s->at]))
        s->at++;
    *out = s->scalar->text + begin;
    return s->at - begin;
}

static bool is_name(const char *text, size_t length, const char *name)
{
    return strlen(name) == length && memcmp(text, name, length) == 0;
}

static lb_status read_number(scanner *s, double *out)
{
    const char *text;
    size_t length = word(s, &text);

    if (length > 0 && lb_text_number(text, length, out) && isfinite(*out))
        return LB_OK;
    s->at = (size_t)(text - s->scalar->text);
    return lb_fail(s->diag, LB_INVALID, here(s), "a number should be here");
}

static lb_status read_bezier(scanner *s, lb_easing *out)
{
    double *const numbers[] = {&out->x1, &out->y1, &out->x2, &out->y2};
    lb_status status = expect(s, '(');

    out->kind = LB_EASING_BEZIER;
    for (int i = 0; status == LB_OK && i < 4; i++) {
        lb_loc loc;

        if (i > 0 && (status = expect(s, ',')) != LB_OK)
            break;
        skip_space(s);
        loc = here(s);
        status = read_number(s, numbers[i]);
        if (status == LB_OK && i % 2 == 0 && (*numbers[i] < 0 || *numbers[i] > 1))
            status =
                lb_fail(s->diag, LB_INVALID, loc, "x%d of cubic-bezier is %g; it goes from 0 to 1",
                        i / 2 + 1, *numbers[i]);
    }
    return status == LB_OK ? expect(s, ')') : status;
}

static lb_status read_jump(scanner *s, lb_jump *out)
{
    static const char *const names[] = {"jump-start", "jump-end", "jump-none", "jump-both",
                                        "start",      "end",      NULL};
    const char *text;
    size_t length = word(s, &text);

    for (int i = 0; names[i]; i++)
        if (is_name(text, length, names[i])) {
            *out = (lb_jump)(i < 4 ? i : i - 4);
            return LB_OK;
        }
    s->at = (size_t)(text - s->scalar->text);
    return lb_fail(s->diag, LB_INVALID, here(s),
                   "jump-start, jump-end, jump-none or jump-both should be here");
}

static lb_status read_steps(scanner *s, lb_easing *out)
{
    double count = 0;
    lb_loc loc;
    lb_status status;

    out->kind = LB_EASING_STEPS;
    out->jump = LB_JUMP_END;
    if ((status = expect(s, '(')) != LB_OK)
        return status;
    skip_space(s);
    loc = here(s);
    if ((status = read_number(s, &count)) != LB_OK)
        return status;
    if (has(s, ',')) {
        s->at++;
        if ((status = read_jump(s, &out->jump)) != LB_OK)
            return status;
    }
    if (count != floor(count) || count > MAX_STEPS || count < (out->jump == LB_JUMP_NONE ? 2 : 1))
        return lb_fail(s->diag, LB_INVALID, loc, "steps takes a whole number from %d to %d",
                       out->jump == LB_JUMP_NONE ? 2 : 1, MAX_STEPS);
    out->steps = (int32_t)count;
    return expect(s, ')');
}

/* One stop: a number and up to two percentages, before or behind it. A stop with two is two. */
static lb_status read_stop(scanner *s, double *output, double inputs[2], int *input_count)
{
    bool has_output = false, in_percentages = false;
    lb_status status;

    *input_count = 0;
    skip_space(s);
    while (s->at < s->scalar->length && !has(s, ',') && !has(s, ')')) {
        lb_loc loc = here(s);
        double number = 0;

        if ((status = read_number(s, &number)) != LB_OK)
            return status;
        if (s->at < s->scalar->length && s->scalar->text[s->at] == '%') {
            s->at++;
            /* the percentages of a stop stand together */
            if (*input_count == 2 || (*input_count == 1 && !in_percentages))
                return lb_fail(s->diag, LB_INVALID, loc,
                               "a stop is a number with one or two percentages");
            inputs[(*input_count)++] = number / 100;
            in_percentages = true;
        } else {
            if (has_output)
                return lb_fail(s->diag, LB_INVALID, loc, "a comma should be before this number");
            *output = number;
            has_output = true;
            in_percentages = false;
        }
    }
    return has_output ? LB_OK : lb_fail(s->diag, LB_INVALID, here(s), "a number should be here");
}

/* Level 2, section 2.2: what was left out. NaN marks inputs that were not given. */
static void complete_stops(lb_easing_stop *stops, int32_t count)
{
    double largest = -INFINITY;

    if (isnan(stops[0].input))
        stops[0].input = 0;
    for (int32_t i = 0; i < count; i++) {
        if (!isnan(stops[i].input) && stops[i].input < largest)
            stops[i].input = largest;
        if (!isnan(stops[i].input))
            largest = stops[i].input;
    }
    if (isnan(stops[count - 1].input))
        stops[count - 1].input = largest > 1 ? largest : 1;
    for (int32_t i = 1, end; i < count; i = end) {
        end = i + 1;
        if (!isnan(stops[i].input))
            continue;
        while (isnan(stops[end].input))
            end++;
        for (int32_t k = i; k < end; k++)
            stops[k].input = stops[i - 1].input +
                             (stops[end].input - stops[i - 1].input) * (k - i + 1) / (end - i + 1);
    }
}

static lb_status read_stops(scanner *s, lb_easing *out)
{
    lb_easing_stop *stops = NULL;
    size_t capacity = 0, count = 0, arguments = 0;
    lb_loc loc = here(s);
    lb_status status = expect(s, '(');

    while (status == LB_OK) {
        double output = 0, inputs[2] = {NAN, NAN};
        int input_count;

        if ((status = read_stop(s, &output, inputs, &input_count)) != LB_OK)
            break;
        arguments++;
        for (int i = 0; status == LB_OK && i < (input_count == 2 ? 2 : 1); i++) {
            if (count >= MAX_STOPS)
                status = lb_fail(s->diag, LB_LIMIT, loc, "more than %d stops", MAX_STOPS);
            else if (!lb_grow((void **)&stops, &capacity, count, sizeof *stops))
                status = lb_fail(s->diag, LB_MEMORY, loc, "no memory");
            else
                stops[count++] = (lb_easing_stop){inputs[i], output};
        }
        if (status != LB_OK || !has(s, ','))
            break;
        s->at++;
    }
    if (status == LB_OK && (status = expect(s, ')')) == LB_OK) {
        lb_easing_stop *kept = lb_arena_alloc(s->arena, count, sizeof *kept);

        if (arguments < 2) {
            status = lb_fail(s->diag, LB_INVALID, loc, "linear() takes two stops or more");
        } else if (!kept) {
            status = lb_fail(s->diag, LB_MEMORY, loc, "no memory");
        } else {
            memcpy(kept, stops, count * sizeof *kept);
            complete_stops(kept, (int32_t)count);
            out->stops = kept;
            out->stop_count = (int32_t)count;
        }
    }
    lb_free(stops);
    return status;
}

static lb_status unknown(scanner *s, const char *text, size_t length, lb_loc loc)
{
    static const char *const names[] = {"linear",   "ease",         "ease-in",
                                        "ease-out", "ease-in-out",  "step-start",
                                        "step-end", "cubic-bezier", "steps"};
    char name[32] = "";
    const char *nearest = NULL;

    if (length < sizeof name) {
        memcpy(name, text, length);
        nearest = lb_text_nearest(name, names, sizeof names / sizeof names[0]);
    }
    if (nearest && strcmp(nearest, name) == 0)
        return lb_fail(s->diag, LB_INVALID, loc, "'%s' %s", name,
                       text[length] == '(' ? "takes no values in brackets"
                                           : "takes its values in brackets");
    return lb_fail(s->diag, LB_INVALID, loc, "unknown easing function '%.*s'%s%s%s",
                   (int)(length < 60 ? length : 60), text, nearest ? "; did you mean '" : "",
                   nearest ? nearest : "", nearest ? "'?" : "");
}

lb_status lb_easing_read(lb_diag *diag, const lb_yaml_node *scalar, lb_arena *arena, lb_easing *out)
{
    scanner s = {diag, scalar, arena, 0};
    const char *text;
    size_t length;
    lb_loc loc;
    bool is_function;
    lb_status status = LB_INVALID;

    *out = (lb_easing){0};
    skip_space(&s);
    loc = here(&s);
    length = word(&s, &text);
    is_function = s.at < scalar->length && scalar->text[s.at] == '(';
    if (is_function && is_name(text, length, "cubic-bezier")) {
        status = read_bezier(&s, out);
    } else if (is_function && is_name(text, length, "steps")) {
        status = read_steps(&s, out);
    } else if (is_function && is_name(text, length, "linear")) {
        status = read_stops(&s, out);
    } else {
        for (size_t i = 0; !is_function && i < sizeof named / sizeof named[0]; i++)
            if (is_name(text, length, named[i].name)) {
                *out = named[i].easing;
                status = LB_OK;
            }
        if (status != LB_OK)
            return unknown(&s, text, length, loc);
    }
    skip_space(&s);
    if (status == LB_OK && s.at < scalar->length)
        status = lb_fail(diag, LB_INVALID, here(&s), "the easing function should end here");
    return status;
}

/* --- evaluation --- */

/* One coordinate of the curve from (0, 0) to (1, 1) with control coordinates a and b. */
static double bezier(double a, double b, double s)
{
    double r = 1 - s;

    return 3 * r * r * s * a + 3 * r * s * s * b + s * s * s;
}

/* Level 1, section 2.2, outside 0 .. 1: the tangent at that end; where it is vertical, the end. */
static double before_start(const lb_easing *e, double x)
{
    if (e->x1 > 0)
        return x * e->y1 / e->x1;
    if (e->y1 == 0 && e->x2 > 0) /* the first control point is the start itself */
        return x * e->y2 / e->x2;
    if (e->y1 == 0 && e->x2 == 0 && e->y2 == 0)
        return x;
    return 0;
}

static double behind_end(const lb_easing *e, double x)
{
    if (e->x2 < 1)
        return 1 + (x - 1) * (1 - e->y2) / (1 - e->x2);
    if (e->y2 == 1 && e->x1 < 1)
        return 1 + (x - 1) * (1 - e->y1) / (1 - e->x1);
    if (e->y2 == 1 && e->x1 == 1 && e->y1 == 1)
        return x;
    return 1;
}

/* x(s) never falls for x1, x2 in 0 .. 1, so halving finds s; Newton's steps make it quick. */
static double bezier_at(const lb_easing *e, double x)
{
    double low = 0, high = 1, s = x;

    if (!(x > 0))
        return before_start(e, x);
    if (x >= 1)
        return behind_end(e, x);
    for (int i = 0; i < 100; i++) {
        double error = bezier(e->x1, e->x2, s) - x;
        double r = 1 - s;
        double slope = 3 * r * r * e->x1 + 6 * r * s * (e->x2 - e->x1) + 3 * s * s * (1 - e->x2);
        double next;

        if (error == 0)
            break;
        if (error < 0)
            low = s;
        else
            high = s;
        next = slope > 0 ? s - error / slope : low;
        if (!(next > low && next < high))
            next = low + (high - low) / 2;
        if (next == s || next == low || next == high)
            break;
        s = next;
    }
    return bezier(e->y1, e->y2, s);
}

/* Level 1, section 2.3.1, without the before flag. */
static double steps_at(const lb_easing *e, double x)
{
    double step = floor(x * e->steps);
    double jumps = e->steps;

    if (e->jump == LB_JUMP_START || e->jump == LB_JUMP_BOTH)
        step += 1;
    if (e->jump == LB_JUMP_NONE)
        jumps -= 1;
    if (e->jump == LB_JUMP_BOTH)
        jumps += 1;
    if (x >= 0 && step < 0)
        step = 0;
    if (x <= 1 && step > jumps)
        step = jumps;
    return step / jumps;
}

/* Level 2, section 2.2.2. Stops that stand at one place: the last of them counts from there on. */
static double stops_at(const lb_easing *e, double x)
{
    const lb_easing_stop *a, *b;
    int32_t low = 0, high = e->stop_count; /* the last stop not above x lies in low .. high - 1 */

    while (high - low > 1) {
        int32_t middle = low + (high - low) / 2;

        if (e->stops[middle].input <= x)
            low = middle;
        else
            high = middle;
    }
    if (low == e->stop_count - 1)
        low--;
    a = &e->stops[low];
    b = a + 1;
    if (a->input == b->input)
        return b->output;
    return a->output + (b->output - a->output) * ((x - a->input) / (b->input - a->input));
}

double lb_easing_at(const lb_easing *easing, double progress)
{
    switch (easing->kind) {
    case LB_EASING_LINEAR:
        return easing->stop_count > 0 ? stops_at(easing, progress) : progress;
    case LB_EASING_BEZIER:
        return bezier_at(easing, progress);
    case LB_EASING_STEPS:
        return steps_at(easing, progress);
    }
    return progress;
}
