/* lang/layout_print.c: the canonical spelling.
 *
 * What was written in brackets stays in brackets where it fits on its line and holds no comment;
 * long lists of single values, and long curves, are filled line by line; all else is a block. Order
 * is the author's. */
#include <string.h>

#include "lang/layout.h"

typedef enum spelling { ONE_LINE, FILLED, FOLDED_WORDS, BLOCK_SCALAR, BLOCK } spelling;

typedef struct printer {
    lb_text *out;
    size_t line;    /* where the last line begins in out */
    bool ends_open; /* the last line belongs to a | or > that keeps empty lines */
} printer;

static void end_line(printer *p)
{
    lb_text_put(p->out, "\n");
    p->line = p->out->length;
    p->ends_open = false;
}

static void put_spaces(printer *p, size_t count)
{
    for (; count > 0; count--)
        lb_text_add(p->out, " ", 1);
}

static size_t column_now(const printer *p)
{
    return p->out->bytes ? lb_place_points(p->out->bytes + p->line, p->out->length - p->line) : 0;
}

/* An empty line, but for where one would not be: first, or where it would become text. */
static void put_blank(printer *p, bool is_wanted, bool is_first)
{
    if (is_wanted && !is_first && !p->ends_open)
        end_line(p);
}

static void put_comments(printer *p, const lb_layout_comment *list, size_t indent, bool is_first)
{
    for (; list; list = list->next) {
        put_blank(p, list->is_after_blank, is_first);
        is_first = false;
        put_spaces(p, indent);
        lb_text_add(p->out, list->text, list->length);
        end_line(p);
    }
}

static void put_trailing(printer *p, const lb_layout_comment *comment)
{
    if (!comment)
        return;
    lb_text_put(p->out,
                p->out->length > p->line && p->out->bytes[p->out->length - 1] == ' ' ? "" : "  ");
    lb_text_add(p->out, comment->text, comment->length);
}

static void drop_space(printer *p)
{
    if (p->out->length > p->line && p->out->bytes[p->out->length - 1] == ' ')
        p->out->bytes[--p->out->length] = 0;
}

/* A key with no character of its own needs the mark that begins a key. */
static bool is_nothing(const lb_layout_node *key)
{
    return key->kind == LB_LAYOUT_SCALAR && key->style == LB_LAYOUT_PLAIN && key->length == 0 &&
           !key->anchor && !key->tag;
}

static void put_key(lb_text *out, const lb_layout_node *key, const char *word)
{
    if (is_nothing(key))
        lb_text_put(out, "? ");
    lb_layout_props(key, out);
    lb_text_put(out, word);
    lb_text_put(out, key->kind == LB_LAYOUT_ALIAS ? " :" : ":");
}

static void put_flow(lb_text *out, const lb_layout_node *node);

static void put_flow_member(lb_text *out, const lb_layout_entry *entry)
{
    const lb_layout_node *key = entry->key;

    if (key && lb_layout_is_bare(entry)) {
        lb_layout_props(key, out);
        lb_text_put(out, key->flow_word);
        return;
    }
    if (key) {
        put_key(out, key, key->flow_word);
        lb_text_put(out, " ");
    }
    put_flow(out, entry->value);
}

/* In brackets. */
static void put_flow(lb_text *out, const lb_layout_node *node)
{
    lb_layout_props(node, out);
    if (node->kind == LB_LAYOUT_SCALAR || node->kind == LB_LAYOUT_ALIAS) {
        lb_text_put(out, node->flow_word);
        return;
    }
    lb_text_put(out, node->kind == LB_LAYOUT_LIST ? "[" : "{");
    for (int32_t i = 0; i < node->count; i++) {
        if (i > 0)
            lb_text_put(out, ", ");
        put_flow_member(out, &node->entries[i]);
    }
    lb_text_put(out, node->kind == LB_LAYOUT_LIST ? "]" : "}");
}

static bool is_single(const lb_layout_node *node)
{
    return node->kind == LB_LAYOUT_SCALAR || node->kind == LB_LAYOUT_ALIAS;
}

/* A list of single values, or a curve: a mapping from numbers to single values. */
static bool can_be_filled(const lb_layout_node *node)
{
    double number;

    if (node->width == SIZE_MAX || is_single(node))
        return false;
    for (int32_t i = 0; i < node->count; i++) {
        const lb_layout_entry *entry = &node->entries[i];

        if (!is_single(entry->value) ||
            (entry->key &&
             (entry->key->kind != LB_LAYOUT_SCALAR || entry->key->style != LB_LAYOUT_PLAIN ||
              !lb_text_number(entry->key->text, entry->key->length, &number))))
            return false;
    }
    return true;
}

