/* flowtrack.c - see flowtrack.h. */
#include "page/flowtrack.h"

#include "watch/mould.h"
#include "watch/potflow.h"

#include <math.h>
#include <string.h>

#define DAY_S           ((double)CLOCK_DAY_S)
#define SAME_SCRUB_DAYS 7 /* as the desk counts */
#define SECOND_LEAST    6
#define SECOND_MOST     60 /* the newest */

static bool is_scrub(const struct look_report *r)
{
    for (size_t i = 0; i < r->n_obs; i++) {
        if (r->id != 0 && strcmp(r->obs[i].kind, "scrubbed") == 0)
            return true;
    }
    return false;
}

static int gather(struct ledger *lg, const struct page_reports *reports,
                  struct flow_track *t)
{
    t->reads = kw_calloc(reports->n + 1, sizeof(*t->reads));
    t->scrubs = kw_calloc(reports->n + 1, sizeof(*t->scrubs));
    for (size_t i = 0; i < reports->n; i++) {
        const struct look_report *r = &reports->items[i];
        struct track_read *read = &t->reads[t->n_reads];
        int err;

        if (is_scrub(r))
            t->scrubs[t->n_scrubs++] = r->at_s;
        if (r->id == 0 || !isfinite(r->first_hour_l))
            continue;
        err = ledger_decision_get(lg, r->id, &read->decision);
        if (err == KW_ENOENT)
            continue; /* of before decisions were kept */
        if (err < 0)
            return err;
        read->report = r;
        t->n_reads++;
    }
    return 0;
}

/* ---- the line ---- */

struct walk {
    struct flow_track *t;
    struct potflow_rule rule;
    struct drift_state s;
    size_t scrub; /* the next one */
    int64_t now_s;
    double step_days;
    struct ledger_drift kept; /* pot_key 0: none */
};

static void spot(struct walk *w)
{
    struct flow_track *t = w->t;
    int64_t at_s = (int64_t)llround(w->s.at_days * DAY_S);

    if (t->n_spots >= TRACK_SPOTS_MOST)
        return;
    t->spots[t->n_spots++] =
        (struct track_spot){at_s, w->s.level, sqrt(w->s.p11), at_s > w->now_s};
}

/* Spots up to a moment, that excluded. */
static void walk_to(struct walk *w, double at_days)
{
    while (w->s.at_days + w->step_days < at_days) {
        drift_propagate(&w->s, &w->rule.drift, w->s.at_days + w->step_days);
        spot(w);
    }
    drift_propagate(&w->s, &w->rule.drift, at_days);
}

static void take_state(struct walk *w, const struct track_read *r)
{
    const struct ledger_decision *d = &r->decision;

    w->s = (struct drift_state){.level = d->level,
                                .slope = d->slope,
                                .p11 = d->p11,
                                .p12 = d->p12,
                                .p22 = d->p22,
                                .at_days = (double)r->report->at_s / DAY_S,
                                .scrubbed_days = w->s.scrubbed_days};
}

/* The ledger's own state knows what was filed late, and in its place. */
static void take_kept(struct walk *w)
{
    const struct ledger_drift *d = &w->kept;

    if (d->at_days > (double)w->now_s / DAY_S)
        return;
    w->s = (struct drift_state){
        .level = d->level,
        .slope = d->slope,
        .p11 = d->p11,
        .p12 = d->p12,
        .p22 = d->p22,
        .at_days = d->at_days,
        .scrubbed_days = isnan(d->scrubbed_days) ? -INFINITY : d->scrubbed_days,
        .fresh_scrub = d->fresh_scrub};
}

/* Up to a moment with the scrubs on the way. */
static void walk_scrubs(struct walk *w, int64_t upto_s, bool with_last)
{
    struct flow_track *t = w->t;

    for (; w->scrub < t->n_scrubs; w->scrub++) {
        int64_t at_s = t->scrubs[w->scrub];
        double at = (double)at_s / DAY_S;

        if (at_s > upto_s || (at_s == upto_s && !with_last))
            break;
        walk_to(w, at);
        if (at - w->s.scrubbed_days < (w->s.fresh_scrub ? SAME_SCRUB_DAYS : 1))
            continue;
        spot(w);
        potflow_scrub(&w->s, &w->rule, at);
        spot(w);
    }
    walk_to(w, (double)upto_s / DAY_S);
}

static void draw(struct walk *w, int64_t ahead_s)
{
    struct flow_track *t = w->t;

    for (size_t i = 0; i < t->n_reads; i++) {
        if (i > 0)
            walk_scrubs(w, t->reads[i].report->at_s, false);
        if (i > 0)
            spot(w);
        take_state(w, &t->reads[i]);
        while (w->scrub < t->n_scrubs &&
               t->scrubs[w->scrub] <= t->reads[i].report->at_s)
            w->s.scrubbed_days = (double)t->scrubs[w->scrub++] / DAY_S;
        spot(w);
    }
    if (w->kept.pot_key != 0)
        take_kept(w);
    walk_scrubs(w, w->now_s, true);
    spot(w);
    t->now = w->s;
    drift_fall(&w->s, &w->rule.drift, &t->fall);
    walk_to(w, (double)(w->now_s + ahead_s) / DAY_S);
    spot(w);
}

