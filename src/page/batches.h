#ifndef KW_PAGE_BATCHES_H
#define KW_PAGE_BATCHES_H
/*
 * batches.h - all batches against what the others say, the worst first; with
 * false-discovery control over all of them, and a scan along the firing dates.
 * It informs; it does not alarm.
 */
#include "ledger/batchstate.h"
#include "page/page.h"
#include "watch/scan.h"

#define BATCHES_SHOWN_Q   0.10
#define BATCHES_SCAN_SEED 2026

struct batches_row {
    struct batchstate s;
    char code[LEDGER_NAME_CAP];
    int64_t fired_s;
    int pots_out;
    double p, q; /* mid-p; adjusted over all batches */
};

struct batches_page {
    struct batches_row *rows; /* by the low end of the risk, highest first */
    size_t n, cap;
    int64_t as_of_s;
    /* along the firing dates */
    struct scan_window run;
    double run_p; /* NaN: too little to scan */
    char run_from[LEDGER_NAME_CAP], run_to[LEDGER_NAME_CAP];
    int64_t run_from_s, run_to_s;
    struct batchstate_weight weight; /* day 0: never estimated */
};

/* What the watch has found since the ledger was written. */
struct batches_newer {
    const struct batchstate *states;
    size_t n;
    struct batchstate_weight weight;
};
/*
 * From the ledger, what is `newer` before it. Released by the caller, after an
 * error too.
 */
int batches_page_gather(const struct page *p, struct ledger *lg,
                        const struct batches_newer *newer,
                        struct batches_page *out);
void batches_page_release(struct batches_page *b);
void batches_page_text(const struct page *p, const struct batches_page *b);
json_t *batches_page_json(const struct page *p, const struct batches_page *b);
void batches_page_csv(const struct page *p, const struct batches_page *b);
#endif
