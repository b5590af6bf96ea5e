#ifndef KW_BREAKAGE_H
#define KW_BREAKAGE_H
/*
 * breakage.h - does breakage gather in a batch? Failures of each batch
 * against what the other batches say for pots of the same age.
 * Method: indirect standardisation by age bins, the batch left out of its
 * own expectation; exact Poisson upper tail (unequal exposure), and exact
 * hypergeometric among the pots handed out. One look; the sequential method
 * has its own room beside this one.
 */
#include "base/kw.h"

#define BREAKAGE_BINS 5
/* Lower edges of the age bins in days: 0, 30, 90, 180, 365. */
extern const double breakage_edges_days[BREAKAGE_BINS];

struct breakage_batch {
    int64_t batch_id;
    int64_t pots_out; /* ever handed out */
    int64_t failed;   /* of them reported failed, once each */
    double exposure_days[BREAKAGE_BINS]; /* pot-days at risk by age */
    int64_t failed_at[BREAKAGE_BINS];    /* failures by age at the report */
};

struct breakage_prior {  /* for a young programme: see docs/science.md */
    double events;       /* A0, 3 */
    double rate_per_day; /* lambda0, 0.012/30.4375 */
};

struct breakage_verdict {
    int64_t observed;
    double expected;
    double p_poisson;             /* P(X >= observed) at the expected */
    double p_hypergeometric;      /* the same by pots alone */
    double ratio;                 /* observed / expected */
    double ratio_low, ratio_high; /* exact 90 % */
};

/* Adds a pot's time [from_days, to_days) of age to the bins. */
void breakage_expose(struct breakage_batch *b, double from_days,
                     double to_days);
/* One stay of a pot in a home; seconds since 1970, 0: not yet. */
struct breakage_stay {
    int64_t given_s, ended_s, failed_s;
    bool first; /* of that pot: counts it as handed out */
};
/* Adds what had been seen of it by now_s; given_s <= now_s. */
void breakage_add_stay(struct breakage_batch *b, const struct breakage_stay *s,
                       int64_t now_s);
/* The bin of a failure at an age: above its lower edge, up to its upper. */
int breakage_bin(double age_days);
/*
 * One verdict for each batch, in their order. n up to any size; O(n).
 * A batch with nothing expected (no pot-days) gets p_poisson 1, ratio 0 and
 * ratio_high infinite. More failed than pots out counts as all of them in
 * p_hypergeometric.
 */
void breakage_judge(const struct breakage_batch *batches, size_t n,
                    const struct breakage_prior *prior,
                    struct breakage_verdict *out);
/* The verdict of one of them, batches[which]: the cost of one report. */
void breakage_judge_one(const struct breakage_batch *batches, size_t n,
                        size_t which, const struct breakage_prior *prior,
                        struct breakage_verdict *out);
#endif
