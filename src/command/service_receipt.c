/* service_receipt.c - what the far side tells of a text, into the ledger. */
#include "command/service.h"

#include "base/clock.h"
#include "base/log.h"

struct receipt {
    struct service *service;
    char *carrier, *far_id, *why;
    struct traffic_far what;
    void (*kept)(void *arg, int err);
    void *arg;
    bool unmatched;
};

static int run(struct ledger *lg, void *arg)
{
    struct receipt *r = arg;
    int err = traffic_receipt_put(lg, &r->what);

    r->unmatched = err == KW_ENOENT;
    return r->unmatched ? 0 : err;
}

static void release(struct receipt *r)
{
    kw_free(r->carrier);
    kw_free(r->far_id);
    kw_free(r->why);
    kw_free(r);
}

static void done(void *arg, int err)
{
    struct receipt *r = arg;

    r->service->taking--;
    if (err < 0)
        log_warn("failed to keep a receipt that came by '%s': %s; it has to "
                 "come again",
                 r->carrier, kw_err_text(err));
    else if (r->unmatched)
        log_debug("a receipt of '%s' is for no text yet", r->carrier);
    if (r->kept != NULL)
        r->kept(r->arg, err);
    release(r);
}

int receipt_take(struct carrier_host *h, const struct carrier_receipt *given)
{
    struct service *s = h->service;
    struct receipt *r = kw_calloc(1, sizeof(*r));
    struct writer_job job = {.run = run, .done = done, .arg = r};
    int err;

    r->service = s;
    r->carrier = kw_strdup(given->carrier);
    r->far_id = kw_strdup(given->far_id);
    r->why = kw_strdup(given->why != NULL ? given->why : "");
    r->kept = given->kept;
    r->arg = given->arg;
    r->what = (struct traffic_far){.carrier = r->carrier,
                                   .far_id = r->far_id,
                                   .state = given->state,
                                   .why = r->why,
                                   .at_s = clock_now_s()};
    err = writer_submit(s->writer, &job);
    if (err < 0)
        release(r);
    else
        s->taking++;
    return err;
}
