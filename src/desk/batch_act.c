/*
 * batch_act.c - what was found of batches and deliveries is written down. A
 * batch newly found failing is told to the coordinators; its pots are on hold
 * until somebody closes the alert. A failing delivery is told as well, as an
 * alert on its place.
 */
#include "desk/batch_inner.h"
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

/* Nearly all in one place, or most in a delivery that fails as a whole. */
struct elsewhere {
    bool found;
    struct ledger_place place;
    char words[120];
};

static int look_elsewhere(struct ledger *lg, const struct batchstate *s,
                          const struct ledger_batch *batch, struct elsewhere *e)
{
    struct batchstate_where w;
    char day[CLOCK_TEXT_CAP];
    int err = batchstate_worst_delivery(lg, s->batch_id, &w);
    bool delivery = err == 0 && 2 * w.failed >= batch->failed;

    e->found = false;
    e->words[0] = '\0';
    if (!delivery && s->bound)
        err = batchstate_worst_place(lg, s->batch_id, &w);
    if (err == 0 && (delivery || s->bound))
        err = ledger_place_get(lg, w.place_id, &e->place);
    if (err < 0 || !(delivery || s->bound))
        return err == KW_ENOENT ? 0 : err;
    e->found = true;
    clock_format_utc(w.day * CLOCK_DAY_S, day, sizeof(day));
    if (delivery)
        snprintf(e->words, sizeof(e->words),
                 "; %lld of them in the failing delivery of %.10s to %.40s",
                 (long long)w.failed, day, e->place.name);
    return 0;
}

static int raise_batch(struct desk *d, struct ledger *lg, int64_t now_s,
                       const struct batchstate *s, bool *fresh)
{
    struct ledger_alert a = alert_of(s);
    struct raise r = {.d = d, .lg = lg, .now_s = now_s, .key = "alert-failing"};
    struct ledger_batch batch;
    struct elsewhere e;
    char words[200];
    int err = ledger_batch_get(lg, s->batch_id, &batch);

    if (err < 0 || (err = look_elsewhere(lg, s, &batch, &e)) < 0)
        return err;
    describe(s, "place", words, sizeof(words));
    snprintf(a.words, sizeof(a.words), "batch %.20s %.150s%.75s", batch.code,
             words, e.words);
    r.slots = (struct reply_slots){.batch = batch.code,
                                   .count = (int)s->counted,
                                   .total = batch.pots_out,
                                   .expected = s->expected,
                                   .ratio = s->risk,
                                   .low = s->risk_low,
                                   .high = s->risk_high,
                                   .places = s->places,
                                   .aside = (int)(s->reported - s->counted)};
    if (e.found) {
        r.key = "alert-failing-place";
        r.slots.place = e.place.name;
    }
    err = raise_alert(&r, &a, fresh);
    if (err == 0)
        err = ledger_alert_gather_batch(lg, a.id, s->batch_id);
    /* An alert of one look stood already: that it fails now is news. */
    if (err == 0 && !*fresh && newly(s))
        err = raise_tell(&r, LEDGER_ALERT, LEDGER_PRIORITY_ALERT, a.id);
    return err;
}

static int raise_delivery(struct desk *d, struct ledger *lg, int64_t now_s,
                          const struct batchstate *s, bool *fresh)
{
    struct ledger_alert a = alert_of(s);
    struct raise r = {
        .d = d, .lg = lg, .now_s = now_s, .key = "alert-delivery"};
    struct ledger_place place;
    char words[200], day[CLOCK_TEXT_CAP];
    int err = s->place_id != 0 ? ledger_place_get(lg, s->place_id, &place)
                               : KW_ENOENT;

    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    clock_format_utc(s->day * CLOCK_DAY_S, day, sizeof(day));
    day[10] = '\0'; /* the day alone */
    describe(s, "batch", words, sizeof(words));
    snprintf(a.words, sizeof(a.words), "%.40s, delivery of %s %.165s",
             place.name, day, words);
    r.slots = (struct reply_slots){.place = place.name,
                                   .day = day,
                                   .count = (int)s->counted,
                                   .expected = s->expected,
                                   .ratio = s->risk,
                                   .low = s->risk_low,
                                   .high = s->risk_high};
    err = raise_alert(&r, &a, fresh);
    if (err == 0)
        err = ledger_alert_gather_delivery(lg, a.id, s->place_id,
                                           s->day * CLOCK_DAY_S);
    /* Another delivery's alert stood there already. */
    if (err == 0 && !*fresh && newly(s))
        err = raise_tell(&r, LEDGER_ALERT, LEDGER_PRIORITY_ALERT, a.id);
    return err;
}

/* Up to where the states that stand there now had seen the history. */
static int put_seen(struct ledger *lg, const struct batch_seen *s)
{
    int err = ledger_mark_put(lg, WATCH_UPTO, s->upto_s);

    if (err == 0)
        err = ledger_mark_put(lg, WATCH_HANDOVER, s->handover_id);
    return err < 0 ? err : ledger_mark_put(lg, WATCH_FAILED, s->failed);
}

int batch_act(struct desk *d, struct ledger *lg, int64_t now_s,
              const struct batch_found *f, int *raised)
{
    bool fresh;
    int err = 0;

    /* Deliveries first: what is said of a batch may rest on them. */
    for (size_t i = 0; err == 0 && i < f->deliveries.n; i++) {
        const struct batchstate *s = &f->deliveries.items[i];

        fresh = false;
        if ((err = batchstate_put_delivery(lg, s)) == 0 &&
            s->state == DETECTOR_FAILING)
            err = raise_delivery(d, lg, now_s, s, &fresh);
        *raised += fresh;
    }
    for (size_t i = 0; err == 0 && i < f->batches.n; i++) {
        const struct batchstate *s = &f->batches.items[i];

        fresh = false;
        if ((err = batchstate_put(lg, s)) == 0 && s->state == DETECTOR_FAILING)
            err = raise_batch(d, lg, now_s, s, &fresh);
        *raised += fresh;
    }
    for (size_t i = 0; err == 0 && i < f->runs.n; i++)
        err = batchstate_put_run(lg, &f->runs.items[i]);
    if (err == 0 && f->firings.at_s != 0)
        err = batchstate_put_firings(lg, &f->firings);
    if (err == 0 && f->weight.day != 0)
        err = batchstate_put_weight(lg, &f->weight);
    return err < 0 ? err : put_seen(lg, &f->seen);
}
