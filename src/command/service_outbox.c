/*
 * service_outbox.c - the pump between the outbox and the carriers.
 *
 *   WAITING --claim job--> FLYING --carrier--> settle() --settle job--> SENT,
 *      ^------------------- again, with back-off ---------------+  FAILED …
 *
 * Invariants: (1) a text is with a carrier only after the commit that marked
 * it FLYING; (2) it is in `flights` from then until it is settled, so at most
 * one copy of it is in hand; (3) what is settled stays in `settles` until a
 * commit holds it.
 */
#include "command/service.h"

#include "base/clock.h"
#include "base/log.h"
#include "carrier/retry.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct claim {
    struct outbox *box;
    int64_t now_s, next_due_s;
    int most, n;
    struct ledger_out rows[SERVICE_CLAIM_MOST];
};

static void pump(struct outbox *box);

void outbox_add(struct service *s, struct carrier *c,
                const struct config_carrier *conf)
{
    s->outboxes[s->n_outboxes++] = (struct outbox){
        .service = s, .carrier = c, .conf = conf, .wanted = true};
}

void outbox_pair(struct service *s)
{
    for (size_t i = 0; i < s->n_outboxes; i++) {
        struct outbox *box = &s->outboxes[i];

        for (size_t k = 0; k < s->n_outboxes; k++) {
            struct outbox *other = &s->outboxes[k];

            if (strcmp(other->carrier->name, box->conf->stand_in) == 0)
                box->stand_in = other;
            if (k != i && box->conf->group[0] != '\0' &&
                strcmp(other->conf->group, box->conf->group) == 0)
                box->group[box->n_group++] = other;
        }
    }
}

int outbox_recover(struct service *s, struct ledger *lg)
{
    for (size_t i = 0; i < s->n_outboxes; i++) {
        const struct carrier *c = s->outboxes[i].carrier;
        int n = ledger_out_recover(lg, c->name, c->repeat_safe);

        if (n < 0)
            return n;
        if (n > 0)
            log_warn("%d text(s) were on their way by '%s' when the service "
                     "ended: %s",
                     n, c->name,
                     c->repeat_safe ? "sent again with the same id"
                                    : "perhaps sent; danger is sent again, "
                                      "the rest is not");
    }
    return 0;
}

/* ---- claiming ---- */

/* When the next one of that carrier is due, and later_s after it. */
static int due_of(struct ledger *lg, const struct outbox *box, int later_s,
                  int64_t *next_due_s)
{
    int64_t due_s;
    int err = ledger_out_next_due(lg, box->carrier->name, &due_s);

    if (err < 0)
        return err == KW_ENOENT ? 0 : err;
    if (*next_due_s == 0 || due_s + later_s < *next_due_s)
        *next_due_s = due_s + later_s;
    return 0;
}

static int run_claim(struct ledger *lg, void *arg)
{
    struct claim *c = arg;
    const struct outbox *box = c->box;
    struct ledger_claim by = {.carrier = box->carrier->name,
                              .now_s = c->now_s,
                              .others_due_s = c->now_s - SERVICE_SHARE_S};
    int err = desk_hold(box->service->desk, lg, &by);

    if (err < 0)
        return err;
    for (int i = 0; i < box->n_group; i++)
        by.others[by.n_others++] = box->group[i]->carrier->name;
    c->n = ledger_out_claim_within(lg, &by, c->rows, c->most);
    if (c->n < 0)
        return c->n;
    c->next_due_s = 0;
    err = due_of(lg, box, 0, &c->next_due_s);
    for (int i = 0; err == 0 && i < box->n_group; i++)
        err = due_of(lg, box->group[i], SERVICE_SHARE_S, &c->next_due_s);
    return err;
}

static void add_flight(struct outbox *box, const struct ledger_out *o)
{
    struct service *s = box->service;

    box->in_hand++;
    kw_grow(&s->flights, &s->cap_flights, s->n_flights + 1,
            sizeof(*s->flights));
    s->flights[s->n_flights++] =
        (struct flight){.out_id = o->id, .tries = o->tries, .box = box};
}

