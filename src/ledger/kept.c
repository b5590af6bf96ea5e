/* kept.c - see kept.h. */
#include "ledger/kept.h"

#include <string.h>

enum { DROPS_POT = 1, DROPS_WATER = 2, DROPS_TEXT = 4 };

/* Too often is harmless: "pots_out" in a statement drops a pot, too. */
unsigned kept_drops(const char *sql, bool read_only)
{
    unsigned drops = 0;

    if (read_only)
        return 0;
    if (strstr(sql, "pots") != NULL)
        drops |= DROPS_POT;
    if (strstr(sql, "place_water") != NULL)
        drops |= DROPS_WATER;
    if (strstr(sql, "INTO texts_in") != NULL)
        drops |= DROPS_TEXT;
    return drops;
}

static void drop_waters(struct kept *k)
{
    for (size_t i = 0; i < KEPT_WATERS; i++)
        k->waters[i].place_id = 0;
}

void kept_drop(struct kept *k, unsigned drops)
{
    if (drops & DROPS_POT)
        k->head.key = 0;
    if (drops & DROPS_WATER)
        drop_waters(k);
    if (drops & DROPS_TEXT)
        k->text_id = 0;
}

static void drop_read(struct kept *k)
{
    k->phone.id = 0;
    kept_drop(k, DROPS_POT | DROPS_WATER | DROPS_TEXT);
    for (size_t i = 0; i < KEPT_PHRASES; i++)
        k->phrases[i].id = 0;
    for (size_t i = 0; i < KEPT_RULES; i++)
        k->rules[i].id = 0;
}

void kept_begin(struct kept *k, int64_t version)
{
    if (version != k->version)
        drop_read(k);
    k->version = version;
    k->phone.id = 0;
    k->head.key = 0;
    k->segments.any = false;
}

void kept_savepoint(struct kept *k)
{
    k->at_savepoint = k->segments;
}

void kept_undo(struct kept *k)
{
    drop_read(k);
    k->segments = k->at_savepoint;
}

void kept_rollback(struct kept *k)
{
    drop_read(k);
    k->segments.any = false;
}

struct kept_water *kept_water(struct kept *k, int64_t place_id, int month)
{
    uint64_t h = (uint64_t)(place_id * 12 + month) * 0x9e3779b97f4a7c15u;

    return &k->waters[(h >> 32) % KEPT_WATERS];
}

/* FNV-1a, and the bits well mixed. */
static size_t hash(const void *data, size_t len)
{
    const unsigned char *p = data;
    uint64_t h = 14695981039346656037u;

    for (size_t i = 0; i < len; i++)
        h = (h ^ p[i]) * 1099511628211u;
    return (size_t)(h >> 32);
}

struct kept_phrase *kept_phrase(struct kept *k, const char *words)
{
    return &k->phrases[hash(words, strlen(words)) % KEPT_PHRASES];
}

void kept_phrase_put(struct kept_phrase *p, const char *words, int64_t id)
{
    kw_free(p->words);
    p->words = kw_strdup(words);
    p->id = id;
}

struct kept_rule *kept_rule(struct kept *k, const double *numbers)
{
    return &k->rules[hash(numbers, KEPT_NUMBERS * sizeof(*numbers)) %
                     KEPT_RULES];
}

void kept_release(struct kept *k)
{
    for (size_t i = 0; i < KEPT_PHRASES; i++)
        kw_free(k->phrases[i].words);
}
