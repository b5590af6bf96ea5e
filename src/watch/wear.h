#ifndef KW_WEAR_H
#define KW_WEAR_H
/*
 * wear.h - how long pots last: Kaplan-Meier with Greenwood's variance,
 * Nelson-Aalen, the log-rank test, rates by age. A pot may come under watch
 * late (delayed entry) and be lost from sight (censored). It is at risk at
 * age t when entry < t <= exit.
 * Sources: Kaplan & Meier 1958; Greenwood 1926; Nelson 1972, Aalen 1978;
 * Mantel 1966; Kalbfleisch & Prentice 1980 (interval on the log-log scale).
 */
#include "base/kw.h"

struct wear_unit {
    double entry, exit; /* age in days, any unit; 0 <= entry < exit */
    bool failed;        /* at exit; else censored there */
    int group;          /* for the log-rank test: 0, 1, … */
    int stratum;        /* likewise; 0 when there is but one */
};

struct wear_row { /* one for each age at which a pot left */
    double time;
    int64_t at_risk, failed;
    double survival;
    double log_se;    /* Greenwood, of ln survival; INFINITY at 0 */
    double low, high; /* interval of survival, log-log */
    double hazard;    /* Nelson-Aalen, cumulative */
    double hazard_se;
};

/*
 * The curve of all n units together (groups are not looked at). rows has
 * room for n; their number is returned. level: of the interval, 0.95.
 * O(n log n); units are not changed.
 */
size_t wear_curve(const struct wear_unit *units, size_t n, double level,
                  struct wear_row *rows);

/*
 * The same for ages in whole days, as many pots as there are: a table of
 * days is filled, O(1) a pot, and read off. Storage is heap.
 */
#define WEAR_DAYS_MOST 36500
struct wear_day { /* pots that entered, failed, left at one age */
    uint32_t entered, failed, left;
};
struct wear_days {
    int days; /* ages 0 to days; pots still there later count as left then */
    struct wear_day *at; /* owned */
};
void wear_days_init(struct wear_days *w, int days);
void wear_days_release(struct wear_days *w);
void wear_days_add(struct wear_days *w, int entry, int exit, bool failed);
/*
 * The same for very many pots, each to the table of its stratum, in any
 * order: they are brought together by stratum first, some millions at a time,
 * so that each table is filled while it is near. 8 MiB are borrowed.
 */
#define WEAR_STAY_MOST 32767
struct wear_stay {
    uint16_t stratum, entry, exit; /* entry and exit in days; one still there
                                      at WEAR_STAY_MOST counts as left then */
    bool failed;
};
void wear_days_add_all(struct wear_days *tables, const struct wear_stay *stays,
                       size_t n);
/* rows has room for w->days. */
size_t wear_days_curve(const struct wear_days *w, double level,
                       struct wear_row *rows);

#define WEAR_GROUPS_MOST 200

/* Failures of groups against what all would have had at the same ages. */
struct wear_logrank {
    int groups;
    double observed[WEAR_GROUPS_MOST], expected[WEAR_GROUPS_MOST];
    double *variance; /* groups x groups, of observed - expected; owned */
    double chisq, df; /* groups that were at risk, less one */
    double p, log_p;
};
/*
 * Stratified when units say so. 0; KW_ERANGE for a group outside 0 to
 * WEAR_GROUPS_MOST - 1. Released also after an error.
 */
int wear_logrank(const struct wear_unit *units, size_t n,
                 struct wear_logrank *out);
void wear_logrank_release(struct wear_logrank *r);

/* Rates by age: bin k holds edges[k] < t <= edges[k+1], the last is open. */
struct wear_rate {
    double exposure;
    int64_t failed;
    double raw;   /* failed / exposure; NaN without any */
    double rate;  /* (events + failed)/(events/prior rate + exposure) */
    double upper; /* rate (1 + cinf/sqrt(events + failed)) */
};
struct wear_prior {
    double events, rate; /* A0, lambda0 */
    double cinf;
};
void wear_rates(const struct wear_unit *units, size_t n, const double *edges,
                size_t bins, const struct wear_prior *prior,
                struct wear_rate *out);
/* The cumulative hazard up to an age. */
double wear_cumulative(const struct wear_rate *rates, const double *edges,
                       size_t bins, double age);
#endif
