/* lang/expr_scan.c: the words, numbers and signs of an expression. */
#include <math.h>
#include <string.h>

#include "engine/base/text.h"
#include "lang/expr_compile.h"

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static char peek(const lb_expr_compiler *c, size_t at)
{
    return at < c->length ? c->text[at] : 0;
}

static void read_number(lb_expr_compiler *c, lb_expr_token *t)
{
    size_t at = t->begin;

    while (is_digit(peek(c, at)))
        at++;
    if (peek(c, at) == '.')
        at++;
    while (is_digit(peek(c, at)))
        at++;
    if (peek(c, at) == 'e' || peek(c, at) == 'E') {
        size_t digits = at + 1 + (peek(c, at + 1) == '+' || peek(c, at + 1) == '-');

        if (is_digit(peek(c, digits)))
            at = digits;
        while (is_digit(peek(c, at)))
            at++;
    }
    while (is_letter(peek(c, at)) || is_digit(peek(c, at))) /* 2x is a slip, not a number */
        at++;
    t->kind = LB_TOKEN_NUMBER;
    t->end = at;
    if (!lb_text_number(c->text + t->begin, at - t->begin, &t->number) || !isfinite(t->number))
        lb_expr_wrong(c, t, "'%.*s' is not a number",
                      (int)(at - t->begin < 40 ? at - t->begin : 40), c->text + t->begin);
}

size_t lb_expr_word_end(const lb_expr_compiler *c, size_t begin)
{
    size_t end = begin;

    while (end - begin < LB_EXPR_MAX_NAME &&
           (is_letter(peek(c, end)) || is_digit(peek(c, end)) || peek(c, end) == '-'))
        end++;
    return end;
}

/* The longest run with dashes that is a param's name, else up to the first dash. */
static void read_name(lb_expr_compiler *c, lb_expr_token *t)
{
    size_t longest = t->begin, word;
    bool is_component = c->next.kind == LB_TOKEN_SIGN && c->next.sign[0] == '.';

    if (!is_component)
        longest = lb_expr_word_end(c, t->begin);
    for (word = t->begin; is_letter(peek(c, word)) || is_digit(peek(c, word));)
        word++;
    while (longest > word &&
           !c->scope->has(c->scope->context, c->text + t->begin, longest - t->begin))
        for (longest--; longest > word && c->text[longest] != '-';)
            longest--;
    t->kind = LB_TOKEN_NAME;
    t->end = longest > word ? longest : word;
}

static void read_text(lb_expr_compiler *c, lb_expr_token *t)
{
    char quote = c->text[t->begin];
    size_t end = t->begin + 1;

    while (end < c->length && c->text[end] != quote)
        end++;
    if (end == c->length) {
        lb_expr_fail(c, LB_INVALID, t->begin, end, "this text has no closing %c", quote);
        end--;
    }
    t->kind = LB_TOKEN_TEXT;
    t->end = end + 1;
}

/* What other languages write and this one does not. */
static const char *hint_for(char sign)
{
    switch (sign) {
    case '=':
        return "; == compares";
    case '&':
        return "; && is 'and'";
    case '|':
        return "; || is 'or'";
    case '^':
        return "; pow(x, y) is a power";
    default:
        return "";
    }
}

static void read_sign(lb_expr_compiler *c, lb_expr_token *t)
{
    static const char *const doubles[] = {"<=", ">=", "==", "!=", "&&", "||"};

    t->kind = LB_TOKEN_SIGN;
    t->end = t->begin + 1;
    t->sign[0] = c->text[t->begin];
    for (size_t i = 0; i < sizeof doubles / sizeof doubles[0]; i++)
        if (t->sign[0] == doubles[i][0] && peek(c, t->begin + 1) == doubles[i][1]) {
            t->sign[1] = doubles[i][1];
            t->end++;
            return;
        }
    if (strchr("+-*/%<>!?:(),.", t->sign[0]))
        return;
    while (t->end < c->length && ((unsigned char)c->text[t->end] & 0xC0) == 0x80)
        t->end++; /* all of a code point */
    lb_expr_wrong(c, t, "'%.*s' has no meaning in an expression%s", (int)(t->end - t->begin),
                  c->text + t->begin, hint_for(t->sign[0]));
}

void lb_expr_advance(lb_expr_compiler *c)
{
    lb_expr_token t = {0};

    while (c->at < c->length && strchr(" \t\r\n", c->text[c->at]))
        c->at++;
    t.begin = t.end = c->at;
    if (c->at < c->length) {
        char first = c->text[c->at];

        if (is_digit(first) || (first == '.' && is_digit(peek(c, c->at + 1))))
            read_number(c, &t);
        else if (is_letter(first))
            read_name(c, &t);
        else if (first == '"' || first == '\'')
            read_text(c, &t);
        else
            read_sign(c, &t);
    }
    c->at = t.end;
    c->next = t;
}

bool lb_expr_is_sign(const lb_expr_compiler *c, const char *sign)
{
    return c->next.kind == LB_TOKEN_SIGN && strcmp(c->next.sign, sign) == 0;
}

bool lb_expr_accept(lb_expr_compiler *c, const char *sign)
{
    if (c->status != LB_OK || !lb_expr_is_sign(c, sign))
        return false;
    lb_expr_advance(c);
    return true;
}

void lb_expr_expect(lb_expr_compiler *c, const char *sign)
{
    if (lb_expr_accept(c, sign))
        return;
    if (c->next.kind == LB_TOKEN_END)
        lb_expr_wrong(c, &c->next, "the expression ends where '%s' should be", sign);
    else
        lb_expr_wrong(c, &c->next, "'%s' should be here", sign);
}
