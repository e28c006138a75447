/* lampblack.h: frames out of Lampblack graphs, for programs. docs/library.md shows it in use.
 *
 * Nothing here prints, ends the process, installs a signal handler or reads the environment. What a
 * call finds wrong is its status, and in words among the graph object's messages. Every function
 * may be called from any thread, also with the same object; the exceptions say so.
 *
 * Structs begin with their size, which the caller sets (to sizeof the variable) and zeroes the
 * rest: zero is every field's usual value. So a program goes on working with a library whose
 * structs have grown. Texts are UTF-8; those that the library hands out are lent and live as long
 * as the graph object unless it says otherwise. */
#ifndef LAMPBLACK_H
#define LAMPBLACK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define LAMPBLACK_VERSION "0.1.0"
#define LAMPBLACK_VERSION_NUMBER 100 /* major * 10000 + minor * 100 + patch */

#define LAMPBLACK_API __attribute__((visibility("default")))

/* Of the library that runs, where the macros are of the header that was compiled. */
LAMPBLACK_API const char *lampblack_version(void);
LAMPBLACK_API int32_t lampblack_version_number(void);

typedef enum lampblack_status {
    LAMPBLACK_OK = 0,
    LAMPBLACK_INVALID,     /* the graph, a file or an argument says something without meaning */
    LAMPBLACK_NOT_FOUND,   /* a file or a name that is not there */
    LAMPBLACK_IO,          /* the system could not read or write, or make a thread */
    LAMPBLACK_FORMAT,      /* a file is damaged or not what it claims to be */
    LAMPBLACK_UNSUPPORTED, /* well-formed, but beyond what this library does */
    LAMPBLACK_LIMIT,       /* larger than a limit, or than the memory handed in */
    LAMPBLACK_MEMORY,      /* no room, by the budget or by the system */
    LAMPBLACK_CANCELLED,   /* the cancel callback said so */
} lampblack_status;
LAMPBLACK_API const char *lampblack_status_text(lampblack_status status); /* a phrase, for ever */

/* --- a graph --- */

typedef struct lampblack_graph lampblack_graph;

typedef struct lampblack_options {
    size_t size;
    int32_t threads;          /* that compute, the caller's counted; 0: one a processor */
    bool keeps_nothing;       /* no results kept in memory from call to call */
    size_t cache_bytes;       /* at most so much is; 0: 1 GiB */
    const char *cache_folder; /* results kept on disk, which processes may share; NULL: none are */
} lampblack_options;

/* An object without a graph yet; `options` NULL: the usual. *out is the caller's
 * (lampblack_graph_free), NULL on failure: LAMPBLACK_MEMORY, LAMPBLACK_IO, LAMPBLACK_INVALID. */
LAMPBLACK_API lampblack_status lampblack_graph_new(const lampblack_options *options,
                                                   lampblack_graph **out);
/* Clears *graph, which may be NULL. No other call on it may be running. */
LAMPBLACK_API void lampblack_graph_free(lampblack_graph **graph);

/* Before loading, from one thread: an operator object (docs/library.md), whose code runs in this
 * process; a value for one of the graph's params, in the words of `lampblack render --set`; and the
 * one of the graph's versions that it is to be, where without it is the graph as it stands. */
LAMPBLACK_API lampblack_status lampblack_load_operators(lampblack_graph *graph, const char *path);
LAMPBLACK_API lampblack_status lampblack_set(lampblack_graph *graph, const char *name,
                                             const char *value);
LAMPBLACK_API lampblack_status lampblack_choose_version(lampblack_graph *graph, const char *name);

/* The graph, from a file or from memory, once an object and from one thread; `name` is how messages
 * call it, and its folder is what paths in it are relative to. After a failure the object can only
 * be asked for its messages. */
LAMPBLACK_API lampblack_status lampblack_load(lampblack_graph *graph, const char *path);
LAMPBLACK_API lampblack_status lampblack_parse(lampblack_graph *graph, const char *name,
                                               const char *text, size_t bytes);

/* --- messages --- */

typedef enum lampblack_severity {
    LAMPBLACK_NOTE, /* belongs to the message before it */
    LAMPBLACK_WARNING,
    LAMPBLACK_ERROR,
} lampblack_severity;

typedef struct lampblack_message {
    size_t size;
    lampblack_severity severity;
    const char *file;             /* NULL: about nothing in a file */
    int32_t line, column, length; /* from 1, in code points; line 0: the file as a whole */
    const char *text;
} lampblack_message;

/* Of all calls so far, in the order they came: index 0 to count - 1, and old ones stay. */
LAMPBLACK_API int32_t lampblack_message_count(lampblack_graph *graph);
LAMPBLACK_API lampblack_status lampblack_message_at(lampblack_graph *graph, int32_t index,
                                                    lampblack_message *out);
/* All of them as the program prints them, with the lines they are about, into `buffer` as far as it
 * holds; always ended by NUL if `bytes` > 0. Answers the bytes of the whole without the NUL. */
LAMPBLACK_API size_t lampblack_report(lampblack_graph *graph, char *buffer, size_t bytes);

/* --- what is in it --- */

/* LAMPBLACK_INVALID without a graph, LAMPBLACK_NOT_FOUND for an index beyond the last. */

typedef struct lampblack_frame {
    size_t size;
    int32_t width, height;      /* at scale 1 */
    int32_t rate_num, rate_den; /* frames per second */
    int32_t first, last;        /* inclusive */
    double pixel_aspect;
    const char *space; /* of the pixels: "linear-rec709", "acescg", ... */
} lampblack_frame;
LAMPBLACK_API lampblack_status lampblack_frame_of(lampblack_graph *graph, lampblack_frame *out);