static spelling shape_of(const lb_layout_node *node, size_t column)
{
    bool fits = node->width != SIZE_MAX && column + node->width <= LB_LAYOUT_COLUMNS;

    if (node->kind == LB_LAYOUT_ALIAS)
        return ONE_LINE;
    if (node->kind == LB_LAYOUT_SCALAR && !node->word)
        return BLOCK_SCALAR;
    if (node->kind == LB_LAYOUT_SCALAR)
        return fits || !node->is_split ? ONE_LINE : FOLDED_WORDS;
    if (node->count == 0 || fits)
        return ONE_LINE;
    return can_be_filled(node) ? FILLED : BLOCK;
}

/* Breaks the line before a piece of `width` columns that does not fit. */
static void put_gap(printer *p, size_t width, size_t indent)
{
    if (column_now(p) + 1 + width > LB_LAYOUT_COLUMNS) {
        end_line(p);
        put_spaces(p, indent);
    } else {
        lb_text_put(p->out, " ");
    }
}

static void put_filled(printer *p, const lb_layout_node *node, size_t indent)
{
    lb_text piece = {0};

    lb_layout_props(node, p->out);
    lb_text_put(p->out, node->kind == LB_LAYOUT_LIST ? "[" : "{");
    for (int32_t i = 0; i < node->count; i++) {
        piece.length = 0;
        put_flow_member(&piece, &node->entries[i]);
        lb_text_put(&piece, i + 1 < node->count ? "," : node->kind == LB_LAYOUT_LIST ? "]" : "}");
        if (piece.failed) {
            p->out->failed = true;
            break;
        }
        if (i > 0)
            put_gap(p, lb_place_points(piece.bytes, piece.length), indent);
        lb_text_add(p->out, piece.bytes, piece.length);
    }
    lb_text_clear(&piece);
}

/* Text that the author broke into lines, filled anew. It may break where one space stands between
 * two other characters, and folding makes that space again (YAML 1.2.2, section 6.5). */
static void put_folded_words(printer *p, const lb_layout_node *node, size_t indent)
{
    const char *word = node->word, *at = word;

    lb_layout_props(node, p->out);
    while (*at) {
        const char *end = at + 1;

        while (*end && !(end[0] == ' ' && end[-1] != ' ' && end[1] != ' ' && end[1] != '\t' &&
                         end[-1] != '\t' && end[1] != '#' && end[1] != 0 && end - word > 1 &&
                         !((end[1] == '"' || end[1] == '\'') && end[2] == 0)))
            end++;
        if (at > word)
            put_gap(p, lb_place_points(at, (size_t)(end - at)), indent);
        lb_text_add(p->out, at, (size_t)(end - at));
        at = *end ? end + 1 : end;
    }
}

/* The line of a block scalar that begins at `at`, without `strip` spaces; answers where the next
 * one begins. */
static size_t put_raw_line(printer *p, const char *text, size_t bytes, size_t at, size_t strip,
                           size_t indent)
{
    size_t end;

    while (strip > 0 && at < bytes && text[at] == ' ')
        at++, strip--;
    for (end = at; end < bytes && lb_layout_break(text, bytes, end) == 0;)
        end++;
    if (end > at) {
        put_spaces(p, indent);
        lb_text_add(p->out, text + at, end - at);
    }
    return end + lb_layout_break(text, bytes, end);
}

/* Bytes of a block scalar's lines without the empty ones at the end. */
static size_t without_empty_lines(const char *text, size_t bytes, size_t strip)
{
    for (;;) {
        size_t end = bytes - lb_layout_break_before(text, bytes), start = end;

        while (start > 0 && text[start - 1] == ' ')
            start--;
        if ((start > 0 && lb_layout_break_before(text, start) == 0) || end - start > strip ||
            start == bytes)
            return end;
        bytes = start;
    }
}

static void put_block_scalar(printer *p, const lb_layout_node *node, size_t indent,
                             const lb_layout_comment *comment)
{
    bool is_literal = node->style == LB_LAYOUT_LITERAL;
    const char *text = is_literal ? node->text : node->raw;
    size_t bytes = is_literal ? node->length : node->raw_length, strip = 0, endings = 0;

    while (endings < node->length && node->text[node->length - 1 - endings] == '\n')
        endings++;
    lb_layout_props(node, p->out);
    lb_text_put(p->out, is_literal ? "|" : ">");
    if (strchr(" \t\n", node->text[0]))
        lb_text_put(p->out, "2");
    lb_text_put(p->out, endings == 0 ? "-" : endings > 1 ? "+" : "");
    put_trailing(p, comment);
    if (is_literal) {
        bytes -= endings;
    } else {
        strip = strspn(text, " ");
        bytes = without_empty_lines(text, bytes, strip);
    }
    for (size_t at = 0; at < bytes;) {
        end_line(p);
        at = put_raw_line(p, text, bytes, at, strip, indent);
    }
    for (size_t i = 1; i < endings; i++)
        end_line(p);
    end_line(p);
    p->ends_open = endings > 1;
}

