/* lang/layout_words.c: how scalars are spelled, and how wide things are on one line.
 *
 * Plain text stays plain. Of quoted text, only what is nothing but words loses its quotes: an
 * expression keeps them, since the next edit may put a comma into it. */
#include <string.h>

#include "lang/layout.h"
#include "lang/scalar.h"

static bool is_word_byte(unsigned char byte)
{
    return (byte >= 'a' && byte <= 'z') || (byte >= 'A' && byte <= 'Z') ||
           (byte >= '0' && byte <= '9') || byte == '_' || byte == '-' || byte == '.' ||
           byte == '/' || byte >= 0x80;
}

/* A code point that must be escaped: controls, and what some readers take for a line break or for
 * the mark of a byte order. */
static bool is_special(uint32_t point)
{
    return point < 0x20 || (point >= 0x7F && point < 0xA0) || point == 0x2028 || point == 0x2029 ||
           point == 0xFEFF || point == 0xFFFE || point == 0xFFFF;
}

static bool has_special(const char *text, size_t length, bool may_have_tabs)
{
    for (size_t at = 0; at < length;) {
        uint32_t point = lb_utf8_next(text, length, &at);

        if (is_special(point) && !(may_have_tabs && point == '\t'))
            return true;
    }
    return false;
}

/* Words that YAML 1.1 takes for true or false: whoever quoted one had a reason. */
static bool is_old_boolean(const char *text)
{
    static const char *const words[] = {"y",  "Y",  "yes", "Yes", "YES", "n",   "N",   "no", "No",
                                        "NO", "on", "On",  "ON",  "off", "Off", "OFF", NULL};

    for (const char *const *word = words; *word; word++)
        if (strcmp(*word, text) == 0)
            return true;
    return false;
}

/* Nothing but words, single spaces between them, that no reader takes for anything else. */
static bool is_words(const lb_layout_node *node)
{
    const unsigned char *text = (const unsigned char *)node->text;
    unsigned char first = text[0];
    double number;

    if (node->length == 0 || node->tag || is_old_boolean(node->text) ||
        has_special(node->text, node->length, false) ||
        lb_scalar_resolve(node->text, node->length, &number) != LB_SCALAR_TEXT)
        return false;
    if ((first >= '0' && first <= '9') || first == '-' ||
        (first == '.' && strncmp(node->text, "./", 2) != 0 && strncmp(node->text, "../", 3) != 0))
        return false;
    for (size_t i = 0; i < node->length; i++) {
        bool is_gap = text[i] == ' ' && i > 0 && i + 1 < node->length && text[i + 1] != ' ';

        if (!is_word_byte(text[i]) && !is_gap)
            return false;
    }
    return true;
}

static void put_escaped(uint32_t point, const char *bytes, size_t count, lb_text *out)
{
    if (point == '"' || point == '\\')
        lb_text_printf(out, "\\%c", (int)point);
    else if (point == '\n')
        lb_text_put(out, "\\n");
    else if (point == '\t')
        lb_text_put(out, "\\t");
    else if (is_special(point) && point < 0x100)
        lb_text_printf(out, "\\x%02X", (unsigned)point);
    else if (is_special(point))
        lb_text_printf(out, "\\u%04X", (unsigned)point);
    else
        lb_text_add(out, bytes, count);
}

/* Double quotes, or single ones where only these need no escapes. */
static void put_quoted(const lb_layout_node *node, lb_text *out)
{
    bool needs_escape = strpbrk(node->text, "\"\\") != NULL;

    if (needs_escape && !strchr(node->text, '\'') &&
        !has_special(node->text, node->length, false)) {
        lb_text_printf(out, "'%s'", node->text);
        return;
    }
    lb_text_put(out, "\"");
    for (size_t at = 0; at < node->length;) {
        size_t begin = at;
        uint32_t point = lb_utf8_next(node->text, node->length, &at);

        put_escaped(point, node->text + begin, at - begin, out);
    }
    lb_text_put(out, "\"");
}

static bool is_plain(const lb_layout_node *node)
{
    if (node->style == LB_LAYOUT_PLAIN)
        return !has_special(node->text, node->length, true);
    return (node->style == LB_LAYOUT_SINGLE || node->style == LB_LAYOUT_DOUBLE) && is_words(node);
}