typedef struct lampblack_output {
    size_t size;
    const char *name;
    const char *file;      /* a pattern: #### stands for the frame's number */
    int32_t first, last;   /* the frames it is written at, inclusive */
    int32_t width, height; /* of its picture at `first`, in pixels at scale 1 */
} lampblack_output;
LAMPBLACK_API int32_t lampblack_output_count(lampblack_graph *graph);
LAMPBLACK_API lampblack_status lampblack_output_at(lampblack_graph *graph, int32_t index,
                                                   lampblack_output *out);
/* The file of an output's frame, as lampblack_report hands over text; 0: there is no such output.
 */
LAMPBLACK_API size_t lampblack_output_path(lampblack_graph *graph, const char *output,
                                           int32_t frame, char *buffer, size_t bytes);

typedef struct lampblack_param {
    size_t size;
    const char *name;
    const char *type;  /* "a number", "a colour", "text", ... */
    const char *value; /* as lampblack_set takes it; NULL: it changes from frame to frame */
} lampblack_param;
LAMPBLACK_API int32_t lampblack_param_count(lampblack_graph *graph);
LAMPBLACK_API lampblack_status lampblack_param_at(lampblack_graph *graph, int32_t index,
                                                  lampblack_param *out);

/* --- frames --- */

/* Pixels: half-open, x0 <= x < x1, (0, 0) at the frame's top left. */
typedef struct lampblack_box {
    int32_t x0, y0, x1, y1;
} lampblack_box;

/* Called, on the thread that made the request, when `node` (lent for the call) begins to be
 * computed, maybe together with neighbours: `done` of the `total` pieces of work that the request
 * takes are finished. What a cache has is not among them. `done` never goes down and is at most
 * `total`, which is at least 1 and changes only when a frame turns out to be too much for the
 * memory and is made in parts. At the end of what went well with NULL and done == total; when very
 * much begins at once, not all of it is told. May call everything, also for the same object, but
 * not free it. */
typedef void (*lampblack_progress_fn)(void *user, const char *node, int32_t done, int32_t total);
/* Asked a hundred times a second, on the same thread; true: stop. The request then ends with
 * LAMPBLACK_CANCELLED within a piece of work's loop; others of the same object go on. */
typedef bool (*lampblack_cancel_fn)(void *user);

typedef struct lampblack_request {
    size_t size;
    const char *output;             /* an output of the graph, or else: */
    const char *node;               /* a node that makes an image, "NODE" or "NODE.LAYER" */
    int32_t frame;                  /* may be outside the graph's range */
    double scale;                   /* pixels computed per pixel of the frame, 1/64 to 64; 0: 1 */
    const lampblack_box *window;    /* at that scale, up to 2^24; NULL: the whole picture */
    lampblack_progress_fn progress; /* NULL: not told */
    void *progress_user;
    lampblack_cancel_fn cancel; /* NULL: never */
    void *cancel_user;
} lampblack_request;

#define LAMPBLACK_MAX_CHANNELS 64

typedef struct lampblack_picture {
    size_t size;
    lampblack_box window;        /* what the request is for: display, or the request's own */
    int32_t width, height;       /* of `window` */
    lampblack_box display, data; /* the whole picture; where it has pixels (elsewhere it is 0) */
    double pixel_aspect;
    int32_t channel_count;
    const char *channels[LAMPBLACK_MAX_CHANNELS]; /* "A", "B", "G", "R", "depth.Z", ... sorted */
} lampblack_picture;

/* What a request would give, before a pixel is made. The callbacks are not called. */
LAMPBLACK_API lampblack_status lampblack_describe(lampblack_graph *graph,
                                                  const lampblack_request *request,
                                                  lampblack_picture *out);

/* Where pixels go, lent by the caller: the top row first, each from left to right. For pixel (x, y)
 * of the window, counted from its top left corner, and channel c of `channels`:
 *   interleaved  data[y * row_stride + x * count + c]
 *   planar       data[c * plane_stride + y * row_stride + x] */
typedef struct lampblack_pixels {
    size_t size;
    float *data;
    size_t floats;               /* that `data` has room for */
    const char *const *channels; /* `channel_count` of them; NULL: R, G, B, A */
    int32_t channel_count;
    bool planar;
    size_t row_stride;   /* floats from a row to the next; 0: rows follow each other */
    size_t plane_stride; /* floats from a plane to the next; 0: planes follow each other */
} lampblack_pixels;

/* Makes the pixels: linear light in the frame's space, unclamped, premultiplied by A; other
 * channels (depth, normals, ...) as they are. A picture without A is opaque where it has pixels;
 * another channel that it has not is LAMPBLACK_NOT_FOUND, and `floats` that do not hold it all are
 * LAMPBLACK_LIMIT, before anything is computed. Nothing between rows is touched, and after another
 * failure the pixels are undefined. */
LAMPBLACK_API lampblack_status lampblack_evaluate(lampblack_graph *graph,
                                                  const lampblack_request *request,
                                                  const lampblack_pixels *into);

/* Writes the frame of request->output as the graph says, whole or not at all, making folders that
 * are not there. `window` must be NULL; the frame may be outside the output's range. */
LAMPBLACK_API lampblack_status lampblack_write(lampblack_graph *graph,
                                               const lampblack_request *request);

/* --- memory --- */

/* The process has one account of what all graph objects hold. Beyond `bytes` (0: no bound) a call
 * fails with LAMPBLACK_MEMORY, whichever object it is for. */
LAMPBLACK_API void lampblack_memory_limit(size_t bytes);
LAMPBLACK_API size_t lampblack_memory_used(void);
/* Gives the system back what waits to be used again. */
LAMPBLACK_API void lampblack_memory_trim(void);

#ifdef __cplusplus
}
#endif

#endif
