/*
 * detector_rates.c - the rates that a detector compares with, estimated anew
 * once a week from all batches: by age, each batch left out of its own, and
 * how eagerly each place tells.
 */
#include "watch/detector_inner.h"

#include <math.h>
#include <string.h>

/* The others' failures at an age, and the prior's. */
static double others(const struct detector *d, const struct shares *s, int k)
{
    return d->set.prior.events +
           (d->failed[k] - (s->failing ? 0 : s->failed[k]));
}

/* The others' rate at each age. */
void detector_rate_batch(const struct detector *d, struct shares *s)
{
    double days = d->set.prior.events / d->set.prior.rate_per_day;

    for (int k = 0; k < BINS; k++) {
        double own = s->failing ? 0 : s->exposure[k];

        s->rate[k] = others(d, s, k) / (days + (d->exposure[k] - own));
    }
}

/* How much surer U is made than E. */
void detector_caution_batch(const struct detector *d, size_t batch)
{
    for (int k = 0; k < BINS; k++)
        d->batches[batch].caution[k] =
            1 + d->set.caution / sqrt(others(d, &d->shares[batch], k));
}

void detector_rate_pair(const struct detector *d, struct pair *p)
{
    const struct place *place = &d->places[p->place];
    bool out = d->shares[p->batch].failing;
    double own_o = out ? 0 : (double)p->counted, own_e = out ? 0 : p->expected;

    p->factor = (d->weight.nu + ((double)place->counted - own_o)) /
                (d->weight.nu + (place->expected - own_e));
}

static void sum_failures(struct detector *d)
{
    memset(d->failed, 0, sizeof(d->failed));
    for (size_t b = 0; b < d->n_batches; b++)
        for (int k = 0; k < BINS && !d->shares[b].failing; k++)
            d->failed[k] += d->shares[b].failed[k];
    for (size_t i = 0; i < d->n_places; i++)
        d->places[i].counted = 0;
    for (size_t i = 0; i < d->n_pairs; i++) {
        struct pair *p = &d->pairs[i];

        if (!d->shares[p->batch].failing)
            d->places[p->place].counted += p->counted;
        p->factor = 1;
    }
}

/* Exposure of each batch and of the baseline, as eagerly as it is told. */
static void sum_exposure(struct detector *d)
{
    memset(d->exposure, 0, sizeof(d->exposure));
    for (size_t b = 0; b < d->n_batches; b++)
        memset(d->shares[b].exposure, 0, sizeof(d->shares[b].exposure));
    for (size_t i = 0; i < d->n_pairs; i++) {
        const struct pair *p = &d->pairs[i];
        double *exposure = d->shares[p->batch].exposure;

        for (int k = 0; k < BINS; k++)
            exposure[k] += p->factor * p->x[k];
    }
    for (size_t b = 0; b < d->n_batches; b++)
        for (int k = 0; k < BINS && !d->shares[b].failing; k++)
            d->exposure[k] += d->shares[b].exposure[k];
}

static void sum_places(struct detector *d)
{
    for (size_t i = 0; i < d->n_places; i++)
        d->places[i].expected = 0;
    for (size_t i = 0; i < d->n_pairs; i++) {
        struct pair *p = &d->pairs[i];
        const struct shares *s = &d->shares[p->batch];

        p->expected = 0;
        for (int k = 0; k < BINS; k++)
            p->expected += s->rate[k] * p->x[k];
        if (!s->failing)
            d->places[p->place].expected += p->expected;
    }
}

/* E and U of a batch from its exposure, at the present rates. */
static void expect(const struct detector *d, size_t batch)
{
    struct batch *b = &d->batches[batch];

    b->e = b->u = b->e_closed = b->u_closed = 0;
    for (int i = b->first; i >= 0; i = d->pairs[i].next) {
        const struct pair *p = &d->pairs[i];

        for (int k = 0; k < BINS; k++) {
            double rate = p->factor * d->shares[batch].rate[k];

            b->e += rate * p->x[k];
            b->u += rate * b->caution[k] * p->x[k];
            if (p->closed == NULL)
                continue;
            b->e_closed += rate * p->closed[k];
            b->u_closed += rate * b->caution[k] * p->closed[k];
        }
    }
}

static void sweep_all(struct detector *d)
{
    sum_failures(d);
    for (int sweep = 0; sweep < d->set.sweeps; sweep++) {
        sum_exposure(d);
        for (size_t b = 0; b < d->n_batches; b++)
            detector_rate_batch(d, &d->shares[b]);
        sum_places(d);
        for (size_t i = 0; i < d->n_pairs; i++)
            detector_rate_pair(d, &d->pairs[i]);
    }
}

/*
 * nu from how far the places' counts lie from what is expected of them, once
 * there is enough to tell, at the first refresh of each span of so many days:
 * a replay comes to the same. True when it was estimated.
 */
static bool reweigh(struct detector *d, int day)
{
    int span = d->set.reweigh_days;
    struct detector_weight w = {.day = day};
    struct cluster_spread s = {0};

    if (span <= 0 || day / span == (day - WEEK) / span)
        return false;
    for (size_t i = 0; i < d->n_places; i++) {
        const struct place *p = &d->places[i];

        if (!(p->expected > 0))
            continue;
        cluster_spread_add(&s, (double)p->counted, p->expected);
        w.counted += p->counted;
        w.places++;
    }
    if (!cluster_spread_enough(&s))
        return false;
    w.nu = cluster_spread_nu(&s);
    d->weight = w;
    return true;
}

void detector_refresh(struct detector *d, int day)
{
    sweep_all(d);
    if (reweigh(d, day))
        sweep_all(d);
    for (size_t b = 0; b < d->n_batches; b++) {
        detector_caution_batch(d, b);
        expect(d, b);
    }
}
