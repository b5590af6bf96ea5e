#ifndef KW_PAGE_NEED_H
#define KW_PAGE_NEED_H
/*
 * need.h - how many pots will be asked for: those in homes that will be
 * reported failed, from breakage and falling flow, by watch/need.h; those
 * that will truly fail; less what stands ready; what to press by when.
 */
#include "ledger/forecast.h"
#include "page/page.h"
#include "watch/need.h"

struct need_setting {
    double share;      /* of failures that are reported, where the notebook
                          says nothing of the place: 0.6 */
    double lead_days;  /* from pressing to a pot ready to go: 30 */
    double kiln_pots;  /* of one firing: 50 */
    double press_pots; /* of one press-day: 48, ten minutes a pot (common
                          practice: one person, eight hours) */
    double passed;     /* share of pressed pots that pass the tests: 0.8 */
    double replaced;   /* share of slow pots that are exchanged: 1 */
};
/* As the configuration's group `need` says. */
struct need_setting need_setting_of(const struct config *conf);

enum { NEED_30, NEED_90, NEED_TIMES };
extern const double need_days[NEED_TIMES];

struct need_outcome {
    double mean, low, high; /* 80 %, widened */
    double var;             /* as reckoned, before it is widened */
};
struct need_place {
    char name[LEDGER_NAME_CAP]; /* "" all, "-" not known */
    int64_t id;
    int pots; /* in homes and sound as far as is known */
    struct need_outcome reported[NEED_TIMES], truly[NEED_TIMES];
    double broken[NEED_TIMES]; /* of the mean reported; the rest is slow */
    double share;              /* of failures reported there; NaN of all */
    bool surveyed;             /* the notebook says it, of that place */
};

/* How the forecasts of so many days have done. */
struct need_checked {
    size_t n; /* of the last ones that are over, NEED_PAST at most */
    struct ledger_forecast last[NEED_PAST]; /* newest first */
    int held;       /* came within the 80 % as shown then */
    double misfit;  /* NaN none is over */
    double widened; /* var is multiplied by it now */
};

struct need_page {
    struct need_setting set;
    struct need_place all;
    struct need_checked checked[NEED_TIMES];
    struct need_place *places; /* by name */
    size_t n, cap;
    int waiting;       /* homes that hold a failed pot now */
    int ready;         /* in stock, of batches that are not failing */
    int on_hold;       /* in stock, of failing ones */
    int in_works;      /* of batches that are not yet fired */
    double lasts_days; /* until what is ready and in work is used up by the
                          true need; INFINITY: beyond the longest time */
    double press[NEED_TIMES]; /* pots to press for that time */
};

/* How the last forecasts did that were over by then, of NEED_TIMES. */
int need_check_gather(struct ledger *lg, int64_t now_s,
                      struct need_checked *out);
void need_check_text(const struct page *p, const struct need_page *n);
json_t *need_check_json(const struct need_page *n);

/*
 * The month's work: what is over is compared; on a look at which nothing is, a
 * new forecast is made when this month has none, so that it knows of them.
 * Looking reads alone; putting is for a transaction of the writer's. Released
 * by the caller, after an error too.
 */
struct need_month {
    struct ledger_forecast *items; /* checked, or new ones */
    size_t n, cap;
};
int need_month_look(const struct page *p, struct ledger *lg,
                    struct need_month *out);
int need_month_put(struct ledger *lg, const struct need_month *m);
void need_month_release(struct need_month *m);

/* Released by the caller, after an error too. */
int need_page_gather(const struct page *p, struct ledger *lg,
                     const struct need_setting *set, struct need_page *out);
void need_page_release(struct need_page *n);
void need_page_text(const struct page *p, const struct need_page *n);
json_t *need_page_json(const struct page *p, const struct need_page *n);
void need_page_csv(const struct page *p, const struct need_page *n);
#endif
