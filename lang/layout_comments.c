/* lang/layout_comments.c: the comments that libyaml skips, and whose they are. Between two tokens
 * there are only spaces, line breaks and comments, so a # found there begins one. */
#include <string.h>
#include <yaml.h>

#include "lang/layout.h"

size_t lb_layout_break(const char *text, size_t bytes, size_t byte)
{
    const char *at = text + byte;
    size_t left = bytes - byte;

    if (left == 0)
        return 0;
    if (at[0] == '\n')
        return 1;
    if (at[0] == '\r')
        return left > 1 && at[1] == '\n' ? 2 : 1;
    if (left > 1 && memcmp(at, "\xC2\x85", 2) == 0)
        return 2;
    if (left > 2 && (memcmp(at, "\xE2\x80\xA8", 3) == 0 || memcmp(at, "\xE2\x80\xA9", 3) == 0))
        return 3;
    return 0;
}

size_t lb_layout_break_before(const char *text, size_t byte)
{
    if (byte >= 1 && (text[byte - 1] == '\n' || text[byte - 1] == '\r'))
        return byte >= 2 && text[byte - 1] == '\n' && text[byte - 2] == '\r' ? 2 : 1;
    if (byte >= 2 && memcmp(text + byte - 2, "\xC2\x85", 2) == 0)
        return 2;
    if (byte >= 3 && (memcmp(text + byte - 3, "\xE2\x80\xA8", 3) == 0 ||
                      memcmp(text + byte - 3, "\xE2\x80\xA9", 3) == 0))
        return 3;
    return 0;
}

static size_t skip_spaces_back(const char *text, size_t byte)
{
    while (byte > 0 && (text[byte - 1] == ' ' || text[byte - 1] == '\t'))
        byte--;
    return byte;
}

bool lb_layout_begins_line(const char *text, size_t byte, bool *is_after_blank)
{
    size_t start = skip_spaces_back(text, byte);
    size_t ending = lb_layout_break_before(text, start), above;

    if (is_after_blank)
        *is_after_blank = false;
    if (start > 0 && ending == 0)
        return false;
    if (is_after_blank && start > 0) {
        above = skip_spaces_back(text, start - ending);
        *is_after_blank = above > 0 && lb_layout_break_before(text, above) > 0;
    }
    return true;
}

typedef struct scanner {
    const lb_place_index *places;
    lb_layout_marks *marks; /* on the heap while it grows */
    size_t comment_capacity, dash_capacity, block_capacity;
    size_t covered;          /* bytes up to which tokens have been seen */
    yaml_token_type_t after; /* the last token that has any characters */
    bool failed;
} scanner;

static void add_comment(scanner *s, size_t begin, size_t end)
{
    lb_layout_marks *marks = s->marks;
    const char *text = s->places->text;
    lb_layout_comment comment = {.text = text + begin, .begin = begin};

    while (end > begin && (text[end - 1] == ' ' || text[end - 1] == '\t'))
        end--;
    comment.end = end;
    comment.length = end - begin;
    comment.is_own_line = lb_layout_begins_line(text, begin, &comment.is_after_blank);
    comment.column = (int32_t)(begin - skip_spaces_back(text, begin));
    switch (s->after) {
    case YAML_DOCUMENT_START_TOKEN:
    case YAML_DOCUMENT_END_TOKEN:
    case YAML_VERSION_DIRECTIVE_TOKEN:
    case YAML_TAG_DIRECTIVE_TOKEN:
        if (!comment.is_own_line)
            comment.column = 0;
        comment.is_own_line = true;
        break;
    default:
        break;
    }
    if (marks->comment_count >= LB_LAYOUT_MAX_COMMENTS ||
        !lb_grow((void **)&marks->comments, &s->comment_capacity, marks->comment_count,
                 sizeof *marks->comments)) {
        s->failed = true;
        return;
    }
    marks->comments[marks->comment_count++] = comment;
}

/* Finds the comments from s->covered to `end`. */
static void scan_gap(scanner *s, size_t end)
{
    const char *text = s->places->text;
    size_t at = s->covered;

    while (at < end && !s->failed) {
        size_t begin = at;

        if (text[at] != '#') {
            at++;
            continue;
        }
        while (at < s->places->bytes && lb_layout_break(text, s->places->bytes, at) == 0)
            at++;
        add_comment(s, begin, at);
    }
}