static void done_claim(void *arg, int err)
{
    struct claim *c = arg;
    struct outbox *box = c->box;

    box->claiming = false;
    if (err < 0) {
        box->wanted = true; /* at the next turn */
        kw_free(c);
        return;
    }
    box->next_due_s = c->next_due_s;
    for (int i = 0; i < c->n; i++)
        add_flight(box, &c->rows[i]);
    relief_used(box, c->n);
    for (int i = 0; i < c->n; i++)
        box->carrier->send(box->carrier, &c->rows[i]);
    if (c->n == c->most)
        box->wanted = true;
    kw_free(c);
    if (box->wanted)
        pump(box);
}

static void pump(struct outbox *box)
{
    struct service *s = box->service;
    struct writer_job job = {.run = run_claim, .done = done_claim};
    struct claim *c;
    int room = box->carrier->room;

    if (s->stopping || box->claiming || box->moving || room <= 0)
        return;
    if (room > relief_allowed(box))
        room = relief_allowed(box);
    if (room <= 0)
        return; /* stays wanted, each turn allows some more */
    c = kw_malloc(sizeof(*c));
    c->box = box;
    c->now_s = clock_now_s();
    c->most = room < SERVICE_CLAIM_MOST ? room : SERVICE_CLAIM_MOST;
    job.arg = c;
    if (writer_submit(s->writer, &job) < 0) {
        kw_free(c);
        return;
    }
    box->claiming = true;
    box->wanted = false;
}

void outbox_pump_all(struct service *s)
{
    for (size_t i = 0; i < s->n_outboxes; i++) {
        s->outboxes[i].wanted = true;
        pump(&s->outboxes[i]);
    }
}

/* ---- settling ---- */

static void add_settlement(struct settle_list *list,
                           const struct settlement *one)
{
    kw_grow(&list->items, &list->cap, list->n + 1, sizeof(*list->items));
    list->items[list->n++] = *one;
}

struct settle_job {
    struct service *service;
    struct settle_list list;
    int64_t now_s;
};

static int settle_one(struct ledger *lg, const struct settlement *one,
                      int64_t now_s)
{
    struct traffic_far far = {.carrier = one->carrier,
                              .far_id = one->far_id,
                              .out_id = one->out_id,
                              .at_s = now_s};
    int err;

    if (one->far_id != NULL)
        return traffic_far_put(lg, &far);
    if (one->state == LEDGER_WAITING) {
        err = one->carrier == NULL
                  ? 0
                  : ledger_out_hand_on(lg, one->out_id, one->carrier);
        return err < 0
                   ? err
                   : ledger_out_again(lg, one->out_id, one->due_s, one->note);
    }
    err = ledger_out_settle(lg, one->out_id, one->state, now_s, one->note);
    if (err == 0 && one->state != LEDGER_FAILED)
        err = traffic_conclude(lg, one->out_id, now_s);
    return err;
}

static int run_settle(struct ledger *lg, void *arg)
{
    struct settle_job *j = arg;

    for (size_t i = 0; i < j->list.n; i++) {
        int err = settle_one(lg, &j->list.items[i], j->now_s);

        if (err < 0 && err != KW_ENOENT)
            return err;
    }
    return 0;
}

static void flush_settles(struct service *s);

/* What could not be kept comes before what has been added since. */
static void again_first(struct service *s, const struct settle_list *before)
{
    struct settle_list all = {0};

    for (size_t i = 0; i < before->n; i++)
        add_settlement(&all, &before->items[i]);
    for (size_t i = 0; i < s->settles.n; i++)
        add_settlement(&all, &s->settles.items[i]);
    kw_free(s->settles.items);
    s->settles = all;
}

static void done_settle(void *arg, int err)
{
    struct settle_job *j = arg;
    struct service *s = j->service;

    s->settling = false;
    if (err < 0)
        again_first(s, &j->list);
    for (size_t i = 0; err == 0 && i < j->list.n; i++)
        kw_free(j->list.items[i].far_id);
    kw_free(j->list.items);
    kw_free(j);
    if (err < 0)
        return; /* at the next turn */
    flush_settles(s);
    outbox_pump_all(s);
}

static void flush_settles(struct service *s)
{
    struct writer_job job = {.run = run_settle, .done = done_settle};
    struct settle_job *j;

    if (s->settling || s->settles.n == 0)
        return;
    j = kw_malloc(sizeof(*j));
    *j = (struct settle_job){
        .service = s, .list = s->settles, .now_s = clock_now_s()};
    job.arg = j;
    if (writer_submit(s->writer, &job) < 0) {
        kw_free(j);
        return;
    }
    s->settles = (struct settle_list){0};
    s->settling = true;
}

