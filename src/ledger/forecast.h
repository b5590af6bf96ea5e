#ifndef KW_LEDGER_FORECAST_H
#define KW_LEDGER_FORECAST_H
/*
 * forecast.h - the forecasts of need that were made each month, and what came
 * of each when its days had passed. What was shown is kept beside what was
 * reckoned, so that nobody has to trust the memory of the forecaster.
 */
#include "ledger/ledger.h"

struct ledger_forecast {
    int64_t made_s;
    int days;              /* ahead */
    int64_t pots;          /* in homes and sound then */
    int64_t last_handover; /* of them: what was written down later is not */
    double mean, var;      /* to be told of, as reckoned */
    double broken;         /* of the mean: cracked, leaking, broken */
    double low, high;      /* 80 %, as shown */
    double widened;        /* var was multiplied by it for low and high; 1 */
    int64_t checked_s;     /* 0: its days have not passed */
    int64_t failed;        /* came: pots told cracked, leaking or broken */
    int64_t slow;          /* others whose last reading by then said: replace */
    double came; /* failed and, of the slow, those that are exchanged */
};
typedef int ledger_forecast_f(const struct ledger_forecast *, void *);

/* The same moment and days again change nothing. */
int ledger_forecast_put(struct ledger *lg, const struct ledger_forecast *f);
/* When the newest was made; KW_ENOENT: never. */
int ledger_forecast_newest(struct ledger *lg, int64_t *made_s);
/* The highest id of a hand-over, 0 none. */
int ledger_forecast_handover(struct ledger *lg, int64_t *id);
/* Those whose days have passed by then and that were not checked. */
int ledger_forecast_due(struct ledger *lg, int64_t now_s, ledger_forecast_f *f,
                        void *arg);
/* Counts failed and slow of its pots, within its days. */
int ledger_forecast_count(struct ledger *lg, struct ledger_forecast *f);
/* Writes down failed, slow, came, checked_s. */
int ledger_forecast_check(struct ledger *lg, const struct ledger_forecast *f);
/* The last ones of so many days that were over by then and checked, newest
 * first. */
struct ledger_forecast_of {
    int days, most;
    int64_t by_s;
};
int ledger_forecast_last(struct ledger *lg, const struct ledger_forecast_of *of,
                         ledger_forecast_f *f, void *arg);
/* Whether one of so many days, made by then, was ever widened. */
int ledger_forecast_widened(struct ledger *lg, int days, int64_t by_s,
                            bool *ever);
#endif
