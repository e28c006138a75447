/* engine/cli/options.h: what a command takes, as data. Parsing, messages, --help, completion and
 * the manual page are read from the tables, so that none of them can be stale. */
#ifndef LB_CLI_OPTIONS_H
#define LB_CLI_OPTIONS_H

#include <stdarg.h>

#include "engine/base/text.h"
#include "lang/lang.h"

/* How an option's value is written and where it is kept: the C type of its field is in brackets. */
typedef enum lb_option_type {
    LB_OPTION_FLAG,     /* takes no value [bool] */
    LB_OPTION_TEXT,     /* lent from the command line [const char *] */
    LB_OPTION_TEXTS,    /* may be given several times [lb_texts] */
    LB_OPTION_SETTINGS, /* NAME=VALUE, several times [lb_settings] */
    LB_OPTION_WORD,     /* one of `words` [int: which] */
    LB_OPTION_COUNT,    /* a whole number from min to max [int32_t] */
    LB_OPTION_BYTES,    /* "4G"; at least min [size_t] */
    LB_OPTION_SCALE,    /* "1/2", "0.5" [double] */
    LB_OPTION_SIZE,     /* "1920x1080" [int32_t[2]] */
    LB_OPTION_SHARE,    /* "2/8": the second of eight [int32_t[2]] */
    LB_OPTION_FRAMES,   /* "1-270,300" [lb_frames] */
} lb_option_type;

typedef struct lb_texts {
    const char **list;
    int32_t count;
    size_t capacity;
} lb_texts;

typedef struct lb_settings {
    lb_setting *list;
    int32_t count;
    size_t capacity;
} lb_settings;

typedef struct lb_frames {
    int32_t *list; /* in the order given; NULL: the option was not given */
    int32_t count;
} lb_frames;

/* What a shell may offer while a value is typed. */
typedef enum lb_offer {
    LB_OFFER_NOTHING,
    LB_OFFER_WORDS, /* the row's `words` */
    LB_OFFER_FILE,
    LB_OFFER_FOLDER,
    LB_OFFER_GRAPH,  /* a graph file: `names` below are those of the first one given */
    LB_OFFER_OBJECT, /* a shared object */
    LB_OFFER_OPERATORS,
    LB_OFFER_NODES,
    LB_OFFER_OUTPUTS,
    LB_OFFER_PARAMS, /* as NAME= */
    LB_OFFER_VERSIONS,
} lb_offer;

/* Tables of options and of operands end with a row without a name. Docs are whole sentences. */
typedef struct lb_option {
    const char *name;     /* "--set" */
    const char *argument; /* its value in the usage line, "NAME=VALUE"; NULL: its words, or none */
    const char *expects;  /* a value that would do, as messages say it: "bytes, such as 4G"; NULL:
                           * what the type says */
    const char *doc;
    lb_option_type type;
    const char *const *words; /* NULL-ended */
    int32_t min, max;
    lb_offer offer;
    bool comma; /* the value is a list with commas: each of its members is offered */
    size_t offset, size;
} lb_option;

#define LB_OPTION(strct, field, flag, kind, ...)                                                   \
    {                                                                                              \
        .name = (flag), .type = (kind), .offset = offsetof(strct, field),                          \
        .size = sizeof(((strct *)NULL)->field), __VA_ARGS__                                        \
    }

/* Words that are no options, in their order. One is kept as [const char *] where max is 1, else as
 * [lb_texts]. */
typedef struct lb_operand {
    const char *name; /* "GRAPH" */
    const char *doc;
    int32_t min, max; /* how many; max 0: any number */
    lb_offer offer;
    const char *const *words; /* NULL-ended: one of these; NULL: anything */
    size_t offset, size;
} lb_operand;

#define LB_OPERAND(strct, field, word, ...)                                                        \
    {                                                                                              \
        .name = (word), .offset = offsetof(strct, field), .size = sizeof(((strct *)NULL)->field),  \
        __VA_ARGS__                                                                                \
    }