/* Litres a day for so many fillings, in the mould of the pot or its batch. */
static int know_yield(const struct page *p, struct ledger *lg,
                      const struct ledger_pot *pot, struct flow_track *t)
{
    const struct config_mould *m = &p->conf->moulds[0];
    struct ledger_batch batch = {.mould = ""};
    struct ledger_home home = {.people = 0};
    struct seep_pot shape;
    double k;
    int err = ledger_batch_get(lg, pot->batch_id, &batch);

    if (err == 0 && pot->home_id != 0)
        err = ledger_home_get(lg, pot->home_id, &home);
    if (err < 0)
        return err;
    t->people = home.people;
    for (size_t i = 0; i < p->conf->n_moulds; i++) {
        if (strcmp(p->conf->moulds[i].name,
                   pot->mould[0] ? pot->mould : batch.mould) == 0)
            m = &p->conf->moulds[i];
    }
    for (int i = 0; i < 3; i++) {
        t->day_l[i] = NAN;
        if (mould_pot(m, &shape) == 0 &&
            seep_k_for_first_hour(&shape, exp(t->now.level), &k) == 0)
            seep_daily_yield_l(&shape, k, i + 1, &t->day_l[i]);
    }
    return 0;
}

int flow_track_build(const struct page *p, struct ledger *lg,
                     const struct ledger_pot *pot,
                     const struct page_reports *reports, struct flow_track *t)
{
    struct ledger_batch_drift learnt;
    struct walk w = {.t = t, .now_s = p->now_s};
    int err;

    *t = (struct flow_track){0};
    if ((err = gather(lg, reports, t)) < 0 || t->n_reads == 0)
        return err;
    potflow_rule_of(p->conf, &w.rule);
    err = ledger_batch_drift_get(lg, pot->batch_id, &learnt);
    if (err < 0 && err != KW_ENOENT)
        return err;
    if (err == 0)
        w.rule.drift.scrub_gain = learnt.gain;
    err = ledger_drift_get(lg, pot->key, &w.kept);
    if (err < 0 && err != KW_ENOENT)
        return err;
    /* The last reading may be newer than the time that is asked for. */
    if (w.now_s < t->reads[t->n_reads - 1].report->at_s)
        w.now_s = t->reads[t->n_reads - 1].report->at_s;
    w.s.scrubbed_days = -INFINITY;
    w.s.at_days = (double)t->reads[0].report->at_s / DAY_S;
    w.step_days =
        fmax(1, (double)(w.now_s + TRACK_AHEAD_S - t->reads[0].report->at_s) /
                    DAY_S / 100);
    t->spots = kw_calloc(TRACK_SPOTS_MOST, sizeof(*t->spots));
    draw(&w, TRACK_AHEAD_S);
    return know_yield(p, lg, pot, t);
}

void flow_track_release(struct flow_track *t)
{
    kw_free(t->reads);
    kw_free(t->scrubs);
    kw_free(t->spots);
    *t = (struct flow_track){0};
}

/* ---- in words ---- */

/* "about 2026-05-12", "now", "not within ten years". */
static struct page_word day_after(const struct flow_track *t, double days)
{
    struct page_word w = {"not within ten years"};

    if (days <= 0)
        memcpy(w.s, "now", 4);
    else if (isfinite(days))
        w = page_day((int64_t)((t->now.at_days + days) * DAY_S));
    return w;
}

/* From six readings since the last scrub on: a line that nonsense in a
 * quarter of them hardly moves. */
static void second_opinion(const struct page *p, const struct flow_track *t)
{
    double days[SECOND_MOST], y[SECOND_MOST];
    int64_t since_s = t->n_scrubs > 0 ? t->scrubs[t->n_scrubs - 1] : 0;
    struct drift_line line;
    size_t n = 0;

    for (size_t i = t->n_reads; i-- > 0 && n < SECOND_MOST;) {
        if (t->reads[i].report->at_s < since_s)
            break;
        days[n] = (double)t->reads[i].report->at_s / DAY_S;
        y[n++] = log(t->reads[i].report->first_hour_l);
    }
    if (n < SECOND_LEAST || drift_theil_sen(days, y, n, &line) < 0)
        return;
    screen_text(&p->screen, 2,
                "Second opinion, the median slope of %zu readings since the "
                "last scrub (Theil-Sen): %.2f L now, %+.0f %% in 30 days.",
                n, exp(line.intercept + line.slope * t->now.at_days),
                100 * (exp(30 * line.slope) - 1));
}

