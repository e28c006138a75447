/* lang/build_files.c: the graph file and what it includes. Each file is read once, however often it
 * is included. */
#include <string.h>

#include "engine/base/text.h"
#include "lang/build.h"

#define VERSION 1

static void read_includes(lb_build *build, lb_document *document, int32_t depth);

/* The version decides how all the rest is read, so nothing else is said when it is wrong. */
static bool check_version(lb_build *build, const char *file, const lb_yaml_node *root)
{
    const lb_yaml_node *version;
    char found[LB_FOUND];

    if (root->kind != LB_YAML_MAPPING) {
        lb_build_fail(build, LB_INVALID, root->loc,
                      "a graph is a mapping that begins with 'lampblack: %d'", VERSION);
        return false;
    }
    version = lb_yaml_find(root, "lampblack");
    if (!version) {
        lb_build_fail(build, LB_INVALID, (lb_loc){.file = file},
                      "no 'lampblack: %d', the version of the language", VERSION);
        return false;
    }
    if (version->kind == LB_YAML_SCALAR && version->type == LB_SCALAR_NUMBER &&
        version->number == VERSION)
        return true;
    if (version->kind == LB_YAML_SCALAR && version->type == LB_SCALAR_NUMBER &&
        version->number > VERSION)
        lb_build_fail(build, LB_UNSUPPORTED, version->loc,
                      "'lampblack' is %s; this program reads version %d",
                      lb_build_found(version, found), VERSION);
    else
        lb_build_fail(build, LB_INVALID, version->loc, "'lampblack' is %s; it takes %d",
                      lb_build_found(version, found), VERSION);
    return false;
}

/* The tree of a document's text; what is wrong with it is reported. */
static void read_tree(lb_build *build, lb_document *document, const char *text, size_t bytes)
{
    static const char mark[] = "\xEF\xBB\xBF"; /* byte order */
    lb_yaml_node *root = NULL;
    const char *file = document->file;

    if (bytes == 0)
        text = "";
    if (build->diag && !(file = lb_diag_add_source(build->diag, file, text, bytes))) {
        lb_build_fail(build, LB_MEMORY, LB_NOWHERE, "no memory");
        return;
    }
    if (bytes >= 3 && memcmp(text, mark, 3) == 0)
        text += 3, bytes -= 3;
    document->file = file;
    if (bytes > LB_LANG_MAX_BYTES) {
        lb_build_fail(build, LB_LIMIT, (lb_loc){.file = file}, "a graph has at most %zu MiB",
                      LB_LANG_MAX_BYTES >> 20);
        return;
    }
    build->file_bytes += (int64_t)bytes;
    if (build->file_bytes > LB_MAX_FILE_BYTES) {
        lb_build_fail(build, LB_LIMIT, (lb_loc){.file = file},
                      "a graph and the files that it includes have at most %d MiB",
                      (int)(LB_MAX_FILE_BYTES >> 20));
        build->is_over = true;
        return;
    }
    lb_build_ok(build, lb_yaml_read(build->diag, file, text, bytes, build->arena, &root));
    if (!root || build->is_over || !check_version(build, file, root))
        return;
    build->file_nodes += root->size;
    if (build->file_nodes > LB_MAX_FILE_NODES) {
        lb_build_fail(build, LB_LIMIT, (lb_loc){.file = file},
                      "a graph and the files that it includes have at most %d values",
                      LB_MAX_FILE_NODES);
        build->is_over = true;
        return;
    }
    document->root = root;
}

/* A document that is not read yet, at the end of the list. */
static lb_document *add_document(lb_build *build, const char *path)
{
    lb_document *document = lb_build_alloc(build, 1, sizeof *document);
    char *folder = lb_path_folder(path);

    if (!document)
        goto done;
    document->file = lb_arena_strdup(build->arena, path);
    document->folder = folder ? lb_arena_strdup(build->arena, folder) : NULL;
    document->has_stamp = lb_file_stamp_of(path, &document->stamp);
    document->body.document = document;
    if (!document->file || !document->folder) {
        lb_build_fail(build, LB_MEMORY, LB_NOWHERE, "no memory");
        document = NULL;
        goto done;
    }
    if (build->last_document)
        build->last_document->next = document;
    else
        build->documents = document;
    build->last_document = document;
    build->document_count++;
done:
    lb_free(folder);
    return document;
}

/* One that was read already: the same path, or the same file under another one. */
static lb_document *find_document(const lb_build *build, const char *path)
{
    lb_file_stamp stamp;
    bool has_stamp = lb_file_stamp_of(path, &stamp);

    for (lb_document *d = build->documents; d; d = d->next)
        if (strcmp(d->file, path) == 0 ||
            (has_stamp && d->has_stamp && d->stamp.device == stamp.device &&
             d->stamp.inode == stamp.inode))
            return d;
    return NULL;
}

