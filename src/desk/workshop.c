/*
 * workshop.c - the workshop's flow tests by text. The same model as for a
 * home's measure: a test read at 40 minutes or at 18 degrees is still a test.
 */
#include "desk/inner.h"

#include "ledger/notebook.h"

#include <math.h>

static bool tests(const struct taking *t)
{
    return t->phone.role == LEDGER_WORKSHOP ||
           t->phone.role == LEDGER_COORDINATOR;
}

/* From a home or a field worker it is a measure like any other. */
void workshop_or_report(struct taking *t)
{
    struct reader_meaning *m = &t->m;

    if (m->command != READER_TESTED || tests(t))
        return;
    m->command = taking_works(t) ? READER_VISIT : READER_NO_COMMAND;
    if (m->test.type == READER_NO_MEASURE)
        return;
    m->obs[0] = (struct reader_obs){.kind = READER_SLOW, .measure = m->test};
    m->n_obs = 1;
    if (!m->test_hour)
        return;
    m->obs[0].measure.minutes = 0;
    m->outcome = READER_ASKED;
    m->why = READER_WHY_NO_TIME;
}

/* What was read, as litres; and the first hour. KW_EINVAL: it cannot be. */
static int solve(const struct taking *t, const struct seep_pot *mould,
                 struct ledger_test *test)
{
    const struct reader_measure *m = &t->m.test;
    struct seep_reading r = {.water_degc = 25};
    struct seep_flow flow;
    double start_m, end_m;

    filing_measure(t->d->conf, m, &r);
    start_m = r.start_m > 0 ? r.start_m : seep_rim_m(mould);
    test->litres = r.yield_l;
    if (r.seen == SEEP_DROP) {
        end_m = start_m - r.drop_m;
        test->litres =
            seep_volume_l(mould, start_m) - seep_volume_l(mould, end_m);
    } else if (m->start_cm <= 0) {
        return seep_test(mould, test->litres, test->minutes, test->water_degc,
                         &test->first_hour_l);
    }
    if (seep_solve(mould, &r, &flow) < 0)
        return KW_EINVAL;
    test->first_hour_l = flow.first_hour_l;
    return 0;
}

static int say(struct taking *t, const struct ledger_test *test)
{
    char serial[SERIAL_CAP + 4];

    serial_format(&t->d->layout, t->pot.serial, serial, sizeof(serial));
    return commands_say(
        t, test->accepted ? "tested-done" : "tested-out",
        &(struct reply_slots){.serial = serial,
                              .litres = test->first_hour_l,
                              .low = t->d->conf->accept_min_l,
                              .high = t->d->conf->accept_max_l});
}

int workshop_run(struct taking *t)
{
    const struct config *conf = t->d->conf;
    const char *own = t->pot.mould, *batch = t->pot.batch_mould;
    struct ledger_test test = {.batch_id = t->pot.batch_id,
                               .pot_key = t->pot.key,
                               .tested_s = t->at_s,
                               .minutes = t->m.test.minutes,
                               .water_degc = t->m.test.warm ? t->m.test.degc
                                                            : (double)NAN,
                               .nth = 1};
    enum ledger_change what;
    int err;

    if (t->pot.key == 0 || t->pot.scrapped) {
        t->ask = t->pot.key == 0 ? "ask-unknown" : "ask-not-out";
        t->why = t->pot.key == 0 ? "unknown" : "scrapped";
        return 0;
    }
    err = solve(t, desk_mould(t->d, own[0] ? own : batch), &test);
    if (err < 0 || test.first_hour_l < conf->least_l ||
        test.first_hour_l > conf->most_l) {
        t->ask = "ask-impossible";
        t->why = reader_why_name(READER_WHY_IMPOSSIBLE);
        return 0;
    }
    test.accepted = test.first_hour_l >= conf->accept_min_l &&
                    test.first_hour_l <= conf->accept_max_l;
    if ((err = ledger_test_put(t->lg, &test, &what)) < 0 ||
        (err = ledger_batch_sum(t->lg, t->pot.batch_id)) < 0)
        return err;
    return say(t, &test);
}
