/*
 * flow_late.c - a text about a pot that is filed days after it happened, as
 * from a notebook or an old phone: the pot's whole life is gone through
 * again with it in its place. So the state is that of what was read and when,
 * whatever the order in which it came in. What was decided on later readings
 * stays as it was said.
 */
#include "desk/flow.h"

#include "base/clock.h"
#include "ledger/look.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DAY_S ((double)CLOCK_DAY_S)

struct event {
    int64_t at_s;
    size_t nth; /* as filed; the late one comes last */
    bool scrub, read, late;
    double log_flow, log_se;
};

struct events {
    struct event *items;
    size_t n, cap;
    int64_t first_given_s; /* 0 none */
};

static void add(struct events *ev, struct event e)
{
    kw_grow(&ev->items, &ev->cap, ev->n + 1, sizeof(*ev->items));
    e.nth = ev->n;
    ev->items[ev->n++] = e;
}

static int add_report(const struct look_report *r, void *arg)
{
    struct event e = {.at_s = r->at_s};

    for (size_t i = 0; i < r->n_obs; i++)
        e.scrub |= strcmp(r->obs[i].kind, "scrubbed") == 0;
    e.read = isfinite(r->first_hour_l) && r->first_hour_l > 0;
    if (r->id == 0 || r->test || (!e.scrub && !e.read))
        return 0;
    if (e.read) {
        e.log_flow = log(r->first_hour_l);
        e.log_se = isfinite(r->log_se) ? r->log_se : 0;
    }
    add(arg, e);
    return 0;
}

static int add_handover(const struct look_handover *h, void *arg)
{
    struct events *ev = arg;

    if (ev->first_given_s == 0 || h->given_s < ev->first_given_s)
        ev->first_given_s = h->given_s;
    return 0;
}

static int by_time(const void *a, const void *b)
{
    const struct event *x = a, *y = b;

    if (x->at_s != y->at_s)
        return x->at_s < y->at_s ? -1 : 1;
    return x->nth < y->nth ? -1 : x->nth > y->nth;
}

static int gather(struct ledger *lg, const struct ledger_pot *pot,
                  const struct flow_late *late, struct events *ev)
{
    const struct look_of of = {.by = LOOK_POT, .id = pot->key};
    int err = look_reports(lg, &of, add_report, ev);

    if (err == 0)
        err = look_handovers(lg, &of, add_handover, ev);
    if (err < 0)
        return err;
    add(ev,
        (struct event){.at_s = late->at_s,
                       .scrub = late->scrubbed,
                       .read = late->reading != NULL,
                       .late = true,
                       .log_flow = late->reading ? late->reading->log_flow : 0,
                       .log_se = late->reading ? late->reading->log_se : 0});
    qsort(ev->items, ev->n, sizeof(*ev->items), by_time);
    return 0;
}

/* One event. The decision of the late one is kept, those of others stand. */
static int pass(struct flow_case *c, struct ledger *lg,
                const struct ledger_pot *pot, const struct event *e)
{
    const struct flow_case was = *c;
    const struct drift_event reading = {.at_days = (double)e->at_s / DAY_S,
                                        .log_flow = e->log_flow,
                                        .log_se = e->log_se};
    int err;

    if (e->scrub)
        flow_scrubbed(c, e->at_s);
    if (!e->read)
        return 0;
    if ((err = flow_read(c, lg, pot, &reading)) < 0)
        return err;
    if (e->late) {
        c->decision.why |= POTFLOW_OLD;
    } else {
        c->decision = was.decision;
        c->decided = was.decided;
    }
    return 0;
}

int flow_read_late(struct flow_case *c, struct ledger *lg,
                   const struct ledger_pot *pot, const struct flow_late *late)
{
    struct events ev = {.n = 0};
    struct ledger_pot then = *pot;
    int64_t from_s = late->at_s;
    int err = gather(lg, pot, late, &ev);

    if (err == 0) {
        from_s = ev.items[0].at_s;
        if (ev.first_given_s != 0 && ev.first_given_s < from_s)
            from_s = ev.first_given_s;
        if (ev.first_given_s != 0) /* it washed in then */
            then.given_s = ev.first_given_s;
        flow_restart(c, from_s);
    }
    for (size_t i = 0; err == 0 && i < ev.n; i++)
        err = pass(c, lg, &then, &ev.items[i]);
    kw_free(ev.items);
    return err;
}
