#include "carrier/rate.h"

#include <stdlib.h>
#include <string.h>

#define WAYS      4    /* places that one address can stand in */
#define SETS      1024 /* a power of two */
#define MINUTE_US 60000000

struct bucket {
    uint8_t key[RATE_KEY_OCTETS];
    int64_t at_us;   /* last taken from; 0 empty place */
    int64_t owed_us; /* time not yet earned back, from at_us on */
};

struct rate {
    int64_t cost_us; /* of one token */
    uint32_t seed;
    struct bucket buckets[SETS][WAYS];
};

struct rate *rate_new(int per_minute)
{
    struct rate *r = kw_calloc(1, sizeof(*r));

    r->cost_us = MINUTE_US / per_minute;
    r->seed = arc4random();
    return r;
}

void rate_free(struct rate *r)
{
    kw_free(r);
}

/* FNV-1a, begun at a number that nobody outside knows. */
static uint32_t set_of(const struct rate *r, const uint8_t *key)
{
    uint32_t h = 2166136261u ^ r->seed;

    for (size_t i = 0; i < RATE_KEY_OCTETS; i++)
        h = (h ^ key[i]) * 16777619u;
    return (h ^ h >> 15) & (SETS - 1);
}

static struct bucket *find(struct rate *r, const uint8_t *key)
{
    struct bucket *set = r->buckets[set_of(r, key)], *oldest = set;

    for (size_t i = 0; i < WAYS; i++) {
        if (set[i].at_us != 0 && memcmp(set[i].key, key, sizeof(set->key)) == 0)
            return &set[i];
        if (set[i].at_us < oldest->at_us)
            oldest = &set[i];
    }
    *oldest = (struct bucket){0};
    memcpy(oldest->key, key, sizeof(oldest->key));
    return oldest;
}

int rate_take(struct rate *r, const uint8_t key[RATE_KEY_OCTETS],
              int64_t now_us)
{
    struct bucket *b = find(r, key);

    now_us += 1; /* 0 marks an empty place */
    b->owed_us -= now_us - b->at_us;
    if (b->owed_us < 0)
        b->owed_us = 0;
    b->at_us = now_us;
    if (b->owed_us + r->cost_us > MINUTE_US) {
        int64_t wait_us = b->owed_us + r->cost_us - MINUTE_US;

        return (int)((wait_us + 999999) / 1000000);
    }
    b->owed_us += r->cost_us;
    return 0;
}
