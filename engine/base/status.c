/* engine/base/status.c: status phrases and the collecting of messages. Printing is in
 * status_print.c. */
#include "engine/base/status.h"

#include <stdarg.h>
#include <string.h>

#include "engine/base/status_list.h"

const char *lb_status_text(lb_status status)
{
    switch (status) {
    case LB_OK:
        return "good";
    case LB_INVALID:
        return "no meaning";
    case LB_NOT_FOUND:
        return "not found";
    case LB_IO:
        return "cannot read or write";
    case LB_FORMAT:
        return "damaged or of another format";
    case LB_UNSUPPORTED:
        return "not supported";
    case LB_LIMIT:
        return "larger than the limit";
    case LB_MEMORY:
        return "out of memory";
    case LB_CANCELLED:
        return "cancelled";
    }
    return "unknown status";
}

/* How bad, for lb_diag_worst: what is wrong with a graph or a file first, then trouble. */
static int badness(lb_status status)
{
    switch (status) {
    case LB_OK:
        return 0;
    case LB_INVALID:
        return 1;
    case LB_UNSUPPORTED:
        return 2;
    case LB_LIMIT:
        return 3;
    case LB_FORMAT:
        return 4;
    case LB_NOT_FOUND:
        return 5;
    case LB_IO:
        return 6;
    case LB_MEMORY:
        return 7;
    case LB_CANCELLED:
        return 8;
    }
    return 9;
}

lb_diag *lb_diag_new(void)
{
    lb_diag *diag = lb_alloc(1, sizeof *diag);

    if (!diag)
        return NULL;
    if (pthread_mutex_init(&diag->lock, NULL) != 0) {
        lb_free(diag);
        return NULL;
    }
    return diag;
}

void lb_diag_free(lb_diag **diag)
{
    lb_diag *old;

    if (!diag || !*diag)
        return;
    old = *diag;
    for (int32_t i = 0; i < old->message_count; i++)
        if (old->messages[i].text != old->messages[i].spare)
            lb_free(old->messages[i].text);
    if (old->messages != old->first_messages)
        lb_free(old->messages);
    while (old->sources) {
        source *next = old->sources->next;
        lb_free(old->sources->text);
        lb_free(old->sources->marks);
        lb_free(old->sources);
        old->sources = next;
    }
    lb_free(old->slots);
    lb_free(old->speakers);
    pthread_mutex_destroy(&old->lock);
    lb_free(old);
    *diag = NULL;
}

/* FNV-1a, 32 bits (Fowler, Noll, Vo; RFC 9923). */
static uint32_t fnv(uint32_t hash, const void *bytes, size_t count)
{
    const unsigned char *at = bytes;

    for (size_t i = 0; i < count; i++)
        hash = (hash ^ at[i]) * 16777619u;
    return hash;
}

#define FNV_START 2166136261u

static source *intern(lb_diag *diag, const char *name)
{
    size_t length = strlen(name), whole;
    uint32_t hash = fnv(FNV_START, name, length);
    source *found;

    for (found = diag->sources; found; found = found->next)
        if (found->hash == hash && strcmp(found->name, name) == 0)
            return found;
    if (!lb_size_add(sizeof *found + 1, length, &whole))
        return NULL;
    found = lb_alloc(whole, 1);
    if (!found)
        return NULL;
    memcpy(found->name, name, length + 1);
    found->hash = hash;
    found->next = diag->sources;
    diag->sources = found;
    return found;
}

const char *lb_diag_intern(lb_diag *diag, const char *name)
{
    source *found;

    if (!diag || !name)
        return NULL;
    pthread_mutex_lock(&diag->lock);
    found = intern(diag, name);
    pthread_mutex_unlock(&diag->lock);
    return found ? found->name : NULL;
}

const char *lb_diag_add_source(lb_diag *diag, const char *name, const char *text, size_t bytes)
{
    static const char mark[] = "\xEF\xBB\xBF"; /* byte order: no column counts it */
    source *found = NULL;
    size_t skipped = 0;
    char *copy;

    if (!diag || !name || (!text && bytes))
        return NULL;
    if (bytes >= 3 && memcmp(text, mark, 3) == 0) {
        skipped = 3;
        text += 3;
        bytes -= 3;
    }
    copy = lb_alloc(bytes ? bytes : 1, 1);
    if (!copy)
        return NULL;
    if (bytes)
        memcpy(copy, text, bytes);
    pthread_mutex_lock(&diag->lock);
    found = intern(diag, name);
    if (found) {
        if (!found->text)
            found->order = diag->text_count++;
        lb_free(found->text);
        found->text = copy;
        found->bytes = bytes;
        found->skipped = skipped;
        lb_free(found->marks);
        found->marks = NULL;
        found->mark_count = 0;
    } else {
        lb_free(copy);
    }
    pthread_mutex_unlock(&diag->lock);
    return found ? found->name : NULL;
}

/* The message that a note of this thread belongs to, or -1. */
static int32_t find_spoken(const lb_diag *diag, pthread_t self)
{
    for (size_t i = 0; i < diag->speaker_count; i++)
        if (pthread_equal(diag->speakers[i].thread, self))
            return diag->speakers[i].message;
    return -1;
}