/* Rows that several commands share; the struct's field is called as here. */
#define LB_OPTION_SET(strct)                                                                       \
    LB_OPTION(strct, settings, "--set", LB_OPTION_SETTINGS, .argument = "NAME=VALUE",              \
              .offer = LB_OFFER_PARAMS, .doc = "Gives a param of the graph another value.")
#define LB_OPTION_VERSION(strct, text)                                                             \
    LB_OPTION(strct, version, "--version", LB_OPTION_TEXT, .argument = "NAME",                     \
              .expects = "a version of the graph", .offer = LB_OFFER_VERSIONS, .doc = (text))
#define LB_OPTION_OPERATORS(strct)                                                                 \
    LB_OPTION(strct, objects, "--operators", LB_OPTION_TEXTS, .argument = "FILE.so",               \
              .expects = "a shared object", .offer = LB_OFFER_OBJECT,                              \
              .doc = "Adds the operators of a shared object, whose code then runs.")
#define LB_OPTION_THREADS(strct)                                                                   \
    LB_OPTION(strct, threads, "--threads", LB_OPTION_COUNT, .argument = "N", .max = 1024,          \
              .expects = "a count, 0 for all processors",                                          \
              .doc = "Works on so many threads; 0, all processors, when not given.")
#define LB_OPTION_MEMORY(strct)                                                                    \
    LB_OPTION(strct, memory, "--memory", LB_OPTION_BYTES, .argument = "BYTES",                     \
              .expects = "bytes, such as 4G",                                                      \
              .doc = "Keeps the whole process within that much memory, such as 4G.")
#define LB_OPTION_JSON(strct)                                                                      \
    LB_OPTION(strct, json, "--json", LB_OPTION_FLAG, .doc = "Writes JSON, for programs.")

/* A line that works where there are the files of tests/engine/cli/example: a test runs it. */
typedef struct lb_example {
    const char *line;
    const char *doc;
} lb_example;

struct lb_session;

/* A command of the program: one file defines lb_command_NAME, one row of commands.h lists it. */
typedef struct lb_command {
    const char *name;
    const char *summary;        /* a phrase: "make the outputs' frames" */
    const char *doc;            /* more, in paragraphs with an empty line between; NULL: none */
    const char *no;             /* what exit status 1 says; NULL: it never ends so */
    const lb_operand *operands; /* NULL: none */
    const lb_option *options;   /* NULL: none */
    const lb_example *examples; /* at least one */
    size_t options_size;        /* of the struct that the tables point into */
    const void *initial;        /* what it holds when nothing is given; NULL: zeros */
    /* `options` is such a struct; the session is opened before and closed after. LB_OK: 0, good;
     * other answers as lb_exit_of has them. Whatever fails has been reported, but for LB_INVALID
     * and LB_FORMAT, which may just mean "no". */
    lb_status (*run)(struct lb_session *session, const void *options);
} lb_command;

/* Reads the words after the command's name (argv[0]) into `options`, options_size bytes of the
 * caller's that end with lb_options_clear, also after a failure. Options and operands come in any
 * order; "--name value" and "--name=value"; "--" ends the options, "-" is an operand. False: wrong
 * usage, told on standard error. Texts are lent from argv, which settings are cut in two in. */
LB_MUST_CHECK bool lb_options_parse(const lb_command *command, int argc, char **argv,
                                    void *options);
void lb_options_clear(const lb_command *command, void *options);

/* Tells wrong usage on standard error: what, then the usage line. */
void lb_options_wrong(const lb_command *command, const char *format, va_list args) LB_PRINTF(2, 0);

/* What a flag's or an option's value is called in the usage line: "NAME=VALUE", "auto|bar"; NULL:
 * it takes none. The answer lies in `buffer` or in the table. */
const char *lb_option_argument(const lb_option *option, char *buffer, size_t room);
bool lb_option_repeats(const lb_option *option);

/* "1-270,300" into frames, in the order given; the caller's (lb_free). False: not a range. */
bool lb_frames_parse(const char *text, int32_t **out, int32_t *count);
/* "4G", "512M", "1000000" bytes. */
bool lb_bytes_parse(const char *text, size_t *out);
/* "1/2", "0.5". */
bool lb_scale_parse(const char *text, double *out);

#endif
