/*
 * filing.c - from a meaning and its pot to a report: which pot it is,
 * whether it may be filed, what the measure comes to, and what then is known
 * of the pot.
 */
#include "desk/inner.h"

#include "base/clock.h"
#include "ledger/due.h"

#include <math.h>
#include <string.h>

#define TOLD_SE_DEGC 1 /* a thermometer of the kitchen */

/* ---- which pot ---- */

static void ask(struct taking *t, const char *key, const char *why)
{
    t->ask = key;
    t->why = why;
}

/* Another home's pot, as far as the ledger can tell. */
static bool elsewhere(const struct taking *t)
{
    if (t->home.id != 0)
        return t->pot.home_id != t->home.id;
    return t->pot.phone_id != 0 && t->pot.phone_id != t->phone.id;
}

static void check_owner(struct taking *t)
{
    if (taking_works(t))
        return;
    if (t->pot.home_id == 0)
        ask(t, "ask-not-out", "not_out");
    else if (elsewhere(t) && !t->confirmed)
        ask(t, "ask-elsewhere", "elsewhere");
}

/* A text filed afterwards is about the home where the pot was then. */
static int place_pot(struct taking *t)
{
    struct due_where w;
    int err;

    if (t->pot.home_id != 0 && t->at_s >= t->pot.given_s)
        return 0;
    err = due_where_was(t->lg, t->pot.key, t->at_s, &w);
    if (err == KW_ENOENT && !t->in->quiet)
        return 0;
    if (err == KW_ENOENT)
        w = (struct due_where){.home_id = 0};
    else if (err < 0)
        return err;
    t->pot.home_id = w.home_id;
    t->pot.phone_id = w.phone_id;
    t->pot.place_id = w.place_id;
    t->pot.given_s = w.given_s;
    t->pot.handover_id = w.handover_id;
    return 0;
}

int filing_resolve(struct taking *t)
{
    int64_t key;
    int err, e;

    if (t->m.serial[0] == '\0' || serial_key(t->m.serial, &key) < 0)
        return 0;
    err = ledger_pot_get(t->lg, key, &t->pot);
    if (err < 0)
        memset(&t->pot, 0, sizeof(t->pot));
    if (err < 0 && err != KW_ENOENT)
        return err;
    if (t->pot.key != 0 && (e = place_pot(t)) < 0)
        return e;
    if (t->m.outcome != READER_FILED || t->m.n_obs == 0)
        return 0; /* the reader's own question comes first */
    if (err == KW_ENOENT)
        ask(t, "ask-unknown", "unknown");
    else if (t->pot.scrapped)
        ask(t, "ask-not-out", "scrapped");
    else
        check_owner(t);
    return 0;
}

/* ---- the measure ---- */

double desk_water_degc(struct desk *d, struct ledger *lg, int64_t place_id,
                       int64_t at_s)
{
    double degc;

    if (place_id != 0 &&
        ledger_place_water(lg, place_id, clock_month(at_s), &degc) == 0)
        return degc;
    return d->conf->water_degc;
}

static bool measured(const struct reader_obs *o)
{
    return (o->kind == READER_SLOW || o->kind == READER_FAST) &&
           o->measure.type != READER_NO_MEASURE && o->measure.value > 0 &&
           o->measure.minutes > 0;
}

void filing_measure(const struct config *conf, const struct reader_measure *m,
                    struct seep_reading *r)
{
    r->elapsed_s = m->minutes * 60;
    if (m->start_cm > 0) /* told: seep's own error of a level */
        r->start_m = m->start_cm / 100;
    else
        r->start_se_m = conf->full_se_cm / 100;
    if (m->warm) {
        r->water_degc = m->degc;
        r->water_se_degc = TOLD_SE_DEGC;
    }
    switch (m->unit) {
    case READER_FINGER:
        r->drop_m = m->value * conf->finger_cm / 100;
        /* each finger of a hand is as thick or thin as the next */
        r->drop_se_m = m->value * conf->finger_se_cm / 100;
        break;
    case READER_CM:
        r->drop_m = m->value / 100;
        r->drop_se_m = hypot(conf->level_se_cm / 100, 0.08 * r->drop_m);
        break;
    case READER_LITRE:
        r->yield_l = m->value;
        break;
    case READER_CUP: /* likewise of cups and bottles, and of the last one */
        r->yield_l = m->value * conf->cup_l;
        r->yield_se_l = hypot(0.05, m->value * conf->cup_se_l);
        break;
    case READER_BOTTLE:
        r->yield_l = m->value * conf->bottle_l;
        r->yield_se_l = hypot(0.05, m->value * conf->bottle_se_l);
        break;
    }
    r->seen = r->drop_m > 0 ? SEEP_DROP : SEEP_YIELD;
}

static bool said_scrubbed(const struct taking *t)
{
    for (size_t i = 0; i < t->m.n_obs; i++) {
        if (t->m.obs[i].kind == READER_SCRUBBED)
            return true;
    }
    return false;
}

/* The pot's life so far, then what the text tells: a scrub, a reading (may
 * be NULL), both. */
static int go_on_with_life(struct taking *t, const struct drift_event *reading)
{
    struct flow_late late = {t->at_s, said_scrubbed(t), reading};
    int err = flow_begin(&t->life, t->d->conf, t->lg, &t->pot, t->at_s);

    if (err < 0)
        return err;
    if (flow_is_late(&t->life, t->at_s))
        return flow_read_late(&t->life, t->lg, &t->pot, &late);
    if (late.scrubbed)
        flow_scrubbed(&t->life, t->at_s);
    return reading ? flow_read(&t->life, t->lg, &t->pot, reading) : 0;
}

