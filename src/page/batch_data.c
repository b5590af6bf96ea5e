/* batch_data.c - one batch: gathered from the ledger, and as JSON. */
#include "page/batch.h"

#include "page/tally.h"
#include "watch/detector.h"

void batch_page_release(struct batch_page *b)
{
    kw_free(b->holders.items);
    kw_free(b->failed.items);
    kw_free(b->alerts.items);
    life_release(&b->life);
    *b = (struct batch_page){0};
}

/* Divides the hand-overs into those that last and those that ended badly. */
static int add_handover(const struct look_handover *h, void *arg)
{
    struct batch_page *b = arg;

    if (h->failed_s != 0 && h->failed_s >= h->given_s &&
        (h->ended_s == 0 || h->failed_s <= h->ended_s))
        page_add_handover(h, &b->failed);
    if (h->ended_s == 0)
        page_add_handover(h, &b->holders);
    return 0;
}

/* Of a young programme without failures yet: docs/science.md. */
static const struct breakage_prior prior = {.events = BATCH_PRIOR_EVENTS,
                                            .rate_per_day = 0.012 / 30.4375};

static void judge(const struct tally *t, struct batch_page *out)
{
    const struct breakage_batch *own = tally_find(t, out->batch.id);
    struct breakage_verdict *verdicts;

    if (own == NULL || own->pots_out == 0)
        return;
    verdicts = kw_calloc(t->n, sizeof(*verdicts));
    breakage_judge(t->batches, t->n, &prior, verdicts);
    out->judged = true;
    out->verdict = verdicts[own - t->batches];
    for (size_t i = 0; i < t->n; i++) {
        out->others_out += &t->batches[i] != own ? t->batches[i].pots_out : 0;
        out->others_failed += &t->batches[i] != own ? t->batches[i].failed : 0;
    }
    for (int k = 0; k < BREAKAGE_BINS; k++)
        out->exposure_days += own->exposure_days[k];
    kw_free(verdicts);
}

static int tally_and_judge(const struct page *p, struct ledger *lg,
                           struct batch_page *out)
{
    struct tally t;
    int err = tally_gather(lg, p->now_s, &t);

    if (err == 0)
        judge(&t, out);
    tally_release(&t);
    return err;
}

int batch_page_gather(const struct page *p, struct ledger *lg, int64_t batch_id,
                      bool lists, struct batch_page *out)
{
    int err;

    *out = (struct batch_page){0};
    if ((err = ledger_batch_get(lg, batch_id, &out->batch)) < 0 ||
        (err = usual_gather(lg, &out->batch, &out->usual)) < 0 ||
        (err = tally_and_judge(p, lg, out)) < 0)
        return err;
    err = batchstate_get(lg, batch_id, &out->watch);
    out->watched = err == 0;
    if (err < 0 && err != KW_ENOENT)
        return err;
    if (!lists)
        return 0;
    if ((err = look_handovers(
             lg, &(struct look_of){.by = LOOK_BATCH, .id = batch_id},
             add_handover, out)) < 0)
        return err;
    if ((err = look_alerts(lg,
                           &(struct look_of){.by = LOOK_BATCH, .id = batch_id},
                           page_add_alert, &out->alerts)) < 0)
        return err;
    return life_gather(p, lg, batch_id, &out->life);
}

static json_t *json_verdict(const struct batch_page *b)
{
    const struct breakage_verdict *v = &b->verdict;

    if (!b->judged)
        return json_null();
    return json_pack(
        "{s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:I, s:I}", "observed",
        (json_int_t)v->observed, "expected", page_json_real(v->expected),
        "p_poisson", page_json_real(v->p_poisson), "p_hypergeometric",
        page_json_real(v->p_hypergeometric), "ratio", page_json_real(v->ratio),
        "ratio_low", page_json_real(v->ratio_low), "ratio_high",
        page_json_real(v->ratio_high), "exposure_days",
        page_json_real(b->exposure_days), "others_out",
        (json_int_t)b->others_out, "others_failed",
        (json_int_t)b->others_failed);
}

static json_t *json_watch(const struct batch_page *b)
{
    const struct batchstate *w = &b->watch;
    json_t *j;

    if (!b->watched)
        return json_null();
    j = json_pack(
        "{s:s, s:o, s:o, s:b, s:I, s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:o}",
        "state", detector_state_name((enum detector_state)w->state), "since",
        page_json_time(w->since_s), "as_of", page_json_time(w->at_s), "on_hold",
        w->state == DETECTOR_FAILING, "reported", (json_int_t)w->reported,
        "counted", (json_int_t)w->counted, "expected",
        page_json_real(w->expected), "upper", page_json_real(w->upper),
        "log_bf", page_json_real(w->log_bf), "cusum", page_json_real(w->cusum),
        "risk", page_json_real(w->risk), "risk_low",
        page_json_real(w->risk_low), "risk_high", page_json_real(w->risk_high));
    json_object_set_new(j, "places", json_integer(w->places));
    json_object_set_new(j, "place_bound", json_boolean(w->bound));
    return j;
}

json_t *batch_page_json(const struct page *p, const struct batch_page *b,
                        bool lists)
{
    const struct ledger_batch *t = &b->batch;
    json_t *j = json_pack(
        "{s:o, s:o, s:o, s:o, s:i, s:i, s:i, s:i, s:i, s:o, s:o, s:o, s:i}",
        "batch", page_json_word(t->code), "pressed",
        page_json_time(t->pressed_s), "fired", page_json_time(t->fired_s),
        "silvered", page_json_time(t->silvered_s), "tested", t->tested,
        "accepted", t->accepted, "pots", t->pots, "pots_out", t->pots_out,
        "failed", t->failed, "test_min_l", page_json_real(t->test_min_l),
        "breakage", json_verdict(b), "made", usual_json(&b->usual),
        "other_batches", b->usual.batches);

    json_object_set_new(j, "recalled", page_json_time(t->recalled_s));
    json_object_set_new(j, "watch", json_watch(b));
    if (!lists)
        return j;
    json_object_set_new(j, "failed_pots", page_json_handovers(p, &b->failed));
    json_object_set_new(j, "holders", page_json_handovers(p, &b->holders));
    json_object_set_new(j, "alerts", page_json_alerts(&b->alerts));
    json_object_set_new(j, "life", life_json(&b->life));
    return j;
}
