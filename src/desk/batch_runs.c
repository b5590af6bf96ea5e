/*
 * batch_runs.c - the nightly scan along the serials of each batch: a shelf of
 * the kiln or a day's mix shows as a run of neighbours that fail.
 */
#include "desk/batch_inner.h"

#include "watch/scan.h"

#include <math.h>

#define RUN_LEAST 5    /* failures of a batch before it is scanned */
#define RUN_SEED  2026 /* every night the same: the same history, the same p */

struct line { /* a batch's pots in order of their serials */
    int64_t *keys, *failed;
    double *expected;
    size_t n, keys_cap, failed_cap, expected_cap;
    int64_t now_s;
    double rate[BREAKAGE_BINS];
};

struct rates { /* of all pots, by age */
    struct breakage_batch all;
    int64_t now_s;
};

static int add_rates(const struct batchstate_time *t, void *arg)
{
    struct rates *r = arg;
    int64_t now_s = r->now_s;
    bool failed = t->failed_s != 0 && t->failed_s <= now_s;
    int64_t end = failed ? t->failed_s : t->ended_s != 0 ? t->ended_s : now_s;
    double age;

    if (t->given_s >= now_s)
        return 0;
    age = (double)((end < now_s ? end : now_s) - t->given_s) / CLOCK_DAY_S;
    breakage_expose(&r->all, 0, age);
    r->all.failed_at[breakage_bin(age)] += failed;
    return 0;
}

static int add_pot(const struct batchstate_time *t, void *arg)
{
    struct line *l = arg;
    struct rates own = {.now_s = l->now_s};
    double e = 0;

    if (t->given_s >= l->now_s)
        return 0;
    add_rates(t, &own);
    for (int k = 0; k < BREAKAGE_BINS; k++)
        e += l->rate[k] * own.all.exposure_days[k];
    if (l->n == 0 || l->keys[l->n - 1] != t->pot_key) {
        kw_grow(&l->keys, &l->keys_cap, l->n + 1, sizeof(*l->keys));
        kw_grow(&l->failed, &l->failed_cap, l->n + 1, sizeof(*l->failed));
        kw_grow(&l->expected, &l->expected_cap, l->n + 1, sizeof(*l->expected));
        l->keys[l->n] = t->pot_key;
        l->failed[l->n] = 0;
        l->expected[l->n++] = 1e-9; /* above zero, whatever its age */
    }
    l->expected[l->n - 1] += e;
    l->failed[l->n - 1] += t->failed_s != 0 && t->failed_s <= l->now_s;
    return 0;
}

static int run_of(struct ledger *lg, struct line *l, struct batchstate *s)
{
    struct scan_line line;
    struct scan_window best;
    struct scan_chance chance = {RUN_SEED, 999, 10};
    int err;

    l->n = 0;
    if ((err = batchstate_times_of(lg, s->batch_id, add_pot, l)) < 0 ||
        l->n < 2)
        return err;
    line = (struct scan_line){l->failed, l->expected, l->n, 0};
    scan_best(&line, &best);
    s->run_from = best.llr > 0 ? l->keys[best.from] : 0;
    s->run_to = best.llr > 0 ? l->keys[best.to] : 0;
    s->run_failed = best.failed;
    s->run_expected = best.expected;
    s->run_p = best.llr > 0 ? scan_p(&line, &best, &chance) : 1;
    return 0;
}

int watch_runs(struct ledger *lg, int64_t now_s, struct batch_found *out)
{
    struct rates r = {.now_s = now_s};
    struct line l = {.now_s = now_s};
    int err = batchstate_times(lg, add_rates, &r);

    for (int k = 0; k < BREAKAGE_BINS; k++)
        l.rate[k] = (3 + (double)r.all.failed_at[k]) /
                    (3 / (0.012 / 30.4375) + r.all.exposure_days[k]);
    for (size_t i = 0; err == 0 && i < out->batches.n; i++) {
        struct batchstate s = out->batches.items[i];

        if (s.reported < RUN_LEAST)
            continue;
        err = run_of(lg, &l, &s);
        kw_grow(&out->runs.items, &out->runs.cap, out->runs.n + 1,
                sizeof(*out->runs.items));
        out->runs.items[out->runs.n++] = s;
    }
    kw_free(l.keys);
    kw_free(l.failed);
    kw_free(l.expected);
    return err;
}
