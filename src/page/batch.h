#ifndef KW_PAGE_BATCH_H
#define KW_PAGE_BATCH_H
/*
 * batch.h - one batch: what was written down of it, how its pots do against
 * what the other batches say, who holds them, what was different.
 */
#include "ledger/batchstate.h"
#include "page/life.h"
#include "page/usual.h"
#include "watch/breakage.h"

/* Failures that the published rate counts for, in each bin of age. */
#define BATCH_PRIOR_EVENTS 3

struct batch_page {
    struct ledger_batch batch;
    bool judged;                       /* some pots were handed out */
    struct breakage_verdict verdict;   /* when judged */
    double exposure_days;              /* pot-days in homes */
    int64_t others_out, others_failed; /* pots of all other batches */
    bool watched;                      /* the watch has judged it */
    struct batchstate watch;           /* as of watch.at_s */
    struct usual usual;
    struct page_handovers holders; /* there now */
    struct page_handovers failed;  /* the time in which each one failed */
    struct page_alerts alerts;
    struct life life; /* with lists */
};

/*
 * Works it out from the ledger. lists: with holders, failed, alerts and life.
 * The struct is released by the caller, after an error too.
 */
int batch_page_gather(const struct page *p, struct ledger *lg, int64_t batch_id,
                      bool lists, struct batch_page *out);
void batch_page_release(struct batch_page *b); /* safe on a zeroed struct */

void batch_page_text(const struct page *p, const struct batch_page *b);
/* Mix, firing, test, failures and what differs, without lists. */
void batch_page_short(const struct page *p, const struct batch_page *b);
json_t *batch_page_json(const struct page *p, const struct batch_page *b,
                        bool lists);
#endif
