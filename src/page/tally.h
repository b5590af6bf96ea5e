#ifndef KW_PAGE_TALLY_H
#define KW_PAGE_TALLY_H
/*
 * tally.h - the ledger's times in homes, added up by batch for breakage.h.
 * One pass over all pots.
 */
#include "ledger/ledger.h"
#include "watch/breakage.h"

/* Batches are numbered from 1 as they are written down. */
#define TALLY_BATCH_MOST 4000000

struct tally {
    struct breakage_batch *batches; /* in the order they were met */
    size_t n, cap;
    int32_t *index; /* batch id -> place in batches, -1 none */
    size_t n_index, cap_index;
    int64_t now_s;
};

/* Released by the caller, after an error too. */
int tally_gather(struct ledger *lg, int64_t now_s, struct tally *out);
void tally_release(struct tally *t);
/* The batch's sums; NULL when no pot of it was handed out. */
const struct breakage_batch *tally_find(const struct tally *t,
                                        int64_t batch_id);
#endif
