/*
 * service_relief.c - how fast a carrier gets texts, and what happens when it
 * stays down: its waiting texts go to the one that stands in for it.
 *
 * Down is a carrier that takes nothing while something is due for it, or
 * whose tries have failed one after the other, for take_over_s. What it still
 * has in hand stays with it, so no text is with two. A new text is still
 * tried by it once, which finds out when it is up again.
 */
#include "command/service.h"

#include "base/clock.h"
#include "base/log.h"

#define MOVE_EVERY_S 2

/* ---- rate ---- */

int relief_allowed(struct outbox *box)
{
    int64_t now_us = clock_monotonic_us();
    double a_second = box->conf->per_minute / 60.0;
    double most = a_second > 1 ? a_second : 1;

    if (box->conf->per_minute == 0)
        return SERVICE_CLAIM_MOST;
    if (box->allowed_us == 0)
        box->allowance = most;
    else
        box->allowance += a_second * (double)(now_us - box->allowed_us) / 1e6;
    box->allowed_us = now_us;
    if (box->allowance > most)
        box->allowance = most;
    return (int)box->allowance;
}

void relief_used(struct outbox *box, int n)
{
    box->allowance -= n;
}

/* ---- standing in ---- */

void relief_note(struct outbox *box, bool answered)
{
    if (!answered && box->failing_s == 0)
        box->failing_s = clock_now_s();
    if (!answered)
        return;
    if (box->stood_in)
        log_info("'%s' sends again", box->carrier->name);
    box->failing_s = 0;
    box->stood_in = false;
}

static bool is_down(const struct outbox *box, int64_t now_s)
{
    int64_t since = now_s - box->service->conf->take_over_s;

    return (box->failing_s != 0 && box->failing_s <= since) ||
           (box->shut_s != 0 && box->shut_s <= since);
}

struct move {
    struct outbox *box;
    struct traffic_move what;
    int n;
};

static int run_move(struct ledger *lg, void *arg)
{
    struct move *m = arg;

    m->n = traffic_take_over(lg, &m->what);
    return m->n < 0 ? m->n : 0;
}

static void done_move(void *arg, int err)
{
    struct move *m = arg;
    struct outbox *box = m->box;

    box->moving = false;
    box->wanted = true;
    if (err == 0 && m->n > 0) {
        box->next_due_s = 0; /* until the next claim tells */
        box->stand_in->wanted = true;
        if (!box->stood_in)
            log_warn("'%s' is down: '%s' takes over what waits",
                     box->carrier->name, box->stand_in->carrier->name);
        box->stood_in = true;
    }
    kw_free(m);
}

void relief_turn(struct outbox *box)
{
    struct service *s = box->service;
    struct writer_job job = {.run = run_move, .done = done_move};
    int64_t now_s = clock_now_s();
    bool due =
        box->wanted || (box->next_due_s != 0 && box->next_due_s <= now_s);
    struct move *m;

    if (box->carrier->room > 0 || box->in_hand > 0)
        box->shut_s = 0;
    else if (box->shut_s == 0 && due)
        box->shut_s = now_s;
    if (box->stand_in == NULL || s->stopping || box->moving || box->claiming ||
        !is_down(box, now_s) || is_down(box->stand_in, now_s))
        return;
    if (box->next_due_s == 0 && box->shut_s == 0)
        return; /* nothing waits */
    if (now_s - box->moved_s < MOVE_EVERY_S && now_s >= box->moved_s)
        return;
    box->moved_s = now_s;
    m = kw_malloc(sizeof(*m));
    *m = (struct move){.box = box,
                       .what = {.from = box->carrier->name,
                                .to = box->stand_in->carrier->name,
                                .now_s = now_s,
                                .untried_too = box->shut_s != 0}};
    job.arg = m;
    if (writer_submit(s->writer, &job) < 0)
        kw_free(m);
    else
        box->moving = true;
}