/* A literal or folded block stays one if it can: not in brackets, and with nothing in it that only
 * quotes can hold. */
static bool is_block(const lb_layout_node *node)
{
    const char *text = node->text;

    if (node->style != LB_LAYOUT_LITERAL && node->style != LB_LAYOUT_FOLDED)
        return false;
    if (text[strspn(text, "\n")] == 0)
        return false;
    if (node->style == LB_LAYOUT_FOLDED && strchr(" \t\n", text[0]))
        return false;
    for (size_t at = 0; at < node->length;) {
        uint32_t point = lb_utf8_next(text, node->length, &at);

        if (is_special(point) && point != '\n' && point != '\t')
            return false;
    }
    return true;
}

static char *keep(lb_arena *arena, lb_text *text)
{
    char *kept =
        text->failed ? NULL : lb_arena_strndup(arena, text->bytes ? text->bytes : "", text->length);

    lb_text_clear(text);
    return kept;
}

void lb_layout_props(const lb_layout_node *node, lb_text *out)
{
    if (node->anchor && node->kind != LB_LAYOUT_ALIAS)
        lb_text_printf(out, "&%s ", node->anchor);
    if (node->tag)
        lb_text_printf(out, "%s ", node->tag);
}

static size_t props_width(const lb_layout_node *node)
{
    size_t width = 0;

    if (node->anchor && node->kind != LB_LAYOUT_ALIAS)
        width += strlen(node->anchor) + 2;
    if (node->tag)
        width += strlen(node->tag) + 1;
    return width;
}

static bool measure_scalar(lb_layout_node *node, lb_arena *arena)
{
    lb_text quoted = {0};
    bool plain = is_plain(node);
    bool is_flow_safe = plain && !strpbrk(node->text, ",[]{}");

    if (!is_flow_safe) {
        put_quoted(node, &quoted);
        if (!(node->flow_word = keep(arena, &quoted)))
            return false;
    } else {
        node->flow_word = node->text;
    }
    node->word = is_block(node) ? NULL : plain ? node->text : node->flow_word;
    node->width =
        !node->word ? SIZE_MAX
                    : props_width(node) + lb_place_points(node->flow_word, strlen(node->flow_word));
    return true;
}

bool lb_layout_is_bare(const lb_layout_entry *entry)
{
    const lb_layout_node *key = entry->key, *value = entry->value;

    return key && *key->word && value->kind == LB_LAYOUT_SCALAR &&
           value->style == LB_LAYOUT_PLAIN && value->length == 0 && !value->anchor && !value->tag;
}

static size_t member_width(const lb_layout_entry *entry)
{
    size_t width = entry->value->width;

    if (!entry->key)
        return width;
    width += entry->key->width + (entry->key->kind == LB_LAYOUT_ALIAS);
    return lb_layout_is_bare(entry) ? entry->key->width : width + 2;
}

static void measure_members(lb_layout_node *node)
{
    size_t width = props_width(node) + 2;

    node->width = SIZE_MAX;
    if ((!node->is_flow && node->count > 0) || node->has_comments)
        return;
    for (int32_t i = 0; i < node->count; i++) {
        const lb_layout_entry *entry = &node->entries[i];

        if (entry->value->width == SIZE_MAX)
            return;
        width += member_width(entry) + (i > 0 ? 2 : 0);
    }
    node->width = width;
}

bool lb_layout_measure(lb_layout_node *node, lb_arena *arena)
{
    if (node->kind == LB_LAYOUT_ALIAS) {
        node->word = node->flow_word = lb_arena_printf(arena, "*%s", node->anchor);
        node->width = strlen(node->anchor) + 1;
        return node->word != NULL;
    }
    if (node->kind == LB_LAYOUT_SCALAR)
        return measure_scalar(node, arena);
    for (int32_t i = 0; i < node->count; i++) {
        const lb_layout_entry *entry = &node->entries[i];

        if (entry->key) {
            if (!lb_layout_measure(entry->key, arena))
                return false;
            if (!entry->key->word) { /* a block cannot be a key */
                entry->key->word = entry->key->flow_word;
                entry->key->width = props_width(entry->key) +
                                    lb_place_points(entry->key->word, strlen(entry->key->word));
            }
        }
        if (!lb_layout_measure(entry->value, arena))
            return false;
    }
    measure_members(node);
    return true;
}
