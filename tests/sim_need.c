/*
 * sim_need.c - do the forecasts hold? In the made-up worlds of sim_world.h
 * with five bad batches, what is known on five days of each goes through the
 * code of the service (watch/need.h); what came in 30 and 90 days is held
 * against the interval. Prints the coverage of nominal 80 % and 95 %, all
 * batches together, beside a plain Poisson-binomial; fails when the 80 %
 * interval holds less often than 0.75 or more often than 0.87.
 */
#include "watch/need.h"

#include "close.h"
#include "sim_world.h"

#include <stdio.h>
#include <string.h>

enum { WORLDS = 100, TIMES = 5, SPANS = 2, POTS_MOST = BATCHES * 200 };
static const int days_at[TIMES] = {240, 330, 420, 510, 600};
static const int spans[SPANS] = {30, 90};

struct known { /* on a day */
    struct breakage_batch all;
    struct need_sums batches[BATCHES], places[PLACES];
    int left[CELLS]; /* pots in service */
};

struct tally {
    int n, in_80, in_95, plain_80;
    double came, mean;
};

static void add_stay(struct known *k, const struct world *w, int g, double age,
                     bool failed, double pots)
{
    struct breakage_batch own = {.batch_id = 0};

    breakage_expose(&own, 0, age);
    for (int i = 0; i < BREAKAGE_BINS; i++) {
        double x = pots * own.exposure_days[i];

        k->all.exposure_days[i] += x;
        k->batches[w->batch[g]].x[i] += x;
        k->places[w->place[g]].x[i] += x;
    }
    if (!failed)
        return;
    k->all.failed_at[breakage_bin(age)]++;
    k->batches[w->batch[g]].failed++;
    k->places[w->place[g]].failed++;
}

static void know(struct known *k, const struct world *w, int day)
{
    memset(k, 0, sizeof(*k));
    for (int g = 0; g < w->n_cells; g++)
        k->left[g] = w->day[g] < day ? w->pots[g] : 0;
    for (int i = 0; i < w->n_reports && w->reports[i].day <= day; i++) {
        int g = w->reports[i].cell;

        if (k->left[g] == 0)
            continue; /* more wrong serials than pots */
        k->left[g]--;
        add_stay(k, w, g, w->reports[i].day - w->day[g], true, 1);
    }
    for (int g = 0; g < w->n_cells; g++)
        if (k->left[g] > 0)
            add_stay(k, w, g, day - w->day[g], false, k->left[g]);
}

static int came(const struct known *k, const struct world *w, int day, int span)
{
    int left[CELLS], n = 0;

    memcpy(left, k->left, sizeof(left));
    for (int i = 0; i < w->n_reports; i++) {
        const struct report *r = &w->reports[i];

        if (r->day > day && r->day <= day + span && left[r->cell] > 0) {
            left[r->cell]--;
            n++;
        }
    }
    return n;
}

static void forecast(const struct known *k, const struct world *w, int day,
                     struct tally *tallies)
{
    static struct need_unit units[POTS_MOST];
    struct need_batch batches[BATCHES];
    struct need_model m = {.batches = batches, .n_batches = BATCHES};
    size_t n = 0;

    need_rates(&k->all, &m);
    for (int b = 0; b < BATCHES; b++)
        batches[b] = (struct need_batch){k->batches[b].failed,
                                         need_expected(&m, &k->batches[b])};
    for (int g = 0; g < w->n_cells; g++)
        for (int i = 0; i < k->left[g]; i++)
            units[n++] = (struct need_unit){
                .age_days = day - w->day[g],
                .batch = w->batch[g],
                .eager = need_eager(&m, &k->places[w->place[g]])};
    for (int s = 0; s < SPANS; s++) {
        struct tally *t = &tallies[s];
        struct need_forecast f;
        double y = came(k, w, day, spans[s]), off;

        if (need_forecast(&m, units, n, spans[s], NULL, &f) < 0)
            continue;
        t->n++;
        t->came += y;
        t->mean += f.mean;
        t->in_80 += y >= need_quantile(&f, NULL, 0, 0.1) &&
                    y <= need_quantile(&f, NULL, 0, 0.9);
        t->in_95 += y >= need_quantile(&f, NULL, 0, 0.025) &&
                    y <= need_quantile(&f, NULL, 0, 0.975);
        off = 1.2816 * sqrt(f.mean) + 0.5; /* near enough for the yardstick */
        t->plain_80 += fabs(y - f.mean) <= off;
    }
}

int main(void)
{
    static struct world w;
    static struct known k;
    const struct sim_kind kind = {REAL, 3};
    struct tally tallies[SPANS] = {{.n = 0}};
    int failed = 0;

    for (int i = 0; i < WORLDS; i++) {
        make_world(&w, &kind, 104729u * (unsigned)i + 17);
        for (int t = 0; t < TIMES; t++) {
            know(&k, &w, days_at[t]);
            forecast(&k, &w, days_at[t], tallies);
        }
    }
    for (int s = 0; s < SPANS; s++) {
        const struct tally *t = &tallies[s];
        double held = (double)t->in_80 / t->n;
        bool ok = held >= 0.75 && held <= 0.87;

        printf("# %d days, %d forecasts: 80 %% interval held %.3f (0.75 to "
               "0.87), 95 %% %.3f; a plain Poisson one would %.3f; came/mean "
               "%.3f\n%sok %d - %d days\n",
               spans[s], t->n, held, (double)t->in_95 / t->n,
               (double)t->plain_80 / t->n, t->came / t->mean, ok ? "" : "not ",
               s + 1, spans[s]);
        failed += !ok;
    }
    printf("1..%d\n", SPANS);
    return failed > 0 ? EXIT_FAILURE : EXIT_SUCCESS;
}