/* The comment in the first line of a block scalar lies within its token. */
static void scan_header(scanner *s, size_t begin, size_t end)
{
    const char *text = s->places->text;
    size_t at = begin, hash = 0;

    while (at < end && lb_layout_break(text, s->places->bytes, at) == 0) {
        if (text[at] == '#' && !hash)
            hash = at;
        at++;
    }
    if (hash)
        add_comment(s, hash, at);
}

static void add_place(scanner *s, size_t **places, size_t *count, size_t *capacity, size_t byte)
{
    if (lb_grow((void **)places, capacity, *count, sizeof **places))
        (*places)[(*count)++] = byte;
    else
        s->failed = true;
}

static void see_token(scanner *s, const yaml_token_t *token)
{
    size_t begin = lb_place_of(s->places, token->start_mark.index).byte;
    size_t end = lb_place_of(s->places, token->end_mark.index).byte;

    if (begin > s->covered) {
        scan_gap(s, begin);
        s->covered = begin;
    }
    if (token->type == YAML_BLOCK_ENTRY_TOKEN && end > begin)
        add_place(s, &s->marks->dashes, &s->marks->dash_count, &s->dash_capacity, begin);
    if (token->type == YAML_SCALAR_TOKEN &&
        (token->data.scalar.style == YAML_LITERAL_SCALAR_STYLE ||
         token->data.scalar.style == YAML_FOLDED_SCALAR_STYLE)) {
        add_place(s, &s->marks->blocks, &s->marks->block_count, &s->block_capacity, begin);
        scan_header(s, begin, end);
    }
    if (end > begin)
        s->after = token->type;
    if (end > s->covered)
        s->covered = end;
}

/* The arena's copy of `count` things. */
static bool keep(lb_arena *arena, const void *items, size_t count, size_t size, void *out)
{
    void *kept = count ? lb_arena_alloc(arena, count, size) : NULL;

    if (kept)
        memcpy(kept, items, count * size);
    memcpy(out, &kept, sizeof kept);
    return kept || count == 0;
}

static lb_status scan_tokens(scanner *s)
{
    lb_status status = LB_OK;
    yaml_parser_t parser;
    bool more = true;

    if (!yaml_parser_initialize(&parser))
        return LB_MEMORY;
    yaml_parser_set_encoding(&parser, YAML_UTF8_ENCODING);
    yaml_parser_set_input_string(&parser, (const unsigned char *)s->places->text, s->places->bytes);
    while (more && status == LB_OK) {
        yaml_token_t token;

        if (!yaml_parser_scan(&parser, &token)) {
            status = parser.error == YAML_MEMORY_ERROR ? LB_MEMORY : LB_INVALID;
            break;
        }
        more = token.type != YAML_STREAM_END_TOKEN;
        see_token(s, &token);
        yaml_token_delete(&token);
        if (s->failed)
            status = s->marks->comment_count >= LB_LAYOUT_MAX_COMMENTS ? LB_LIMIT : LB_MEMORY;
    }
    yaml_parser_delete(&parser);
    return status;
}

lb_status lb_layout_scan(const lb_place_index *places, lb_arena *arena, lb_layout_marks *out)
{
    lb_layout_marks found = {0};
    scanner s = {.places = places, .marks = &found};
    lb_status status = scan_tokens(&s);

    *out = found;
    if (status == LB_OK)
        scan_gap(&s, places->bytes);
    if (s.failed ||
        !keep(arena, found.comments, found.comment_count, sizeof *found.comments, &out->comments) ||
        !keep(arena, found.dashes, found.dash_count, sizeof *found.dashes, &out->dashes) ||
        !keep(arena, found.blocks, found.block_count, sizeof *found.blocks, &out->blocks))
        status = found.comment_count >= LB_LAYOUT_MAX_COMMENTS ? LB_LIMIT : LB_MEMORY;
    lb_free(found.comments);
    lb_free(found.dashes);
    lb_free(found.blocks);
    return status;
}
