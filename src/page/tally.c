/* tally.c - see tally.h. */
#include "page/tally.h"

#include "base/clock.h"
#include "ledger/exposure.h"

/* The sums of a batch; made when it is met first. NULL: a wild number. */
static struct breakage_batch *batch_of(struct tally *t, int64_t id)
{
    if (id <= 0 || id > TALLY_BATCH_MOST)
        return NULL;
    if ((size_t)id >= t->n_index) {
        kw_grow(&t->index, &t->cap_index, (size_t)id + 1, sizeof(*t->index));
        while (t->n_index <= (size_t)id)
            t->index[t->n_index++] = -1;
    }
    if (t->index[id] < 0) {
        kw_grow(&t->batches, &t->cap, t->n + 1, sizeof(*t->batches));
        t->index[id] = (int32_t)t->n;
        t->batches[t->n++] = (struct breakage_batch){.batch_id = id};
    }
    return &t->batches[t->index[id]];
}

static int add_exposure(const struct ledger_exposure *e, void *arg)
{
    struct tally *t = arg;
    struct breakage_batch *b;

    if (e->given_s > t->now_s)
        return 0;
    if ((b = batch_of(t, e->batch_id)) == NULL)
        return KW_ERANGE;
    breakage_add_stay(b,
                      &(struct breakage_stay){.given_s = e->given_s,
                                              .ended_s = e->ended_s,
                                              .failed_s = e->failed_s,
                                              .first = e->first},
                      t->now_s);
    return 0;
}

int tally_gather(struct ledger *lg, int64_t now_s, struct tally *out)
{
    *out = (struct tally){.now_s = now_s};
    return ledger_exposure_each(lg, add_exposure, out);
}

void tally_release(struct tally *t)
{
    kw_free(t->batches);
    kw_free(t->index);
    *t = (struct tally){0};
}

const struct breakage_batch *tally_find(const struct tally *t, int64_t batch_id)
{
    if (batch_id <= 0 || (size_t)batch_id >= t->n_index ||
        t->index[batch_id] < 0)
        return NULL;
    return &t->batches[t->index[batch_id]];
}
