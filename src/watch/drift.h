#ifndef KW_DRIFT_H
#define KW_DRIFT_H
/*
 * drift.h - the flow of one pot over its life: a Kalman filter of the level
 * and slope of ln(first-hour litres), at irregular times, with a jump at each
 * scrub and innovations that are capped, so that one gross misreading cannot
 * carry a pot away. O(1) a report, five numbers of state.
 * Source: local linear trend in continuous time (Durbin & Koopman 2001, 3.2);
 * defaults and measured behaviour: docs/science.md.
 * Days are any count of days that only grows; flows are ln litres.
 */
#include "watch/flowrule.h"

struct drift_setting {
    double reading_var;   /* r: of ln of one reading, at least */
    double level_var_day; /* ql: wander of the level, a day */
    double slope_var_day; /* qs: wander of the slope, a day */
    double scrub_gain;    /* ms: what a scrub adds to ln flow */
    double scrub_var;     /* vs */
    double cap;           /* kh: standard deviations; INFINITY: no cap */
    double limit_l;       /* thr: replacement threshold */
    double ask_scrub;     /* P(below) from which a scrub is asked for */
    double sure;          /* P(below) after a scrub from which: replace */
    double scrub_days;    /* how long a reading counts as after a scrub */
    double crack_rise;    /* ln of the rise that asks "cracked?" */
    double too_fast_l;    /* 1.25 x the batch's accepted maximum */
    bool service;         /* two like outliers are a jump; a rise that asks
                           * "cracked?" is not entered */
};
/* The defaults of docs/science.md, to begin a constant with. */
#define DRIFT_DEFAULTS                                                         \
    {                                                                          \
        .reading_var = 0.04, .level_var_day = 1e-4, .slope_var_day = 1e-9,     \
        .scrub_gain = 0.25, .scrub_var = 0.04, .cap = 2.5, .limit_l = 1.0,     \
        .ask_scrub = 0.5, .sure = 0.75, .scrub_days = 30, .crack_rise = 1.0,   \
        .too_fast_l = 3.75, .service = true                                    \
    }
extern const struct drift_setting drift_defaults;

struct drift_prior { /* what is thought of a pot before its first reading */
    double level, level_sd; /* ln litres: the workshop's test of it, else */
    double slope, slope_sd; /* a day */
};
extern const struct drift_prior drift_prior_default;

struct drift_state {
    double level, slope;  /* ln litres, a day */
    double p11, p12, p22; /* their covariance */
    double at_days;       /* the day that they stand for */
    double scrubbed_days; /* day of the last scrub; -INFINITY: never */
    int flagged;          /* sign of the last reading if it was an outlier */
    bool fresh_scrub;     /* no reading since the last scrub */
};

/* A reading, or a scrub: then what is said of flow is not looked at. */
struct drift_event {
    double at_days;
    bool scrub;
    double log_flow; /* ln of first-hour litres */
    double log_se;   /* its own standard error, 0 none */
};

struct drift_step {    /* what one reading did */
    double log_flow;   /* the reading */
    double innovation; /* e: reading less prediction, ln */
    double variance;   /* F: of the innovation, as capped */
    double log_lik;
    double p_below;    /* after it */
    double scrub_gain; /* seen at the first reading after a scrub, else NaN */
    bool flagged;      /* an outlier: |e| beyond the cap */
    bool jumped;       /* the second of two like ones: taken as a jump */
    bool crack;        /* a rise that asks "cracked?" */
};

void drift_start(struct drift_state *s, const struct drift_prior *prior,
                 double at_days);
/* Moves the state on; a day before its own leaves it where it is. */
void drift_propagate(struct drift_state *s, const struct drift_setting *set,
                     double at_days);
/* The same over dt days >= 0, gaining covariance q11, q12, q22. */
void drift_propagate_by(struct drift_state *s, double dt, const double q[3]);
void drift_scrub(struct drift_state *s, const struct drift_setting *set,
                 double at_days);
/*
 * A reading; a scrub of the same time comes first. The larger of the
 * reading's own variance and reading_var rules.
 */
void drift_read(struct drift_state *s, const struct drift_setting *set,
                const struct drift_event *reading, struct drift_step *step);

/* P(flow < limit) now. */
double drift_p_below(const struct drift_state *s,
                     const struct drift_setting *set);
/* ln flow some days from the state's own day on. */
struct drift_outlook {
    double mean, var;
};
struct drift_outlook drift_ahead(const struct drift_state *s,
                                 const struct drift_setting *set, double days);

/*
 * When the flow will stand below the limit: days from the state's day at
 * which P(below) reaches 0.1, 0.5, 0.9 (0: it does now; INFINITY: not within
 * DRIFT_AHEAD_MOST_DAYS). Without a scrub in between.
 */
#define DRIFT_AHEAD_MOST_DAYS 3650.0
struct drift_fall {
    double early_days, expected_days, late_days;
};
void drift_fall(const struct drift_state *s, const struct drift_setting *set,
                struct drift_fall *out);

/*
 * What to do after a reading. An outlier asks for another reading; it
 * replaces no pot by itself.
 */
enum flow_verdict drift_judge(const struct drift_state *s,
                              const struct drift_setting *set,
                              const struct drift_step *step);

/* ---- a pot's whole history, and what a batch teaches ---- */

struct drift_history {
    const struct drift_event *events; /* in order of time */
    size_t n;
    double start_days; /* that the prior stands for */
};

struct drift_summary {
    int readings, scrubs_seen;
    double gain_sum; /* of the scrubs seen, capped like readings */
};

/* Starts a state and takes it through a history. */
struct drift_summary drift_replay(struct drift_state *s,
                                  const struct drift_setting *set,
                                  const struct drift_prior *prior,
                                  const struct drift_history *h);

/*
 * Slope and scrub gain of a batch: means over its pots with enough readings,
 * shrunk to the programme's by a weight of DRIFT_WEIGHT_POTS. Once a week.
 */
#define DRIFT_WEIGHT_POTS    10
#define DRIFT_LEARN_READINGS 4
struct drift_learn {
    double slope_sum, gain_sum;
    int64_t slope_n, gain_n;
};
struct drift_rates {
    double slope; /* ln a day */
    double gain;  /* ln, of a scrub */
};
void drift_learn_pot(struct drift_learn *l, const struct drift_state *s,
                     const struct drift_summary *sum);
struct drift_rates drift_learnt(const struct drift_learn *l,
                                const struct drift_rates *programme);

/*
 * A robust second opinion: Theil-Sen, the median of slopes of all pairs with
 * unequal days; intercept = median(y) - slope median(day). Use it from six
 * readings since the last scrub on. 0; KW_EINVAL without a pair; KW_EFULL
 * over DRIFT_THEIL_SEN_MOST. Source: Sen 1968, JASA 63:1379.
 */
#define DRIFT_THEIL_SEN_MOST 512
struct drift_line {
    double slope, intercept;
    int64_t pairs;
};
int drift_theil_sen(const double *days, const double *y, size_t n,
                    struct drift_line *out);
#endif