static void remember_spoken(lb_diag *diag, pthread_t self, int32_t index)
{
    for (size_t i = 0; i < diag->speaker_count; i++) {
        if (pthread_equal(diag->speakers[i].thread, self)) {
            diag->speakers[i].message = index;
            return;
        }
    }
    if (lb_grow((void **)&diag->speakers, &diag->speaker_capacity, diag->speaker_count,
                sizeof *diag->speakers))
        diag->speakers[diag->speaker_count++] = (speaker){self, index};
}

static uint32_t message_hash(const message *m)
{
    uint32_t hash = fnv(FNV_START, m->text, strlen(m->text));
    int32_t numbers[4] = {m->loc.line, m->loc.column, (int32_t)m->severity, m->parent};

    if (m->loc.file)
        hash = fnv(hash, m->loc.file, strlen(m->loc.file));
    return fnv(hash, numbers, sizeof numbers);
}

static bool is_same(const message *a, const message *b)
{
    return a->hash == b->hash && a->severity == b->severity && a->parent == b->parent &&
           a->loc.line == b->loc.line && a->loc.column == b->loc.column &&
           !a->loc.file == !b->loc.file &&
           (!a->loc.file || strcmp(a->loc.file, b->loc.file) == 0) && strcmp(a->text, b->text) == 0;
}

/* The index of an equal message, or -1. `slots` is a hash table with linear probing that holds
 * index + 1; without memory for it the messages are searched one by one. */
static int32_t find_same(const lb_diag *diag, const message *m)
{
    if (!diag->slot_count) {
        for (int32_t i = 0; i < diag->message_count; i++)
            if (is_same(&diag->messages[i], m))
                return i;
        return -1;
    }
    for (size_t at = m->hash & (diag->slot_count - 1); diag->slots[at];
         at = (at + 1) & (diag->slot_count - 1))
        if (is_same(&diag->messages[diag->slots[at] - 1], m))
            return diag->slots[at] - 1;
    return -1;
}

static void enter_slot(lb_diag *diag, int32_t index)
{
    size_t at = diag->messages[index].hash & (diag->slot_count - 1);

    while (diag->slots[at])
        at = (at + 1) & (diag->slot_count - 1);
    diag->slots[at] = index + 1;
}

/* Keeps the table at most half full; drops it when there is no memory. */
static void index_message(lb_diag *diag, int32_t index)
{
    size_t wanted = diag->slot_count;

    if (!wanted && index + 1 < LB_DIAG_FIRST)
        return;
    while (wanted < 2 * ((size_t)index + 1) + 64)
        wanted = wanted ? 2 * wanted : 256;
    if (wanted == diag->slot_count) {
        enter_slot(diag, index);
        return;
    }
    lb_free(diag->slots);
    diag->slots = lb_alloc(wanted, sizeof *diag->slots);
    diag->slot_count = diag->slots ? wanted : 0;
    for (int32_t i = 0; diag->slots && i <= index; i++)
        enter_slot(diag, i);
}

static bool make_room(lb_diag *diag)
{
    size_t capacity = diag->message_capacity;
    message *grown;

    if (!diag->messages) {
        diag->messages = diag->first_messages;
        diag->message_capacity = LB_DIAG_FIRST;
        return true;
    }
    if ((size_t)diag->message_count < capacity)
        return true;
    if (diag->message_count >= LB_DIAG_MOST)
        return false;
    grown = lb_alloc(2 * capacity, sizeof *grown);
    if (!grown)
        return false;
    memcpy(grown, diag->messages, capacity * sizeof *grown);
    for (size_t i = 0; i < capacity; i++) {
        bool is_spare = diag->messages[i].text == diag->messages[i].spare;
        if (is_spare)
            grown[i].text = grown[i].spare;
    }
    if (diag->messages != diag->first_messages)
        lb_free(diag->messages);
    diag->messages = grown;
    diag->message_capacity = 2 * capacity;
    return true;
}

/* Formats into memory of its own or, when there is none, cut short into the message itself: what
 * went wrong must be told most of all when memory ran out. */
static void set_text(message *m, const char *format, va_list args)
{
    va_list again;
    int length;

    va_copy(again, args);
    length = vsnprintf(m->spare, sizeof m->spare, format, args);
    m->text = m->spare;
    if (length >= (int)sizeof m->spare) {
        char *whole = lb_alloc((size_t)length + 1, 1);
        if (whole) {
            vsnprintf(whole, (size_t)length + 1, format, again);
            m->text = whole;
        }
    }
    va_end(again);
}

