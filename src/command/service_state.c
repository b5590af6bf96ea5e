/*
 * service_state.c - how each carrier does, into the ledger: when it changes,
 * and once a minute so that a reader sees that the service is there.
 */
#include "command/service.h"

#include "base/clock.h"

#include <string.h>

#define STATE_EVERY_S 60
#define STATE_SHUT_S  3 /* a pause of the carrier's own is shorter */

struct state_job {
    struct service *service;
    struct carriers_row rows[CONFIG_CARRIERS_MOST];
    int n;
};

static int run(struct ledger *lg, void *arg)
{
    const struct state_job *j = arg;
    int err = 0;

    for (int i = 0; err == 0 && i < j->n; i++)
        err = carriers_put(lg, &j->rows[i]);
    return err;
}

static void done(void *arg, int err)
{
    struct state_job *j = arg;
    struct service *s = j->service;

    s->stating = false;
    for (size_t i = 0; err < 0 && i < s->n_outboxes; i++)
        s->outboxes[i].shown.at_s = 0; /* at the next turn */
    kw_free(j);
}

/* What the outbox sees of any carrier; some know more of themselves. */
static void look_at(struct outbox *box, int64_t now_s, struct carriers_row *row)
{
    struct carrier *c = box->carrier;

    *row = (struct carriers_row){
        .state = CARRIERS_UP, .at_s = now_s, .signal = -1};
    kw_copy(row->name, sizeof(row->name), c->name, strlen(c->name));
    if (c->room > 0 || box->in_hand > 0)
        box->closed_s = 0;
    else if (box->closed_s == 0)
        box->closed_s = now_s;
    if (box->closed_s != 0 && now_s - box->closed_s >= STATE_SHUT_S) {
        row->state = CARRIERS_DOWN;
        row->since_s = box->closed_s;
    } else if (box->failing_s != 0) {
        row->state = CARRIERS_FAILING;
        row->since_s = box->failing_s;
    }
    if (c->tell != NULL)
        c->tell(c, row);
    if (row->since_s == 0)
        row->since_s =
            box->shown.state == row->state ? box->shown.since_s : now_s;
}

static bool differs(const struct carriers_row *a, const struct carriers_row *b)
{
    return a->state != b->state || strcmp(a->words, b->words) != 0 ||
           a->signal != b->signal || a->used != b->used ||
           a->total != b->total || a->credit_s != b->credit_s;
}

static void write_rows(struct service *s, struct state_job *j)
{
    struct writer_job job = {.run = run, .done = done, .arg = j};

    j->service = s;
    if (j->n > 0 && writer_submit(s->writer, &job) == 0)
        s->stating = true;
    else
        kw_free(j);
}

void state_turn(struct service *s)
{
    int64_t now_s = clock_now_s();
    struct state_job *j;

    if (s->stating || s->stopping)
        return;
    j = kw_calloc(1, sizeof(*j));
    for (size_t i = 0; i < s->n_outboxes; i++) {
        struct outbox *box = &s->outboxes[i];
        struct carriers_row row;

        look_at(box, now_s, &row);
        if (now_s - box->shown.at_s < STATE_EVERY_S &&
            now_s >= box->shown.at_s && !differs(&row, &box->shown))
            continue;
        box->shown = row;
        j->rows[j->n++] = row;
    }
    write_rows(s, j);
}

void state_stop(struct service *s)
{
    int64_t now_s = clock_now_s();
    struct state_job *j;

    if (s->writer == NULL)
        return;
    j = kw_calloc(1, sizeof(*j));
    for (size_t i = 0; i < s->n_outboxes; i++) {
        struct carriers_row *row = &j->rows[j->n++];

        *row = s->outboxes[i].shown;
        kw_copy(row->name, sizeof(row->name), s->outboxes[i].carrier->name,
                strlen(s->outboxes[i].carrier->name));
        row->state = CARRIERS_STOPPED;
        row->since_s = row->at_s = now_s;
        row->words[0] = '\0';
    }
    write_rows(s, j);
}

/* ---- little credit ---- */

struct credit {
    struct service *service;
    const char *carrier;
    double amount;
    int64_t now_s;
};

static int run_credit(struct ledger *lg, void *arg)
{
    const struct credit *c = arg;

    return desk_credit_low(c->service->desk, lg, c->now_s, c->carrier,
                           c->amount);
}

static void done_credit(void *arg, int err)
{
    struct credit *c = arg;

    if (err == 0)
        outbox_pump_all(c->service);
    kw_free(c); /* the log has it, too, and it is asked again tomorrow */
}

void state_credit_low(struct carrier_host *h, const char *carrier,
                      double amount)
{
    struct service *s = h->service;
    struct credit *c = kw_malloc(sizeof(*c));
    struct writer_job job = {.run = run_credit, .done = done_credit, .arg = c};

    *c = (struct credit){.service = s,
                         .carrier = carrier,
                         .amount = amount,
                         .now_s = clock_now_s()};
    if (writer_submit(s->writer, &job) < 0)
        kw_free(c);
}
