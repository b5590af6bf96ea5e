#ifndef KW_DETECTOR_H
#define KW_DETECTOR_H
/*
 * detector.h - watches batches for breakage, report by report. Pots are kept
 * in cells: batch x place x day of delivery. What a batch should have had
 * comes from the other batches, by age, with a factor for how eagerly each
 * place reports; two arms (cluster.h) judge what it had.
 * Formulas, defaults and measured behaviour: docs/science.md.
 *
 * Days are whole days of receipt and never go back. On a day divisible by
 * seven the rates are estimated anew before anything else of that day. A
 * report costs O(cells of its batch); a refresh O(all cells). The same events
 * in the same order give the same numbers, bit for bit.
 */
#include "watch/breakage.h"
#include "watch/cluster.h"

struct detector_setting {
    struct breakage_prior prior; /* A0 3, lambda0 0.012/30.4375 */
    double place_weight;         /* nu: events, 15 */
    double caution;              /* cinf: U over E in a young programme, 1 */
    int cap, window_days;       /* at most cap failures of a batch in a place */
                                /* count in a window: 2 in 7 */
    struct cluster_mix mix;     /* 2, 1 */
    struct cluster_chart chart; /* 2.5, 7, 0 */
    double suspect, failing;    /* Bayes factors: 10, 50 */
    int64_t least;              /* counted failures before arm A: 3 */
    int sweeps;                 /* of a refresh, 3 */
    int reweigh_days;           /* nu is estimated anew so often; 0 never */
};
extern const struct detector_setting detector_defaults;

#define DETECTOR_CAP_MOST 8

enum detector_state { DETECTOR_SOUND, DETECTOR_SUSPECT, DETECTOR_FAILING };
const char *detector_state_name(enum detector_state s);

struct detector_verdict {
    enum detector_state state;
    int alarm_day;             /* when it was found failing; 0 not */
    int64_t reported, counted; /* failures; the rest are co-located */
    double expected, upper;    /* E, U */
    double log_bf;             /* NaN below the least failures */
    double cusum;
    struct cluster_risk risk;
    int places;       /* with a counted failure */
    bool place_bound; /* cannot be told apart from the place: 80 % of what
                       * counts is in one place that has no other batch */
};

struct detector;

/* The setting is copied; cap is held to DETECTOR_CAP_MOST. */
struct detector *detector_new(const struct detector_setting *set);
void detector_free(struct detector *d);

/*
 * Pots of a batch handed out in a place on a day, at risk from the day after.
 * Batches and places are numbers from 0 of the caller's; gaps cost memory.
 * Returns the cell's number from 0, or KW_ERANGE.
 */
#define DETECTOR_NUMBER_MOST 10000000
int detector_deliver(struct detector *d, int batch, int place, int day,
                     int64_t pots);
/* More pots of the same delivery, on its day; KW_EINVAL afterwards. */
int detector_add(struct detector *d, int cell, int64_t pots);
/*
 * What happens, day by day. Each returns how many batches are newly found
 * failing: by the event, or because the rates were estimated anew on the way;
 * detector_verdict tells which. Or KW_EINVAL for a day gone by, KW_ENOENT for
 * a cell that is not there or has no pot left.
 */
/* A failure received on a day, each pot once. */
int detector_fail(struct detector *d, int cell, int day);
/* Pots taken away sound; KW_ERANGE for more than there are. */
int detector_withdraw(struct detector *d, int cell, int day, int64_t pots);
/* To the end of a day. */
int detector_advance(struct detector *d, int day);
/* Somebody looked into it: counts afresh from here. */
void detector_close(struct detector *d, int batch);

/* How much places differ in what they tell: what nu is now. */
struct detector_weight {
    double nu;
    int day;         /* estimated then; 0: it is that of the setting */
    int places;      /* that it rests on */
    int64_t counted; /* failures there, of batches that are not failing */
};
struct detector_weight detector_weight(const struct detector *d);
/* r: how eagerly a place tells, the batch left out; 1 when it has none. */
double detector_eager(const struct detector *d, int batch, int64_t place);

int detector_batches(const struct detector *d);
/* As of the last day; the batch's cells are brought up to it. */
void detector_verdict(struct detector *d, int batch,
                      struct detector_verdict *out);
#endif
