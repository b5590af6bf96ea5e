/*
 * batch_sums.c - the sums for the test of one look. A replay passes over all
 * pots anyway and makes them afresh; what comes in a day changes the batches
 * with news, and lets time pass for the others.
 */
#include "desk/batch_inner.h"

#include <string.h>

static struct watch_sum *sum_of(struct watch_sums *s, int64_t batch_id)
{
    size_t i = (size_t)batch_id;

    if (i >= s->n) {
        kw_grow(&s->items, &s->cap, i + 1, sizeof(*s->items));
        memset(s->items + s->n, 0, (i + 1 - s->n) * sizeof(*s->items));
        s->n = i + 1;
    }
    s->items[i].b.batch_id = batch_id;
    return &s->items[i];
}

int watch_sum_time(struct watch_sums *s, const struct batchstate_time *t)
{
    bool over = (t->failed_s != 0 && t->failed_s <= s->at_s) ||
                (t->ended_s != 0 && t->ended_s <= s->at_s);
    struct watch_sum *sum;

    if (t->batch_id <= 0 || t->batch_id >= DETECTOR_NUMBER_MOST)
        return KW_ERANGE;
    if (t->given_s > s->at_s)
        return 0;
    sum = sum_of(s, t->batch_id);
    breakage_add_stay(&sum->b,
                      &(struct breakage_stay){.given_s = t->given_s,
                                              .ended_s = t->ended_s,
                                              .failed_s = t->failed_s,
                                              .first = t->first},
                      s->at_s);
    if (!over)
        sum->standing[breakage_bin((double)(s->at_s - t->given_s) /
                                   CLOCK_DAY_S)]++;
    return 0;
}

static int add_time(const struct batchstate_time *t, void *arg)
{
    return watch_sum_time(arg, t);
}

int watch_sums_news(struct batch_watch *w, struct ledger *lg, int64_t now_s)
{
    struct watch_sums *s = &w->sums;
    double days = (double)(now_s - s->at_s) / CLOCK_DAY_S;
    int err = 0;

    s->at_s = now_s;
    for (size_t i = 0; i < s->n; i++)
        for (int k = 0; k < BREAKAGE_BINS; k++)
            s->items[i].b.exposure_days[k] +=
                days * (double)s->items[i].standing[k];
    for (size_t i = 0; err == 0 && i < w->n_news; i++) {
        *sum_of(s, w->news[i]) =
            (struct watch_sum){.b = {.batch_id = w->news[i]}};
        err = batchstate_times_of(lg, w->news[i], add_time, s);
    }
    return err;
}
