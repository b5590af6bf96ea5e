/*
 * scan.c - the breakage scan: the watch over batches and deliveries
 * (batch_watch.c), and a second opinion, the exact test of one look at all
 * pots' time at risk (batch_sums.c). Looking reads on a connection of its own;
 * acting opens or refreshes the alerts in the writer's transaction. A batch
 * that the watch finds failing alerts by its numbers; one that only the second
 * opinion finds alerts too, and is not on hold.
 */
#include "desk/inner.h"

#include "base/clock.h"
#include "desk/batch_inner.h"
#include "watch/breakage.h"
#include "watch/detector.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* A young programme leans on a published rate: docs/science.md. */
static const struct breakage_prior prior = {.events = 3,
                                            .rate_per_day = 0.012 / 30.4375};

struct found {
    int64_t batch_id, pots_out;
    struct breakage_verdict v;
};

struct desk_findings {
    struct found *items; /* those that are worth an alert, or have one */
    size_t n, cap;
    struct batch_found watch;
};

static void keep(struct desk_findings *f, const struct breakage_batch *b,
                 const struct breakage_verdict *v)
{
    kw_grow(&f->items, &f->cap, f->n + 1, sizeof(*f->items));
    f->items[f->n++] = (struct found){b->batch_id, b->pots_out, *v};
}

/* Of all batches after a replay, else of those with news. */
static void second_opinion(const struct config *conf,
                           const struct batch_watch *w, struct desk_findings *f)
{
    bool all = batch_watch_replayed(w);
    size_t n = w->sums.n, many = all ? n : w->n_news;
    struct breakage_batch *batches = kw_calloc(n + 1, sizeof(*batches));
    struct breakage_verdict *v = kw_calloc(n + 1, sizeof(*v));

    for (size_t i = 0; i < n; i++)
        batches[i] = w->sums.items[i].b;
    if (all)
        breakage_judge(batches, n, &prior, v);
    for (size_t k = 0; k < many; k++) {
        size_t i = all ? k : (size_t)w->news[k];

        if (!all)
            breakage_judge_one(batches, n, i, &prior, &v[i]);
        if (v[i].p_poisson < conf->breakage_p &&
            v[i].observed >= conf->breakage_least)
            keep(f, &batches[i], &v[i]);
    }
    kw_free(batches);
    kw_free(v);
}

int desk_watch_look(struct batch_watch *w, const struct config *conf,
                    struct ledger *reading, int64_t now_s,
                    struct desk_findings **out)
{
    struct desk_findings *f = kw_calloc(1, sizeof(*f));
    int err = batch_watch_look(w, reading, now_s, &f->watch);

    if (err == 0)
        second_opinion(conf, w, f);
    if (err < 0) {
        desk_findings_free(f);
        f = NULL;
    }
    *out = f;
    return err;
}

int desk_scan_look(const struct config *conf, struct ledger *reading,
                   int64_t now_s, struct desk_findings **out)
{
    struct batch_watch *w = batch_watch_new();
    int err = desk_watch_look(w, conf, reading, now_s, out);

    batch_watch_free(w);
    return err;
}

static int act_on(struct desk *d, struct ledger *lg, int64_t now_s,
                  const struct found *found, bool *fresh)
{
    const struct breakage_verdict *v = &found->v;
    struct ledger_alert a = {.kind = LEDGER_ALERT_BREAKAGE,
                             .on = LEDGER_ON_BATCH,
                             .subject_id = found->batch_id,
                             .observed = (double)v->observed,
                             .expected = v->expected,
                             .p = v->p_poisson};
    struct raise r = {
        .d = d, .lg = lg, .now_s = now_s, .key = "alert-breakage"};
    struct ledger_batch batch;
    int err = ledger_batch_get(lg, found->batch_id, &batch);

    if (err < 0)
        return err;
    snprintf(a.words, sizeof(a.words),
             "batch %.20s: %lld of %lld broke, %.1f expected, ratio %.1f "
             "(%.1f-%.1f), p %.2g",
             batch.code, (long long)v->observed, (long long)found->pots_out,
             v->expected, v->ratio, v->ratio_low, v->ratio_high, v->p_poisson);
    r.slots = (struct reply_slots){.batch = batch.code,
                                   .count = (int)v->observed,
                                   .total = (int)found->pots_out,
                                   .expected = v->expected,
                                   .ratio = v->ratio,
                                   .low = v->ratio_low,
                                   .high = v->ratio_high};
    err = raise_alert(&r, &a, fresh);
    return err < 0 ? err : ledger_alert_gather_batch(lg, a.id, a.subject_id);
}

int desk_scan_act(struct desk *d, struct ledger *lg, int64_t now_s,
                  const struct desk_findings *f, int *raised)
{
    int err;

    *raised = 0;
    err = batch_act(d, lg, now_s, &f->watch, raised);
    for (size_t i = 0; err == 0 && i < f->n; i++) {
        bool fresh = false;
        struct batchstate s;

        err = batchstate_get(lg, f->items[i].batch_id, &s);
        if (err == 0 && s.state == DETECTOR_FAILING)
            continue; /* the watch has said it */
        if (err == 0 || err == KW_ENOENT)
            err = act_on(d, lg, now_s, &f->items[i], &fresh);
        *raised += fresh;
    }
    return err;
}

void desk_findings_free(struct desk_findings *f)
{
    if (f == NULL)
        return;
    batch_found_release(&f->watch);
    kw_free(f->items);
    kw_free(f);
}
