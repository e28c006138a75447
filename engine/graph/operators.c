/* engine/graph/operators.c: operators that are built in, and those of shared objects. */
#include "engine/graph/operators.h"

#include <dlfcn.h>
#include <link.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/graph/object_check.h"

#define OBJECT_MOST ((size_t)1 << 30) /* bytes of one */
#define OPERATORS_MOST 4096           /* in one object */

/* An operator of an object: the object's table, but for its fingerprint. */
typedef struct guest {
    lb_op op; /* first: call->op is this */
    const lb_op *table;
    lb_key key;
} guest;

typedef struct module {
    struct module *next;
    void *handle;
    char *path;
    guest *guests;
    uint32_t count;
} module;

struct lb_operators {
    const lb_op **list;
    size_t count;
    module *modules;
};

/* The system loads a file once in a process, so its link is the process's too. */
static pthread_mutex_t link_lock = PTHREAD_MUTEX_INITIALIZER;

static lb_status say(lb_diag *diag, lb_severity severity, lb_status status, lb_loc loc,
                     const char *text)
{
    if (severity == LB_ERROR)
        return lb_fail(diag, status, loc, "%s", text);
    if (severity == LB_WARNING)
        lb_warn(diag, loc, "%s", text);
    else
        lb_note(diag, loc, "%s", text);
    return status;
}

static const lb_host host = {.say = say,
#define ENTER_V(name, parameters, arguments) .name = name,
#define ENTER_F(type, name, parameters, arguments) .name = name,
                             LB_HOST_FUNCTIONS(ENTER_V, ENTER_F)};

/* What the object holds decides what it makes, whatever its operators' versions say. */
static lb_status fingerprint(const lb_call *call, lb_hasher *hasher)
{
    const guest *g = (const guest *)(const void *)call->op;

    lb_hash_key(hasher, g->key);
    return g->table->fingerprint ? g->table->fingerprint(call, hasher) : LB_OK;
}

lb_status lb_operators_new(const lb_op *const *builtin, lb_operators **out)
{
    lb_operators *made = lb_alloc(1, sizeof *made);

    *out = NULL;
    if (!made)
        return LB_MEMORY;
    while (builtin[made->count])
        made->count++;
    made->list = lb_alloc(made->count + 1, sizeof *made->list);
    if (!made->list) {
        lb_free(made);
        return LB_MEMORY;
    }
    memcpy(made->list, builtin, made->count * sizeof *made->list);
    *out = made;
    return LB_OK;
}

static void module_free(module *m)
{
    if (!m)
        return;
    if (m->handle)
        dlclose(m->handle);
    lb_free(m->path);
    lb_free(m->guests);
    lb_free(m);
}

void lb_operators_free(lb_operators **operators)
{
    lb_operators *old = *operators;

    if (!old)
        return;
    while (old->modules) {
        module *next = old->modules->next;

        module_free(old->modules);
        old->modules = next;
    }
    lb_free(old->list);
    lb_free(old);
    *operators = NULL;
}

const lb_op *const *lb_operators_list(const lb_operators *operators)
{
    return operators->list;
}

/* Whose operator has that name; NULL: nobody's. */
static const char *owner_of(const lb_operators *operators, const char *name)
{
    for (const module *m = operators->modules; m; m = m->next)
        for (uint32_t i = 0; i < m->count; i++)
            if (!strcmp(m->guests[i].op.name, name))
                return m->path;
    for (size_t i = 0; i < operators->count; i++)
        if (!strcmp(operators->list[i]->name, name))
            return "";
    return NULL;
}

static lb_status check_table(const lb_operators *operators, lb_diag *diag, lb_loc loc,
                             const char *path, const lb_object *object, uint32_t index)
{
    lb_status status = lb_object_check_op(diag, loc, path, object, index);
    const lb_op *op = object->ops[index];
    const char *owner;

    if (status != LB_OK)
        return status;
    if (!(owner = owner_of(operators, op->name)))
        return LB_OK;
    if (!*owner)
        return lb_fail(diag, LB_INVALID, loc, "'%s' has an operator '%s', which is built in", path,
                       op->name);
    return lb_fail(diag, LB_INVALID, loc, "'%s' has an operator '%s', and so has '%s'", path,
                   op->name, owner);
}

/* Hands the object its functions and notes what it was when it was first loaded: the system goes on
 * using that one for as long as anybody does, whatever the file holds by then. */
static lb_status join(lb_diag *diag, lb_loc loc, const char *path, const lb_object *object,
                      lb_key key)
{
    lb_status status = LB_OK;

    pthread_mutex_lock(&link_lock);
    if (!object->link->host) {
        object->link->host = &host;
        object->link->key = key;
    } else if (!lb_key_equal(object->link->key, key) || object->link->host != &host) {
        status = lb_fail(diag, LB_UNSUPPORTED, loc,
                         "'%s' was changed while this process has it loaded; start anew", path);
    }
    pthread_mutex_unlock(&link_lock);
    return status;
}

/* Is all there that the file says it has? The system maps what it is told, and a file that was cut
 * short would end the process. */
