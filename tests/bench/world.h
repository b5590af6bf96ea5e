#ifndef KW_WORLD_H
#define KW_WORLD_H
/*
 * world.h - a made-up programme for the benches: so many pots, each in a home
 * of its own with a phone of its own, in batches of 999 and one place. What
 * goes wrong ends the bench.
 */
#include "ledger/ledger.h"
#include "reader/serial.h"

#define WORLD_FIRST_PHONE 99970000000LL

struct world_text {
    char from[24], ref[24], text[64];
    int64_t key; /* of the pot */
};

/* An empty ledger gets its pots, handed out 30 days before now_s. */
void world_fill(struct ledger *lg, int pots, int64_t now_s);
/* The home of pot (from 0) writes its serial and then these words; none when
 * they begin with '-'. */
void world_text(struct world_text *t, int pot, int64_t ref, const char *words);
#endif