static void put_members(printer *p, const lb_layout_node *node, size_t indent, bool goes_on);

/* A value behind what is on the line already; `indent` is the column of the entry. Ends the line.
 */
static void put_value(printer *p, const lb_layout_entry *entry, spelling shape, size_t indent)
{
    const lb_layout_node *node = entry->value;
    const lb_layout_comment *comment = entry->head ? entry->head : entry->tail;
    size_t inner = entry->key ? indent : indent + 2;

    switch (shape) {
    case ONE_LINE:
        if (is_single(node)) {
            lb_layout_props(node, p->out);
            lb_text_put(p->out, node->word);
        } else {
            put_flow(p->out, node);
        }
        break;
    case FILLED:
        put_filled(p, node, inner + 2);
        break;
    case FOLDED_WORDS:
        put_folded_words(p, node, inner + 2);
        break;
    case BLOCK_SCALAR:
        put_block_scalar(p, node, indent + 2, comment);
        return;
    case BLOCK:
        lb_layout_props(node, p->out);
        if (!entry->key && !comment && !node->anchor && !node->tag) {
            put_members(p, node, indent + 2, true);
            return;
        }
        break;
    }
    if (entry->key || !comment)
        drop_space(p); /* nothing came behind the colon */
    put_trailing(p, comment);
    end_line(p);
    if (shape == BLOCK)
        put_members(p, node, indent + 2, false);
}

/* An entry from its key or dash on. */
static void put_entry(printer *p, const lb_layout_entry *entry, size_t indent)
{
    if (entry->key && is_nothing(entry->key)) {
        lb_text_put(p->out, "?");
        end_line(p);
        put_spaces(p, indent);
        lb_text_put(p->out, ":");
    } else if (entry->key) {
        put_key(p->out, entry->key, entry->key->word);
    } else {
        lb_text_put(p->out, "-");
    }
    lb_text_put(p->out, " ");
    put_value(p, entry, shape_of(entry->value, column_now(p)), indent);
}

/* Members of a block; `goes_on`: the first stands on the line that has been begun. */
static void put_members(printer *p, const lb_layout_node *node, size_t indent, bool goes_on)
{
    for (int32_t i = 0; i < node->count; i++) {
        const lb_layout_entry *entry = &node->entries[i];

        if (i > 0 || !goes_on) {
            put_comments(p, entry->lead, indent, i == 0);
            put_blank(p, entry->is_after_blank, i == 0 && !entry->lead);
            put_spaces(p, indent);
        }
        put_entry(p, entry, indent);
    }
    put_comments(p, node->foot, indent, false);
}

void lb_layout_print_flow(const lb_layout_node *node, lb_text *out)
{
    put_flow(out, node);
}

void lb_layout_print_comments(const lb_layout_comment *list, size_t indent, bool is_first,
                              lb_text *out)
{
    put_comments(&(printer){.out = out, .line = out->length}, list, indent, is_first);
}

void lb_layout_print_entry(const lb_layout_entry *entry, size_t indent, bool is_first, lb_text *out)
{
    printer p = {.out = out, .line = out->length};

    put_comments(&p, entry->lead, indent, is_first);
    put_blank(&p, entry->is_after_blank, is_first && !entry->lead);
    put_spaces(&p, indent);
    put_entry(&p, entry, indent);
}

static bool is_empty(const lb_layout_node *node)
{
    return node->kind == LB_LAYOUT_SCALAR && node->word && !*node->word && !node->anchor &&
           !node->tag;
}

void lb_layout_print(const lb_layout *layout, lb_text *out)
{
    printer p = {.out = out, .line = out->length};
    const lb_layout_entry *root = &layout->root;
    const lb_layout_comment *comment = root->head ? root->head : root->tail;
    spelling shape = shape_of(root->value, 0);

    put_comments(&p, root->lead, 0, true);
    if (is_empty(root->value)) { /* nothing at all would be no document */
        put_comments(&p, comment, 0, false);
        lb_text_put(out, "---");
        end_line(&p);
        put_comments(&p, layout->foot, 0, false);
        return;
    }
    put_blank(&p, root->is_after_blank, !root->lead);
    if (shape == BLOCK) {
        if (root->value->anchor || root->value->tag) {
            lb_layout_props(root->value, out);
            drop_space(&p);
            put_trailing(&p, comment);
            end_line(&p);
        } else {
            put_comments(&p, comment, 0, false);
        }
        put_members(&p, root->value, 0, false);
    } else {
        put_value(&p, root, shape, 0);
    }
    put_comments(&p, layout->foot, 0, false);
}