/* "a.yaml -> b.yaml -> a.yaml" */
static void report_cycle(lb_build *build, const lb_document *from, const lb_document *to,
                         lb_loc loc)
{
    const lb_document *chain[LB_MAX_DEPTH + 1];
    int32_t count = 0;
    lb_text path = {0};

    for (const lb_document *d = from; d != to && count < LB_MAX_DEPTH; d = d->includer)
        chain[count++] = d;
    lb_text_put(&path, to->file);
    while (count-- > 0)
        lb_text_printf(&path, " -> %s", chain[count]->file);
    lb_build_fail(build, LB_INVALID, loc, "this file includes itself: %s -> %s",
                  path.bytes ? path.bytes : "", to->file);
    lb_text_clear(&path);
}

static lb_document *load(lb_build *build, lb_document *from, const char *path, lb_loc loc,
                         int32_t depth)
{
    lb_document *document = find_document(build, path);
    void *text;
    size_t bytes;

    if (document) {
        if (document->is_open)
            report_cycle(build, from, document, loc);
        return document->root && !document->is_open ? document : NULL;
    }
    if (depth >= LB_MAX_DEPTH || build->document_count >= LB_MAX_FILES) {
        lb_build_fail(build, LB_LIMIT, loc,
                      depth >= LB_MAX_DEPTH ? "files include each other at most %d deep"
                                            : "a graph has at most %d files",
                      depth >= LB_MAX_DEPTH ? LB_MAX_DEPTH : LB_MAX_FILES);
        return NULL;
    }
    if (!(document = add_document(build, path)))
        return NULL;
    document->includer = from;
    document->included = loc;
    if (!lb_build_ok(build, lb_file_read(build->diag, loc, path, LB_LANG_MAX_BYTES, &text, &bytes)))
        return NULL;
    build->body = &document->body;
    read_tree(build, document, text, bytes);
    lb_free(text);
    if (document->root && !build->is_over)
        read_includes(build, document, depth + 1);
    build->body = &from->body;
    return document->root ? document : NULL;
}

/* `kit: looks.yaml` or `kit: {file: looks.yaml, params: {...}}`. */
static void read_include(lb_build *build, lb_document *document, const lb_yaml_entry *entry,
                         int32_t depth)
{
    static const char *const keys[] = {"file", "params", NULL};
    const lb_yaml_node *word = entry->value, *params = NULL;
    lb_named *named = lb_build_add_name(build, &document->body, LB_NAMES_INCLUDE, entry);
    char *path;

    if (!named)
        return;
    if (word->kind == LB_YAML_MAPPING) {
        lb_build_check_keys(build, word, keys, named->name);
        params = lb_yaml_find(word, "params");
        if (!(word = lb_yaml_find(word, "file"))) {
            lb_build_fail(build, LB_INVALID, named->loc, "'%.60s' needs 'file', a graph file",
                          named->name);
            return;
        }
    }
    if (params && lb_build_expect(build, params, LB_YAML_MAPPING, "params"))
        named->params = params;
    if (!lb_build_expect(build, word, LB_YAML_SCALAR, named->name))
        return;
    if (!(path = lb_path_join(document->folder, word->text)))
        lb_build_fail(build, LB_MEMORY, word->loc, "no memory");
    else
        named->document = load(build, document, path, word->loc, depth);
    lb_free(path);
}

static void read_includes(lb_build *build, lb_document *document, int32_t depth)
{
    const lb_yaml_node *include = lb_yaml_find(document->root, "include");
    const lb_yaml_node *nodes = lb_yaml_find(document->root, "nodes");
    lb_body *body = &document->body;
    size_t count = 0;

    if (include && lb_build_expect(build, include, LB_YAML_MAPPING, "include"))
        count = (size_t)include->count;
    if (nodes && nodes->kind == LB_YAML_MAPPING)
        body->named = lb_build_alloc(build, count + (size_t)nodes->count, sizeof *body->named);
    else
        body->named = lb_build_alloc(build, count, sizeof *body->named);
    document->is_open = true;
    for (size_t i = 0; i < count && !build->is_over; i++)
        read_include(build, document, &include->entries[i], depth);
    document->is_open = false;
}

lb_document *lb_build_read(lb_build *build, const char *text, size_t bytes)
{
    lb_document *document = add_document(build, build->file);

    if (!document)
        return NULL;
    build->body = &document->body;
    read_tree(build, document, text, bytes);
    build->file = document->file;
    if (document->root && !build->is_over)
        read_includes(build, document, 0);
    build->body = NULL;
    return document->root ? document : NULL;
}
