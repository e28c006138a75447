/* tests/bench/locks.c: how often the threads of a program get into each other's way at mutexes.
 *
 * Preloaded before the program; at its end prints a table of the places that took mutexes, by the
 * address of the call: times taken, times that another thread had it, and the time waited. */
#include <dlfcn.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <time.h>

#define PLACES 4096

typedef struct place {
    _Atomic(void *) caller;
    atomic_llong taken, busy, waited_ns;
} place;

static place places[PLACES];
static int (*real_lock)(pthread_mutex_t *);
static int (*real_trylock)(pthread_mutex_t *);
static double begin_s;

static double clock_s(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static place *place_of(void *caller)
{
    size_t at = ((size_t)caller >> 2) % PLACES;

    for (size_t n = 0; n < PLACES; n++, at = (at + 1) % PLACES) {
        void *there = atomic_load(&places[at].caller);

        if (there == caller)
            return &places[at];
        if (!there && atomic_compare_exchange_strong(&places[at].caller, &there, caller))
            return &places[at];
        if (there == caller)
            return &places[at];
    }
    return NULL;
}

static void find_real(void)
{
    real_lock = (int (*)(pthread_mutex_t *))dlsym(RTLD_NEXT, "pthread_mutex_lock");
    real_trylock = (int (*)(pthread_mutex_t *))dlsym(RTLD_NEXT, "pthread_mutex_trylock");
}

int pthread_mutex_lock(pthread_mutex_t *mutex)
{
    place *p;
    double start;
    int answer;

    if (!real_lock)
        find_real();
    p = place_of(__builtin_return_address(0));
    if (!p)
        return real_lock(mutex);
    atomic_fetch_add_explicit(&p->taken, 1, memory_order_relaxed);
    if (real_trylock(mutex) == 0)
        return 0;
    atomic_fetch_add_explicit(&p->busy, 1, memory_order_relaxed);
    start = clock_s();
    answer = real_lock(mutex);
    atomic_fetch_add_explicit(&p->waited_ns, (long long)((clock_s() - start) * 1e9),
                              memory_order_relaxed);
    return answer;
}

__attribute__((constructor)) static void begin(void)
{
    begin_s = clock_s();
}

static int by_wait(const void *a, const void *b)
{
    long long x = ((const place *)a)->waited_ns, y = ((const place *)b)->waited_ns;

    return (x < y) - (x > y);
}

__attribute__((destructor)) static void report(void)
{
    long long taken = 0, busy = 0, waited = 0;
    struct rusage usage;
    double seconds = clock_s() - begin_s, processor;

    getrusage(RUSAGE_SELF, &usage);
    processor = (double)usage.ru_utime.tv_sec + (double)usage.ru_utime.tv_usec * 1e-6 +
                (double)usage.ru_stime.tv_sec + (double)usage.ru_stime.tv_usec * 1e-6;
    for (int i = 0; i < PLACES; i++) {
        taken += places[i].taken;
        busy += places[i].busy;
        waited += places[i].waited_ns;
    }
    qsort(places, PLACES, sizeof places[0], by_wait);
    fprintf(stderr,
            "%.1f s, %.1f s of processors; %lld locks taken, %lld of them not at once (%.2f %%), "
            "%.1f ms waited in all (%.2f %% of the processors' time)\n\n"
            "| place | taken | not at once | waited ms |\n| --- | ---: | ---: | ---: |\n",
            seconds, processor, taken, busy, taken ? 100.0 * (double)busy / (double)taken : 0.0,
            (double)waited * 1e-6, 100 * (double)waited * 1e-9 / processor);
    for (int i = 0; i < 12 && places[i].taken; i++) {
        Dl_info info = {0};
        char *base;

        dladdr(places[i].caller, &info);
        base = info.dli_fbase;
        fprintf(
            stderr, "| %s%s+0x%zx | %lld | %lld | %.2f |\n", info.dli_sname ? info.dli_sname : "",
            info.dli_sname ? "" : "program",
            (size_t)((char *)places[i].caller - (info.dli_saddr ? (char *)info.dli_saddr : base)),
            (long long)places[i].taken, (long long)places[i].busy,
            (double)places[i].waited_ns * 1e-6);
    }
}