static void put_yield(const struct page *p, const struct flow_track *t)
{
    if (!isfinite(t->day_l[2]))
        return;
    screen_text(&p->screen, 2,
                "Filled to the rim once, twice, three times a day: %.1f, "
                "%.1f, %.1f L a day at 25 °C.",
                t->day_l[0], t->day_l[1], t->day_l[2]);
    if (t->people > 0)
        screen_text(&p->screen, 2,
                    "For %d people %.1f, %.1f, %.1f L each; a person drinks "
                    "and cooks with 2.5 to 3 L at least (Sphere).",
                    t->people, t->day_l[0] / t->people, t->day_l[1] / t->people,
                    t->day_l[2] / t->people);
}

void flow_track_words(const struct page *p, const struct flow_track *t)
{
    double sd = sqrt(t->now.p11), level = t->now.level;
    double limit_l = p->conf->replace_below_l;

    if (t->n_reads == 0)
        return;
    screen_text(&p->screen, 2,
                "On %s, all readings together: %.2f L (68 %% within %.2f to "
                "%.2f), changing by %+.0f %% in 30 days.",
                page_day((int64_t)(t->now.at_days * DAY_S)).s, exp(level),
                exp(level - sd), exp(level + sd),
                100 * (exp(30 * t->now.slope) - 1));
    second_opinion(p, t);
    put_yield(p, t);
    if (t->fall.expected_days <= 0) {
        screen_text(&p->screen, 2,
                    "It stands below %.2g L already, more likely than not.",
                    limit_l);
        return;
    }
    screen_text(&p->screen, 2,
                "Expected to stand below %.2g L, if nobody scrubs it: %s "
                "(one in ten so early: %s; nine in ten by then: %s).",
                limit_l, day_after(t, t->fall.expected_days).s,
                day_after(t, t->fall.early_days).s,
                day_after(t, t->fall.late_days).s);
}

void flow_track_why(unsigned why, struct kw_buf *out)
{
    static const struct {
        unsigned bit;
        const char *words;
    } words[] = {{POTFLOW_TOO_FAST, "over its batch's band"},
                 {POTFLOW_RISE, "risen too far"},
                 {POTFLOW_JUMP, "like the one before: believed"},
                 {POTFLOW_OUTLIER, "far from what was expected"},
                 {POTFLOW_SCRUBBED, "after a scrub"},
                 {POTFLOW_OLD, "filed late"}};
    const char *sep = "";

    if (why & POTFLOW_JUMP)
        why &= ~(unsigned)POTFLOW_OUTLIER;
    for (size_t i = 0; i < KW_COUNT(words); i++) {
        if ((why & words[i].bit) == 0)
            continue;
        kw_buf_printf(out, "%s%s", sep, words[i].words);
        sep = "; ";
    }
}

/* ---- for programs ---- */

static json_t *read_json(const struct track_read *r)
{
    static const char *const priors[] = {"default", "batch", "pot"};
    const struct ledger_decision *d = &r->decision;
    struct kw_buf why;
    json_t *j;

    kw_buf_init(&why, 256);
    flow_track_why(d->why, &why);
    j = json_pack(
        "{s:o, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, "
        "s:s, s:s}",
        "at", page_json_time(r->report->at_s), "verdict", r->report->verdict,
        "level_l", exp(d->level), "level_log_sd", sqrt(d->p11), "slope_log_day",
        d->slope, "slope_sd", sqrt(d->p22), "innovation_log", d->innovation,
        "innovation_var", d->variance, "p_below", d->p_below, "limit_l",
        d->limit_l, "too_fast_l", d->too_fast_l, "ask_scrub_p", d->ask_scrub,
        "replace_p", d->sure, "why", kw_buf_text(&why), "prior",
        priors[d->prior >= 0 && d->prior < 3 ? d->prior : 0]);
    kw_buf_release(&why);
    return j;
}

static json_t *fall_json(const struct flow_track *t, double days)
{
    if (!isfinite(days))
        return json_null();
    return page_json_time((int64_t)((t->now.at_days + days) * DAY_S));
}

json_t *flow_track_json(const struct page *p, const struct flow_track *t)
{
    json_t *reads = json_array(), *scrubs = json_array();

    if (t->n_reads == 0) {
        json_decref(reads);
        json_decref(scrubs);
        return json_null();
    }
    for (size_t i = 0; i < t->n_reads; i++)
        json_array_append_new(reads, read_json(&t->reads[i]));
    for (size_t i = 0; i < t->n_scrubs; i++)
        json_array_append_new(scrubs, page_json_time(t->scrubs[i]));
    return json_pack(
        "{s:f, s:f, s:f, s:f, s:o, s:o, s:o, s:o, s:o}", "level_l",
        exp(t->now.level), "level_log_sd", sqrt(t->now.p11), "slope_log_day",
        t->now.slope, "limit_l", p->conf->replace_below_l, "below_p10",
        fall_json(t, t->fall.early_days), "below_p50",
        fall_json(t, t->fall.expected_days), "below_p90",
        fall_json(t, t->fall.late_days), "decisions", reads, "scrubs", scrubs);
}
