/* lang/layout.h: YAML as people wrote it: values with their spelling, comments, blank lines and the
 * bytes where each stands. lang/yaml.h says what a text means; this is for commands that write text
 * back. */
#ifndef LB_LANG_LAYOUT_H
#define LB_LANG_LAYOUT_H

#include "engine/base/hash.h"
#include "engine/base/text.h"
#include "lang/place.h"

typedef enum lb_layout_kind {
    LB_LAYOUT_SCALAR,
    LB_LAYOUT_ALIAS,
    LB_LAYOUT_LIST,
    LB_LAYOUT_MAPPING,
} lb_layout_kind;

typedef enum lb_layout_style {
    LB_LAYOUT_PLAIN,
    LB_LAYOUT_SINGLE, /* quotes */
    LB_LAYOUT_DOUBLE,
    LB_LAYOUT_LITERAL, /* | */
    LB_LAYOUT_FOLDED,  /* > */
} lb_layout_style;

#define LB_LAYOUT_MAX_COMMENTS 1000000

/* From the # to the end of the line, without the spaces there. A list of them is linked. */
typedef struct lb_layout_comment {
    const char *text; /* lent from the source */
    size_t length;
    size_t begin, end; /* bytes of the source */
    int32_t column;    /* code points before it on its line; 0 behind a document marker */
    bool is_own_line;
    bool is_after_blank; /* the line before is blank */
    struct lb_layout_comment *next;
} lb_layout_comment;

typedef struct lb_layout_node lb_layout_node;

/* A member of a list or of a mapping. */
typedef struct lb_layout_entry {
    lb_layout_node *key; /* NULL in a list; else a scalar or an alias */
    lb_layout_node *value;
    size_t begin;            /* of the key, or of the item's `-` */
    bool is_after_blank;     /* the line before is blank */
    lb_layout_comment *lead; /* on lines of their own before it */
    lb_layout_comment *lead_last;
    lb_layout_comment *head; /* behind its `:` or `-`, where the value goes on below; at most one */
    lb_layout_comment *tail; /* behind its value; at most one, and then there is no head */
    lb_key hash;             /* of what key and value mean; set by lb_layout_sum */
} lb_layout_entry;

struct lb_layout_node {
    lb_layout_kind kind;
    lb_layout_style style; /* of a scalar */
    bool is_flow;          /* a list or mapping in brackets */
    bool is_split;         /* not all on one line */
    const char *anchor;    /* of an alias: the name it follows; NULL: none */
    const char *tag;       /* "!!str" or "!"; NULL: none */
    const char *text;      /* a scalar's, decoded, without NUL bytes inside */
    size_t length;
    const char *raw; /* of a block scalar: the source behind its first line, to its end */
    size_t raw_length;
    size_t begin,
        end;        /* bytes, anchor and tag included; of a block: to the end of its last value */
    int32_t column; /* of a block: where its entries begin, from 0 */
    int32_t count;
    lb_layout_entry *entries;
    lb_layout_comment *foot; /* behind the last entry, on lines of their own */

    /* What it means: the order of keys, spelling, layout and comments do not matter, but an alias
     * is a name. */
    lb_key hash;
    lb_key remarks;    /* the words of all comments inside it; zeros: there is none */
    bool has_comments; /* inside it */

    /* Set by lb_layout_measure. */
    const char *word;      /* a scalar on one line; NULL: it is a block */
    const char *flow_word; /* the same between brackets */
    size_t width;          /* code points on one line between brackets; SIZE_MAX: impossible */
};

/* Lives in an arena; `text` is lent. */
typedef struct lb_layout {
    const char *text;
    size_t bytes;
    lb_layout_entry root;
    lb_layout_comment *foot; /* behind everything */
    int32_t comment_count;
} lb_layout;

/* Reads a text that lb_yaml_read has found good. LB_MEMORY, LB_LIMIT (comments); LB_INVALID if the
 * text was not good. Nothing is reported. */
LB_MUST_CHECK lb_status lb_layout_read(const char *text, size_t bytes, lb_arena *arena,
                                       lb_layout *out);

/* Means the same. */
bool lb_layout_is_equal(const lb_layout_node *a, const lb_layout_node *b);
/* Sets `hash` of a list's or mapping's entries and of itself from those of its members, and
 * `remarks` and `has_comments` likewise. */
LB_MUST_CHECK bool lb_layout_sum(lb_layout_node *node);

/* layout_comments.c: all comments, dashes of lists and first lines of block scalars, in their
 * order. */
typedef struct lb_layout_marks {
    lb_layout_comment *comments;
    size_t comment_count;
    size_t *dashes; /* bytes */
    size_t dash_count;
    size_t *blocks; /* bytes: the | or > */
    size_t block_count;
} lb_layout_marks;
LB_MUST_CHECK lb_status lb_layout_scan(const lb_place_index *places, lb_arena *arena,
                                       lb_layout_marks *out);
/* Gives every comment to an entry, a list, a mapping or the end of the text. */
void lb_layout_attach(lb_layout *layout, const lb_layout_marks *marks);
/* Is there nothing but spaces between the start of the line and `byte`? *is_after_blank: and is
 * the line before blank; may be NULL. */
bool lb_layout_begins_line(const char *text, size_t byte, bool *is_after_blank);
/* Bytes of the line break at `byte`, as libyaml knows them; 0: there is none. */
size_t lb_layout_break(const char *text, size_t bytes, size_t byte);
/* And of the one that ends before `byte`. */
size_t lb_layout_break_before(const char *text, size_t byte);

/* layout_words.c: how scalars are spelled, and how wide things are. */
LB_MUST_CHECK bool lb_layout_measure(lb_layout_node *node, lb_arena *arena);
/* A key with nothing behind it, which brackets show without a colon. */
bool lb_layout_is_bare(const lb_layout_entry *entry);
/* "&anchor !!tag" with a space behind it, or nothing. */
void lb_layout_props(const lb_layout_node *node, lb_text *out);

/* layout_print.c: the canonical spelling, two spaces a level and 100 columns a line. Everything
 * must have been measured. `prefix` is how deep the entries stand. */
#define LB_LAYOUT_COLUMNS 100
void lb_layout_print(const lb_layout *layout, lb_text *out);
/* One entry with its comments, ended by a line break; `is_first`: no blank line before it. */
void lb_layout_print_entry(const lb_layout_entry *entry, size_t indent, bool is_first,
                           lb_text *out);
void lb_layout_print_comments(const lb_layout_comment *list, size_t indent, bool is_first,
                              lb_text *out);
/* On one line; its width is not SIZE_MAX. */
void lb_layout_print_flow(const lb_layout_node *node, lb_text *out);

#endif