/* Of its group, another that takes texts now; NULL none. */
static const struct outbox *next_of_group(const struct outbox *box)
{
    for (int i = 0; i < box->n_group; i++) {
        const struct outbox *other = box->group[i];

        if (other->carrier->room > 0 && other->failing_s == 0)
            return other;
    }
    return NULL;
}

/* How often it was tried; 0 when it is in no carrier's hand. */
static int end_flight(struct service *s, int64_t out_id, bool answered,
                      struct outbox **box)
{
    for (size_t i = 0; i < s->n_flights; i++) {
        int tries = s->flights[i].tries;

        if (s->flights[i].out_id != out_id)
            continue;
        *box = s->flights[i].box;
        (*box)->in_hand--;
        relief_note(*box, answered);
        s->flights[i] = s->flights[--s->n_flights];
        return tries > 0 ? tries : 1;
    }
    return 0;
}

void outbox_settle(struct carrier_host *h, int64_t out_id,
                   enum ledger_send state, int64_t again_s, const char *note)
{
    struct service *s = h->service;
    const struct config *conf = s->conf;
    struct settlement one = {.out_id = out_id, .state = state};
    bool answered = state == LEDGER_SENT || state == LEDGER_FAILED;
    struct outbox *box = NULL;
    int tries = end_flight(s, out_id, answered, &box);
    const struct outbox *other = box == NULL ? NULL : next_of_group(box);

    snprintf(one.note, sizeof(one.note), "%s", note != NULL ? note : "");
    if (state == LEDGER_WAITING && tries > 0 && tries >= conf->tries_most) {
        one.state = LEDGER_FAILED;
        log_warn("gave up message %lld after %d tries: %s", (long long)out_id,
                 tries, one.note);
    } else if (state == LEDGER_WAITING) {
        one.due_s = clock_now_s();
        if (tries > 0)
            one.due_s += retry_delay_s(tries, conf->retry_first_s,
                                       conf->retry_longest_s, arc4random());
        if (one.due_s < again_s)
            one.due_s = again_s;
        if (other != NULL) /* what failed by one is tried by the next */
            one.carrier = other->carrier->name;
    } else if (state == LEDGER_PERHAPS) {
        log_warn("message %lld is perhaps sent, not sent again: %s",
                 (long long)out_id, one.note);
    }
    add_settlement(&s->settles, &one);
    flush_settles(s);
}

void outbox_far_id(struct carrier_host *h, const char *carrier, int64_t out_id,
                   const char *far_id)
{
    struct service *s = h->service;
    struct settlement one = {
        .out_id = out_id, .carrier = carrier, .far_id = kw_strdup(far_id)};

    add_settlement(&s->settles, &one);
}

/* ---- the rest ---- */

void outbox_turn(struct service *s)
{
    int64_t now_s = clock_now_s();

    flush_settles(s);
    for (size_t i = 0; i < s->n_outboxes; i++) {
        struct outbox *box = &s->outboxes[i];

        if (box->next_due_s != 0 && box->next_due_s <= now_s)
            box->wanted = true;
        relief_turn(box);
        if (box->wanted)
            pump(box);
    }
}

bool outbox_idle(const struct service *s)
{
    int64_t now_s = clock_now_s();

    if (s->settling || s->settles.n > 0 || s->n_flights > 0)
        return false;
    for (size_t i = 0; i < s->n_outboxes; i++) {
        const struct outbox *box = &s->outboxes[i];

        if (box->claiming || box->moving || box->wanted ||
            (box->next_due_s != 0 && box->next_due_s <= now_s))
            return false;
        if (box->carrier->busy != NULL && box->carrier->busy(box->carrier))
            return false;
    }
    return true;
}

void outbox_close(struct service *s)
{
    bool settling = s->settling;

    s->settling = true; /* one job for all that is still in hand */
    for (size_t i = 0; i < s->n_outboxes; i++)
        s->outboxes[i].carrier->close(s->outboxes[i].carrier);
    s->n_outboxes = 0;
    s->settling = settling;
    flush_settles(s);
}