static void add(lb_diag *diag, lb_severity severity, lb_status status, lb_loc loc,
                const char *format, va_list args)
{
    pthread_t self = pthread_self();
    message *m;
    int32_t same;

    pthread_mutex_lock(&diag->lock);
    if (badness(status) > badness(diag->worst))
        diag->worst = status;
    if (!make_room(diag)) {
        diag->lost++;
        if (severity != LB_NOTE)
            diag->counts[severity]++;
        goto done;
    }
    m = &diag->messages[diag->message_count];
    *m =
        (message){.severity = severity, .loc = loc, .parent = -1, .next_note = -1, .last_note = -1};
    if (severity == LB_NOTE)
        m->parent = find_spoken(diag, self);
    set_text(m, format, args);
    m->hash = message_hash(m);
    same = find_same(diag, m);
    if (same >= 0) {
        if (m->text != m->spare)
            lb_free(m->text);
        m->text = NULL;
    } else {
        same = diag->message_count++;
        diag->counts[severity]++;
        index_message(diag, same);
        if (m->parent >= 0) {
            message *parent = &diag->messages[m->parent];
            if (parent->last_note >= 0)
                diag->messages[parent->last_note].next_note = same;
            else
                parent->next_note = same;
            parent->last_note = same;
        }
    }
    if (severity != LB_NOTE)
        remember_spoken(diag, self, same);
done:
    pthread_mutex_unlock(&diag->lock);
}

lb_status lb_fail(lb_diag *diag, lb_status status, lb_loc loc, const char *format, ...)
{
    va_list args;

    if (!diag)
        return status;
    va_start(args, format);
    add(diag, LB_ERROR, status, loc, format, args);
    va_end(args);
    return status;
}

void lb_warn(lb_diag *diag, lb_loc loc, const char *format, ...)
{
    va_list args;

    if (!diag)
        return;
    va_start(args, format);
    add(diag, LB_WARNING, LB_OK, loc, format, args);
    va_end(args);
}

void lb_note(lb_diag *diag, lb_loc loc, const char *format, ...)
{
    va_list args;

    if (!diag)
        return;
    va_start(args, format);
    add(diag, LB_NOTE, LB_OK, loc, format, args);
    va_end(args);
}

int32_t lb_diag_count(const lb_diag *diag, lb_severity severity)
{
    lb_diag *locked = (lb_diag *)diag; /* the lock is not part of what const promises */
    int32_t count;

    if (!diag || severity < LB_NOTE || severity > LB_ERROR)
        return 0;
    pthread_mutex_lock(&locked->lock);
    count = diag->counts[severity];
    pthread_mutex_unlock(&locked->lock);
    return count;
}

bool lb_diag_unprinted(const lb_diag *diag)
{
    lb_diag *locked = (lb_diag *)diag;
    bool any = false;

    if (!diag)
        return false;
    pthread_mutex_lock(&locked->lock);
    for (int32_t i = diag->message_count; i-- > 0 && !any;)
        any = !diag->messages[i].is_printed;
    pthread_mutex_unlock(&locked->lock);
    return any;
}

void lb_diag_set_limit(lb_diag *diag, int32_t limit)
{
    pthread_mutex_lock(&diag->lock);
    diag->limit = limit;
    pthread_mutex_unlock(&diag->lock);
}

lb_status lb_diag_worst(const lb_diag *diag)
{
    lb_diag *locked = (lb_diag *)diag;
    lb_status worst;

    if (!diag)
        return LB_OK;
    pthread_mutex_lock(&locked->lock);
    worst = diag->worst;
    pthread_mutex_unlock(&locked->lock);
    return worst;
}

static void take_message(lb_diag *diag, const message *m)
{
    if (m->severity == LB_ERROR)
        lb_fail(diag, LB_OK, m->loc, "%s", m->text);
    else if (m->severity == LB_WARNING)
        lb_warn(diag, m->loc, "%s", m->text);
    else
        lb_note(diag, m->loc, "%s", m->text);
}

void lb_diag_take(lb_diag *diag, lb_diag **from, bool keep)
{
    lb_diag *old = *from;
    source **end;

    if (!old)
        return;
    for (int32_t i = 0; keep && i < old->message_count; i++) {
        if (old->messages[i].parent >= 0)
            continue;
        take_message(diag, &old->messages[i]);
        for (int32_t n = old->messages[i].next_note; n >= 0; n = old->messages[n].next_note)
            take_message(diag, &old->messages[n]);
    }
    pthread_mutex_lock(&diag->lock);
    if (keep && badness(old->worst) > badness(diag->worst))
        diag->worst = old->worst;
    for (source *s = old->sources; s; s = s->next)
        s->order += diag->text_count;
    diag->text_count += old->text_count;
    for (end = &diag->sources; *end; end = &(*end)->next)
        ;
    *end = old->sources;
    old->sources = NULL;
    pthread_mutex_unlock(&diag->lock);
    lb_diag_free(from);
}

bool lb_diag_message(const lb_diag *diag, int32_t index, lb_message *out)
{
    lb_diag *locked = (lb_diag *)diag;
    bool found;

    if (!diag)
        return false;
    pthread_mutex_lock(&locked->lock);
    found = index >= 0 && index < diag->message_count;
    if (found)
        *out = (lb_message){.severity = diag->messages[index].severity,
                            .loc = diag->messages[index].loc,
                            .text = lb_strdup(diag->messages[index].text)};
    pthread_mutex_unlock(&locked->lock);
    return found;
}