static int judge(struct taking *t)
{
    struct drift_event e = {.at_days = (double)t->at_s / CLOCK_DAY_S,
                            .log_flow = log(t->flow.first_hour_l),
                            .log_se = t->flow.log_se};
    int err = go_on_with_life(t, &e);

    if (err < 0)
        return err;
    t->verdict = (int)t->life.decision.verdict;
    t->p_below = t->life.decision.step.p_below;
    return 0;
}

/* 0, or KW_EINVAL for a measure that cannot be. */
static int solve_flow(struct taking *t)
{
    const char *own = t->pot.mould, *batch = t->pot.batch_mould;
    const struct seep_pot *mould = desk_mould(t->d, own[0] ? own : batch);
    struct seep_reading r = {.water_degc = 0};

    for (size_t i = 0; i < t->m.n_obs && !t->has_flow; i++) {
        if (measured(&t->m.obs[i])) {
            t->measured = t->m.obs[i].measure;
            t->has_flow = true;
        }
    }
    if (!t->has_flow)
        return t->pot.key != 0 && said_scrubbed(t) ? go_on_with_life(t, NULL)
                                                   : 0;
    t->has_flow = false;
    r.water_degc = desk_water_degc(t->d, t->lg, t->pot.place_id, t->at_s);
    filing_measure(t->d->conf, &t->measured, &r);
    t->water_degc = r.water_degc;
    if (seep_solve(mould, &r, &t->flow) < 0 ||
        t->flow.first_hour_l < t->d->conf->least_l ||
        t->flow.first_hour_l > t->d->conf->most_l)
        return KW_EINVAL;
    t->has_flow = true;
    return judge(t);
}

/* ---- the report ---- */

static const char *unit_name(enum reader_unit u)
{
    static const char *const names[] = {"finger", "cm", "litre", "cup",
                                        "bottle"};

    return (size_t)u < KW_COUNT(names) ? names[u] : "litre";
}

static struct ledger_obs to_ledger(const struct reader_obs *o)
{
    struct ledger_obs l = {.kind = reader_kind_name(o->kind),
                           .people = o->people,
                           .under5 = o->under5,
                           .signs = o->signs};

    if (o->part != READER_NO_PART)
        l.part = reader_part_name(o->part);
    if (o->measure.type != READER_NO_MEASURE) {
        l.measure = o->measure.type == READER_DROP ? "drop" : "yield";
        l.unit = unit_name(o->measure.unit);
        l.value = o->measure.value;
        l.minutes = o->measure.minutes;
        l.start_cm = o->measure.start_cm;
        l.warm = o->measure.warm;
        l.water_degc = o->measure.degc;
    }
    return l;
}

static struct ledger_flow flow_of(const struct taking *t)
{
    return (struct ledger_flow){
        .first_hour_l = t->flow.first_hour_l,
        .log_se = t->flow.log_se,
        .k_m_s = t->flow.k_m_s,
        .water_degc = t->water_degc,
        .p_below = t->p_below,
        .verdict = flow_verdict_name((enum flow_verdict)t->verdict)};
}

static int put_report(struct taking *t, int64_t *id)
{
    struct ledger_obs obs[READER_OBS_MOST];
    struct ledger_decision decision;
    struct ledger_flow f;
    struct ledger_report r = {.text_id = t->text_id,
                              .phone_id = t->phone.id,
                              .pot_key = t->pot.key,
                              .home_id = t->pot.home_id,
                              .place_id = t->pot.place_id,
                              .at_s = t->at_s};
    int err;

    for (size_t i = 0; i < t->m.n_obs; i++)
        obs[i] = to_ledger(&t->m.obs[i]);
    if (t->pot.key == 0) { /* about the home alone */
        r.home_id = t->home.id;
        r.place_id = t->home.place_id;
    }
    if (t->has_flow) {
        f = flow_of(t);
        if (flow_decision(&t->life, &decision))
            f.decision = &decision;
        r.flow = &f;
    }
    err = ledger_report_put(t->lg, &r, obs, t->m.n_obs);
    *id = r.id;
    return err;
}

/* What the observations change in the pot. */
static int change_pot(struct taking *t, int64_t report_id)
{
    int err = 0;

    for (size_t i = 0; err == 0 && i < t->m.n_obs; i++) {
        switch (t->m.obs[i].kind) {
        case READER_CRACK:
        case READER_LEAK:
        case READER_BROKEN:
            err = ledger_pot_fail(t->lg, t->pot.key, t->at_s, report_id);
            t->scan = true;
            break;
        case READER_SCRUBBED:
            err = ledger_pot_scrubbed(t->lg, t->pot.key, t->at_s);
            break;
        default:
            break;
        }
    }
    return err;
}

int filing_put(struct taking *t)
{
    int64_t report_id;
    int err = solve_flow(t);

    if (err == KW_EINVAL) {
        ask(t, "ask-impossible", reader_why_name(READER_WHY_IMPOSSIBLE));
        return 0;
    }
    if (err < 0 || (err = put_report(t, &report_id)) < 0)
        return err;
    if (t->pot.key != 0 && (err = change_pot(t, report_id)) < 0)
        return err;
    if ((err = flow_put(&t->life, t->lg)) < 0)
        return err;
    if (t->pot.key == 0)
        return 0;
    err = raise_flow(t, report_id);
    return err < 0 ? err : raise_settle(t);
}
