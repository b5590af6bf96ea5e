/*
 * batch_act.c - what was found of batches and deliveries is written down. A
 * batch newly found failing is told to the coordinators; its pots are on hold
 * until somebody closes the alert. A failing delivery stands as an alert on
 * its place, in the digest and on the pages.
 */
#include "desk/batch_watch.h"
#include "desk/inner.h"

#include "base/clock.h"
#include "watch/detector.h"
#include "watch/exact.h"

#include <stdio.h>

static bool newly(const struct batchstate *s)
{
    return s->state == DETECTOR_FAILING && s->since_s == s->at_s;
}

/* Behind its name: what was seen, and how far it can be trusted. */
static void describe(const struct batchstate *s, const char *apart, char *dst,
                     size_t cap)
{
    char aside[60] = "";

    if (s->reported > s->counted)
        snprintf(aside, sizeof(aside), ", %lld co-located left out",
                 (long long)(s->reported - s->counted));
    snprintf(dst, cap,
             "failing: %lld counted, %.1f expected, %.1f times the risk "
             "(%.1f-%.1f), %s %d%s%s%s",
             (long long)s->counted, s->expected, s->risk, s->risk_low,
             s->risk_high, s->batch_id != 0 ? "places" : "batches", s->places,
             aside, s->bound ? "; cannot be told apart from the " : "",
             s->bound ? apart : "");
}

static struct ledger_alert alert_of(const struct batchstate *s)
{
    return (struct ledger_alert){
        .kind = LEDGER_ALERT_BREAKAGE,
        .on = s->batch_id != 0 ? LEDGER_ON_BATCH : LEDGER_ON_PLACE,
        .subject_id = s->batch_id != 0 ? s->batch_id : s->place_id,
        .observed = (double)s->counted,
        .expected = s->expected,
        .p = exact_poisson_upper(s->counted, s->expected)};
}

static int raise_batch(struct desk *d, struct ledger *lg, int64_t now_s,
                       const struct batchstate *s, bool *fresh)
{
    struct ledger_alert a = alert_of(s);
    struct raise r = {.d = d, .lg = lg, .now_s = now_s, .key = "alert-failing"};
    struct ledger_batch batch;
    char words[200];
    int err = ledger_batch_get(lg, s->batch_id, &batch);

    if (err < 0)
        return err;
    describe(s, "place", words, sizeof(words));
    snprintf(a.words, sizeof(a.words), "batch %.20s %.190s", batch.code, words);
    r.slots = (struct reply_slots){.batch = batch.code,
                                   .count = (int)s->counted,
                                   .total = batch.pots_out,
                                   .expected = s->expected,
                                   .ratio = s->risk,
                                   .low = s->risk_low,
                                   .high = s->risk_high,
                                   .places = s->places,
                                   .aside = (int)(s->reported - s->counted)};
    err = raise_alert(&r, &a, fresh);
    if (err == 0)
        err = ledger_alert_gather_batch(lg, a.id, s->batch_id);
    /* An alert of one look stood already: that it fails now is news. */
    if (err == 0 && !*fresh && newly(s))
        err = raise_tell(&r, LEDGER_ALERT, LEDGER_PRIORITY_ALERT, a.id);
    return err;
}

static int raise_delivery(struct ledger *lg, int64_t now_s,
                          const struct batchstate *s, bool *fresh)
{
    struct ledger_alert a = alert_of(s);
    struct ledger_place place;
    char words[200], day[CLOCK_TEXT_CAP];
    int err = s->place_id != 0 ? ledger_place_get(lg, s->place_id, &place)
                               : KW_ENOENT;

    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    clock_format_utc(s->day * CLOCK_DAY_S, day, sizeof(day));
    describe(s, "batch", words, sizeof(words));
    snprintf(a.words, sizeof(a.words), "%.40s, delivery of %.10s %.170s",
             place.name, day, words);
    a.opened_s = a.changed_s = now_s;
    err = ledger_alert_raise(lg, &a, 0, 0, fresh);
    return err < 0 ? err
                   : ledger_alert_gather_delivery(lg, a.id, s->place_id,
                                                  s->day * CLOCK_DAY_S);
}

int batch_act(struct desk *d, struct ledger *lg, int64_t now_s,
              const struct batch_found *f, int *raised)
{
    bool fresh;
    int err = 0;

    for (size_t i = 0; err == 0 && i < f->batches.n; i++) {
        const struct batchstate *s = &f->batches.items[i];

        fresh = false;
        if ((err = batchstate_put(lg, s)) == 0 && s->state == DETECTOR_FAILING)
            err = raise_batch(d, lg, now_s, s, &fresh);
        *raised += fresh;
    }
    for (size_t i = 0; err == 0 && i < f->runs.n; i++)
        err = batchstate_put_run(lg, &f->runs.items[i]);
    for (size_t i = 0; err == 0 && i < f->deliveries.n; i++) {
        const struct batchstate *s = &f->deliveries.items[i];

        fresh = false;
        if ((err = batchstate_put_delivery(lg, s)) == 0 && newly(s))
            err = raise_delivery(lg, now_s, s, &fresh);
        *raised += fresh;
    }
    return err;
}
