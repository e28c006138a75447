/* engine/graph/claim.c: who is making what.
 *
 * What is being made at one time are some dozens of things, so a stripe is a short list. Those who
 * wait watch one counter of ended claims and look again: a claim that ends wakes all of them, which
 * is rare (it happens once a result that two frames share) and needs no memory of who waits. */
#include "engine/graph/claim.h"

#include <pthread.h>
#include <stdatomic.h>
#include <time.h>

#include "engine/base/memory.h"

#define STRIPES 16

typedef struct stripe {
    _Alignas(64) pthread_mutex_t lock;
    lb_claim *first;
} stripe;

struct lb_claims {
    atomic_uint ended;
    atomic_int sleeping;
    pthread_mutex_t lock; /* of `changed` */
    pthread_cond_t changed;
    stripe stripes[STRIPES];
};

lb_status lb_claims_new(lb_claims **out)
{
    pthread_condattr_t attributes;

    *out = lb_block_new(sizeof **out); /* cache lines of 64 bytes */
    if (!*out)
        return LB_MEMORY;
    atomic_init(&(*out)->ended, 0);
    atomic_init(&(*out)->sleeping, 0);
    pthread_mutex_init(&(*out)->lock, NULL);
    pthread_condattr_init(&attributes);
    pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC);
    pthread_cond_init(&(*out)->changed, &attributes);
    pthread_condattr_destroy(&attributes);
    for (int i = 0; i < STRIPES; i++) {
        pthread_mutex_init(&(*out)->stripes[i].lock, NULL);
        (*out)->stripes[i].first = NULL;
    }
    return LB_OK;
}

void lb_claims_free(lb_claims **claims)
{
    if (!*claims)
        return;
    for (int i = 0; i < STRIPES; i++)
        pthread_mutex_destroy(&(*claims)->stripes[i].lock);
    pthread_cond_destroy(&(*claims)->changed);
    pthread_mutex_destroy(&(*claims)->lock);
    lb_block_free(*claims);
    *claims = NULL;
}

static stripe *stripe_of(lb_claims *claims, lb_key key)
{
    return &claims->stripes[key.low % STRIPES];
}

bool lb_claims_begin(lb_claims *claims, lb_key key, lb_claim *claim)
{
    stripe *s = stripe_of(claims, key);
    const lb_claim *other;

    pthread_mutex_lock(&s->lock);
    for (other = s->first; other && !lb_key_equal(other->key, key); other = other->next)
        ;
    if (!other) {
        *claim = (lb_claim){key, s->first};
        s->first = claim;
    }
    pthread_mutex_unlock(&s->lock);
    return !other;
}

void lb_claims_end(lb_claims *claims, lb_claim *claim)
{
    stripe *s = stripe_of(claims, claim->key);
    lb_claim **at = &s->first;

    pthread_mutex_lock(&s->lock);
    while (*at != claim)
        at = &(*at)->next;
    *at = claim->next;
    pthread_mutex_unlock(&s->lock);
    /* First the count, then the look for sleepers; those do it the other way round, so that one of
     * the two sees the other. */
    atomic_fetch_add(&claims->ended, 1);
    if (atomic_load(&claims->sleeping) > 0) {
        pthread_mutex_lock(&claims->lock);
        pthread_cond_broadcast(&claims->changed);
        pthread_mutex_unlock(&claims->lock);
    }
}

uint32_t lb_claims_ended(const lb_claims *claims)
{
    return atomic_load(&claims->ended);
}

bool lb_claims_wait(lb_claims *claims, uint32_t seen, double seconds)
{
    struct timespec until;
    double whole = seconds < 1e6 ? seconds : 1e6;
    int result = 0;

    clock_gettime(CLOCK_MONOTONIC, &until);
    whole = whole > 0 ? whole : 0;
    until.tv_sec += (time_t)whole;
    until.tv_nsec += (long)((whole - (double)(time_t)whole) * 1e9);
    if (until.tv_nsec >= 1000000000) {
        until.tv_sec++;
        until.tv_nsec -= 1000000000;
    }
    atomic_fetch_add(&claims->sleeping, 1);
    pthread_mutex_lock(&claims->lock);
    while (atomic_load(&claims->ended) == seen && result == 0)
        result = pthread_cond_timedwait(&claims->changed, &claims->lock, &until);
    pthread_mutex_unlock(&claims->lock);
    atomic_fetch_sub(&claims->sleeping, 1);
    return atomic_load(&claims->ended) != seen;
}
