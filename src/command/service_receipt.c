/* service_receipt.c - the far side's ids and receipts into the ledger. */
#include "command/service.h"

#include "base/clock.h"
#include "base/log.h"

struct receipt {
    char *carrier, *far_id;
    struct traffic_far what;
};

static int run_far_id(struct ledger *lg, void *arg)
{
    return traffic_far_put(lg, &((struct receipt *)arg)->what);
}

static int run_receipt(struct ledger *lg, void *arg)
{
    int err = traffic_receipt_put(lg, &((struct receipt *)arg)->what);

    return err == KW_ENOENT ? 0 : err;
}

static void done(void *arg, int err)
{
    struct receipt *r = arg;

    if (err < 0)
        log_warn("a receipt of '%s' was lost: %s", r->carrier,
                 kw_err_text(err));
    kw_free(r->carrier);
    kw_free(r->far_id);
    kw_free(r);
}

static void submit(struct service *s, struct receipt *r,
                   int (*run)(struct ledger *, void *))
{
    struct writer_job job = {.run = run, .done = done, .arg = r};
    int err = writer_submit(s->writer, &job);

    if (err < 0)
        done(r, err);
}

static struct receipt *make(const char *carrier, const char *far_id)
{
    struct receipt *r = kw_calloc(1, sizeof(*r));

    r->carrier = kw_strdup(carrier);
    r->far_id = kw_strdup(far_id);
    r->what = (struct traffic_far){
        .carrier = r->carrier, .far_id = r->far_id, .at_s = clock_now_s()};
    return r;
}

void receipt_far_id(struct carrier_host *h, const char *carrier, int64_t out_id,
                    const char *far_id)
{
    struct receipt *r = make(carrier, far_id);

    r->what.out_id = out_id;
    submit(h->service, r, run_far_id);
}

void receipt_take(struct carrier_host *h, const char *carrier,
                  const char *far_id, enum traffic_receipt state)
{
    struct receipt *r = make(carrier, far_id);

    r->what.state = state;
    submit(h->service, r, run_receipt);
}
