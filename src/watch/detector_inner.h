#ifndef KW_DETECTOR_INNER_H
#define KW_DETECTOR_INNER_H
/*
 * detector_inner.h - what a detector is made of, between detector.c (days,
 * events, verdicts) and detector_rates.c (rates, frozen between refreshes).
 */
#include "watch/detector.h"

#define BINS BREAKAGE_BINS
#define WEEK 7

struct cell {
    int batch, pair, day;
    bool old;
    int64_t pots; /* at risk */
};

struct pair { /* a batch in a place */
    int batch, place;
    int next; /* of the batch, -1 none */
    int counted, counted_closed;
    int counted_on[DETECTOR_CAP_MOST]; /* the last days that counted */
    int n_counted;
    int64_t old;     /* pots at risk of its old cells */
    double expected; /* of the present sweep, without the place's factor */
    double factor;   /* r */
    double x[BINS];  /* pot-days at risk */
    double *closed;  /* of them before the last closing, or NULL */
};

struct batch {
    int first, last; /* pair, -1 none */
    int day;         /* its pairs are complete up to the end of it */
    int alarm_day;
    double cusum;
    int *young; /* of its cells those that are not old */
    size_t n_young, young_cap;
    int64_t counted, counted_closed, reported, reported_closed;
    double e, u, e_closed, u_closed;
    double caution[BINS]; /* U over E */
};

/* What each sweep reads of a batch: of very many, by itself it stays near. */
struct shares {
    double rate[BINS];     /* lam, the batch left out */
    double exposure[BINS]; /* r-weighted, of the present sweep */
    double failed[BINS];
    bool failing;
};

struct place {
    int64_t counted;
    double expected;
    int batches;
};

struct detector {
    struct detector_setting set;
    struct cell *cells;
    struct pair *pairs;
    struct batch *batches;
    struct shares *shares; /* of each batch */
    struct place *places;
    size_t n_cells, cells_cap, n_pairs, pairs_cap;
    size_t n_batches, batches_cap, shares_cap, n_places, places_cap;
    double exposure[BINS], failed[BINS]; /* of all batches in the baseline */
    int day;
    int first; /* the earliest delivery: before it there is no time */
    struct detector_weight weight;
    bool refreshed; /* on the present day, whose end is still to be judged */
};

/* The others' rate at each age. */
void detector_rate_batch(const struct detector *d, struct shares *s);
/* How much surer U is made than E. */
void detector_caution_batch(const struct detector *d, size_t batch);
void detector_rate_pair(const struct detector *d, struct pair *p);
/* On the first day of a week: all rates anew, then E and U of each batch. */
void detector_refresh(struct detector *d, int day);
#endif
