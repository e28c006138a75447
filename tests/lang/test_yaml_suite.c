/* tests/lang/test_yaml_suite.c: the YAML Test Suite (tests/data/yaml/SOURCE.md). Every case must be
 * read as its in.json says, or refused if it has a file named `error`; where the reader differs,
 * the difference is known and has a reason. */
#include <criterion/criterion.h>
#include <dirent.h>
#include <jansson.h>
#include <sys/stat.h>

#include "engine/base/file.h"
#include "lang/yaml.h"
#include "tests/lang/messages.h"

typedef enum why {
    LAX,    /* libyaml takes what YAML 1.2 forbids */
    STRICT, /* libyaml refuses what YAML 1.2 allows (it follows YAML 1.1 there) */
    OURS,   /* a graph is one document, with words as keys and without tags of its own */
} why;

static const struct difference {
    const char *id;
    why why;
} differences[] = {
    {"9C9N", LAX},    {"9JBA", LAX},       {"DK95/01", LAX},    {"MUS6/00", LAX},
    {"2JQS", STRICT}, {"2SXE", STRICT},    {"4MUZ/00", STRICT}, {"6LVF", STRICT},
    {"7Z25", STRICT}, {"DK95/00", STRICT}, {"HM87/00", STRICT}, {"K3WX", STRICT},
    {"6BFJ", OURS},   {"6CK3", OURS},      {"6WLZ", OURS},      {"98YD", OURS},
    {"LX3P", OURS},   {"M5DY", OURS},      {"P76L", OURS},      {"Q9WF", OURS},
};

static int cases, compared, met[sizeof differences / sizeof differences[0]];

static const struct difference *find_difference(const char *id)
{
    for (size_t i = 0; i < sizeof differences / sizeof differences[0]; i++)
        if (strcmp(differences[i].id, id) == 0) {
            met[i]++;
            return &differences[i];
        }
    return NULL;
}

static bool is_same(const lb_yaml_node *node, const json_t *json)
{
    switch (json_typeof(json)) {
    case JSON_NULL:
        return node->kind == LB_YAML_SCALAR && node->type == LB_SCALAR_NULL;
    case JSON_TRUE:
    case JSON_FALSE:
        return node->kind == LB_YAML_SCALAR && node->type == LB_SCALAR_BOOL &&
               (node->number != 0) == json_is_true(json);
    case JSON_INTEGER:
    case JSON_REAL:
        return node->kind == LB_YAML_SCALAR && node->type == LB_SCALAR_NUMBER &&
               node->number == json_number_value(json);
    case JSON_STRING:
        return node->kind == LB_YAML_SCALAR && node->type == LB_SCALAR_TEXT &&
               node->length == json_string_length(json) &&
               memcmp(node->text, json_string_value(json), node->length) == 0;
    case JSON_ARRAY:
        if (node->kind != LB_YAML_LIST || (size_t)node->count != json_array_size(json))
            return false;
        for (int32_t i = 0; i < node->count; i++)
            if (!is_same(node->items[i], json_array_get(json, (size_t)i)))
                return false;
        return true;
    case JSON_OBJECT:
        if (node->kind != LB_YAML_MAPPING || (size_t)node->count != json_object_size(json))
            return false;
        for (int32_t i = 0; i < node->count; i++) {
            const json_t *value = json_object_get(json, node->entries[i].key->text);

            if (!value || !is_same(node->entries[i].value, value))
                return false;
        }
        return true;
    }
    return false;
}

static void compare(const char *folder, const char *id, const lb_yaml_node *root)
{
    char path[1024];
    json_t *json;

    snprintf(path, sizeof path, "%s/in.json", folder);
    if (!(json = json_load_file(path, JSON_DECODE_ANY | JSON_DISABLE_EOF_CHECK, NULL)))
        return;
    compared++;
    cr_expect(is_same(root, json), "%s: the tree is not what in.json says", id);
    json_decref(json);
}

static void run_case(const char *folder, const char *id)
{
    lb_diag *diag = lb_diag_new();
    lb_arena *arena = lb_arena_new();
    const struct difference *difference = find_difference(id);
    lb_yaml_node *root = NULL;
    char path[1024];
    void *text;
    size_t bytes;
    bool is_error;
    lb_status status;
    char *messages;

    snprintf(path, sizeof path, "%s/error", folder);
    is_error = lb_file_exists(path);
    snprintf(path, sizeof path, "%s/in.yaml", folder);
    cr_assert(lb_file_read(diag, LB_NOWHERE, path, 1 << 20, &text, &bytes) == LB_OK);
    status =
        lb_yaml_read(diag, lb_diag_add_source(diag, id, text, bytes), text, bytes, arena, &root);
    messages = messages_of(diag);
    cases++;
    cr_expect((status != LB_OK) == (difference ? difference->why != LAX : is_error), "%s: %s", id,
              status == LB_OK ? "accepted" : messages);
    cr_expect((status != LB_OK) == (lb_diag_count(diag, LB_ERROR) > 0), "%s: %s", id, messages);
    if (difference)
        cr_expect(is_error == (difference->why == LAX), "%s is not what the table says", id);
    if (status == LB_OK && !is_error)
        compare(folder, id, root);
    free(messages);
    lb_free(text);
    lb_arena_free(&arena);
    lb_diag_free(&diag);
}

/* Cases have folders of their own; some have numbered ones within. */
static void run_folder(const char *folder, const char *id)
{
    DIR *dir = opendir(folder);
    struct dirent *entry;
    char path[1024], name[512];
    struct stat info;

    cr_assert(dir, "%s", folder);
    while ((entry = readdir(dir))) {
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (strcmp(entry->d_name, "in.yaml") == 0) {
            run_case(folder, id);
        } else if (entry->d_name[0] != '.' && stat(path, &info) == 0 && S_ISDIR(info.st_mode)) {
            snprintf(name, sizeof name, "%s%s%s", id, *id ? "/" : "", entry->d_name);
            run_folder(path, name);
        }
    }
    closedir(dir);
}

Test(yaml_suite, all)
{
    run_folder(LB_TEST_DATA "/yaml", "");
    cr_expect(cases == 93, "%d cases", cases);
    cr_expect(compared >= 36, "%d trees compared", compared);
    for (size_t i = 0; i < sizeof differences / sizeof differences[0]; i++)
        cr_expect(met[i] == 1, "%s was met %d times", differences[i].id, met[i]);
}
