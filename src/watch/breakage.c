/* breakage.c - see breakage.h. */
#include "watch/breakage.h"

#include "watch/exact.h"

#include <math.h>

const double breakage_edges_days[BREAKAGE_BINS] = {0, 30, 90, 180, 365};

void breakage_expose(struct breakage_batch *b, double from, double to)
{
    if (!(from >= 0 && to > from) || !isfinite(to))
        return;
    for (int k = 0; k < BREAKAGE_BINS; k++) {
        double low = fmax(from, breakage_edges_days[k]);
        double high =
            k + 1 < BREAKAGE_BINS ? fmin(to, breakage_edges_days[k + 1]) : to;

        if (high > low)
            b->exposure_days[k] += high - low;
    }
}

int breakage_bin(double age_days)
{
    int k = BREAKAGE_BINS - 1;

    while (k > 0 && age_days <= breakage_edges_days[k])
        k--;
    return k;
}

void breakage_add_stay(struct breakage_batch *b, const struct breakage_stay *s,
                       int64_t now_s)
{
    const double day_s = 86400;
    bool failed = s->failed_s != 0 && s->failed_s <= now_s;
    int64_t end_s = now_s;

    if (s->ended_s != 0 && s->ended_s < end_s)
        end_s = s->ended_s;
    if (failed && s->failed_s < end_s)
        end_s = s->failed_s;
    b->pots_out += s->first;
    breakage_expose(b, 0, (double)(end_s - s->given_s) / day_s);
    if (!failed)
        return;
    b->failed++;
    b->failed_at[breakage_bin((double)(s->failed_s - s->given_s) / day_s)]++;
}

/* All batches together; kept so that one is left out by subtraction. */
struct totals {
    double exposure[BREAKAGE_BINS];
    int64_t failed_at[BREAKAGE_BINS];
    int64_t pots, failed;
};

static int64_t failed_once(const struct breakage_batch *b)
{
    return b->failed < b->pots_out ? b->failed : b->pots_out;
}

static struct totals add_up(const struct breakage_batch *batches, size_t n)
{
    struct totals all = {.pots = 0};
    double lost[BREAKAGE_BINS] = {0}; /* Kahan: many, of which one is left */

    for (size_t i = 0; i < n; i++) {
        const struct breakage_batch *b = &batches[i];

        for (int k = 0; k < BREAKAGE_BINS; k++) {
            double add = b->exposure_days[k] - lost[k];
            double next = all.exposure[k] + add;

            lost[k] = (next - all.exposure[k]) - add;
            all.exposure[k] = next;
            all.failed_at[k] += b->failed_at[k];
        }
        all.pots += b->pots_out;
        all.failed += failed_once(b);
    }
    return all;
}

/* What the others' rates say for this batch's pot-days. */
static double expect(const struct breakage_batch *b, const struct totals *all,
                     const struct breakage_prior *prior)
{
    double prior_days =
        prior->rate_per_day > 0 ? prior->events / prior->rate_per_day : 0;
    double sum = 0;

    for (int k = 0; k < BREAKAGE_BINS; k++) {
        double events =
            prior->events + (double)(all->failed_at[k] - b->failed_at[k]);
        double days =
            prior_days + fmax(all->exposure[k] - b->exposure_days[k], 0);

        if (days > 0)
            sum += events / days * b->exposure_days[k];
    }
    return sum;
}

static void judge(const struct breakage_batch *b, const struct totals *all,
                  const struct breakage_prior *prior,
                  struct breakage_verdict *v)
{
    v->observed = b->failed;
    v->expected = expect(b, all, prior);
    v->p_poisson = exact_poisson_upper(b->failed, v->expected);
    v->p_hypergeometric = exact_hypergeometric_upper(failed_once(b), all->pots,
                                                     all->failed, b->pots_out);
    exact_poisson_interval(b->failed, 0.90, &v->ratio_low, &v->ratio_high);
    if (v->expected > 0) {
        v->ratio = (double)b->failed / v->expected;
        v->ratio_low /= v->expected;
        v->ratio_high /= v->expected;
    } else { /* nothing at risk: nothing can be said */
        v->p_poisson = 1;
        v->ratio = v->ratio_low = 0;
        v->ratio_high = INFINITY;
    }
}

void breakage_judge(const struct breakage_batch *batches, size_t n,
                    const struct breakage_prior *prior,
                    struct breakage_verdict *out)
{
    struct totals all = add_up(batches, n);

    for (size_t i = 0; i < n; i++)
        judge(&batches[i], &all, prior, &out[i]);
}

void breakage_judge_one(const struct breakage_batch *batches, size_t n,
                        size_t which, const struct breakage_prior *prior,
                        struct breakage_verdict *out)
{
    struct totals all = add_up(batches, n);

    judge(&batches[which], &all, prior, out);
}