static bool is_whole(const unsigned char *bytes, size_t count)
{
    ElfW(Ehdr) header;

    if (count < sizeof header || memcmp(bytes, ELFMAG, SELFMAG) != 0)
        return true; /* not its format: the loader will say so */
    memcpy(&header, bytes, sizeof header);
    if (header.e_ident[EI_CLASS] != (sizeof(void *) == 8 ? ELFCLASS64 : ELFCLASS32) ||
        header.e_phentsize != sizeof(ElfW(Phdr)))
        return true;
    for (size_t i = 0; i < header.e_phnum; i++) {
        ElfW(Phdr) part;
        size_t at = header.e_phoff + i * sizeof part;

        if (header.e_phoff > count || at > count || count - at < sizeof part)
            return false;
        memcpy(&part, bytes + at, sizeof part);
        if (part.p_filesz > count || part.p_offset > count - part.p_filesz)
            return false;
    }
    return true;
}

/* Loads the file, and knows what it holds. */
static lb_status open_file(lb_diag *diag, lb_loc loc, module *m, lb_key *key)
{
    lb_file_stamp before, after;
    void *bytes = NULL;
    size_t count;
    char *path;
    bool known = lb_file_stamp_of(m->path, &before);
    lb_status status = lb_file_read(diag, loc, m->path, OBJECT_MOST, &bytes, &count);

    if (status != LB_OK)
        return status;
    *key = lb_key_of(bytes, count);
    if (!is_whole(bytes, count))
        status = lb_fail(diag, LB_FORMAT, loc, "'%s' cannot be loaded: it was cut short", m->path);
    lb_free(bytes);
    if (status != LB_OK)
        return status;
    /* A name without a slash would be looked for in the system's folders. */
    path = lb_alloc(strlen(m->path) + 3, 1);
    if (!path)
        return lb_fail(diag, LB_MEMORY, loc, "no memory");
    strcat(strcpy(path, strchr(m->path, '/') ? "" : "./"), m->path);
    m->handle = dlopen(path, RTLD_NOW | RTLD_LOCAL);
    if (!m->handle) {
        const char *why = dlerror();
        size_t length = strlen(path);

        if (why && !strncmp(why, path, length) && !strncmp(why + length, ": ", 2))
            why += length + 2;
        status = lb_fail(diag, LB_FORMAT, loc, "'%s' cannot be loaded: %s", m->path,
                         why ? why : "no reason given");
    } else if (!known || !lb_file_stamp_of(m->path, &after) ||
               memcmp(&before, &after, sizeof before) != 0) {
        status = lb_fail(diag, LB_IO, loc, "'%s' changed while it was loaded", m->path);
    }
    lb_free(path);
    return status;
}

static int by_name(const void *a, const void *b)
{
    return strcmp((*(const lb_op *const *)a)->name, (*(const lb_op *const *)b)->name);
}

/* Enters all operators of an object that was looked at. */
static lb_status enter(lb_operators *operators, module *m, const lb_object *object, lb_key key)
{
    size_t count = operators->count + object->count;
    const lb_op **list = lb_alloc(count + 1, sizeof *list);

    if (object->count > 0)
        m->guests = lb_alloc(object->count, sizeof *m->guests);
    if (!list || (object->count > 0 && !m->guests)) {
        lb_free(list);
        return LB_MEMORY;
    }
    memcpy(list, operators->list, operators->count * sizeof *list);
    for (uint32_t i = 0; i < object->count; i++) {
        m->guests[i] = (guest){.op = *object->ops[i], .table = object->ops[i], .key = key};
        m->guests[i].op.fingerprint = fingerprint;
        list[operators->count + i] = &m->guests[i].op;
    }
    m->count = object->count;
    qsort(list, count, sizeof *list, by_name);
    lb_free(operators->list);
    operators->list = list;
    operators->count = count;
    m->next = operators->modules;
    operators->modules = m;
    return LB_OK;
}

lb_status lb_operators_load(lb_operators *operators, lb_diag *diag, lb_loc loc, const char *path)
{
    module *m = lb_alloc(1, sizeof *m);
    const lb_object *object = NULL;
    lb_key key;
    lb_status status;

    if (!m || !(m->path = lb_strdup(path))) {
        status = lb_fail(diag, LB_MEMORY, loc, "no memory");
        goto failed;
    }
    if ((status = open_file(diag, loc, m, &key)) != LB_OK)
        goto failed;
    if (!(object = dlsym(m->handle, LB_OBJECT_SYMBOL_NAME))) {
        status = lb_fail(diag, LB_FORMAT, loc,
                         "'%s' has no operators: it exports no '" LB_OBJECT_SYMBOL_NAME "'", path);
        goto failed;
    }
    if ((status = lb_object_check(diag, loc, path, object)) != LB_OK)
        goto failed;
    if (!object->link || (object->count > 0 && !object->ops) || object->count > OPERATORS_MOST) {
        status = lb_fail(diag, LB_INVALID, loc, "'%s': its description has no sense", path);
        goto failed;
    }
    for (uint32_t i = 0; i < object->count; i++)
        if ((status = check_table(operators, diag, loc, path, object, i)) != LB_OK)
            goto failed;
    if ((status = join(diag, loc, path, object, key)) != LB_OK)
        goto failed;
    if ((status = enter(operators, m, object, key)) == LB_OK)
        return LB_OK;
    lb_fail(diag, status, loc, "no memory");
failed:
    module_free(m);
    return status;
}
