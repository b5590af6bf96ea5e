#ifndef KW_EXPOSURE_H
#define KW_EXPOSURE_H
/*
 * exposure.h - how long pots were at risk, for the breakage scan: every time
 * in a home, streamed from the rows of the pots. Ages count from given_s.
 */
#include "ledger/ledger.h"

struct ledger_exposure {
    int64_t batch_id, pot_key;
    int64_t given_s; /* handed over */
    int64_t ended_s; /* came back or was handed on; 0: it is there */
    /* First reported failed, in this home or after it was over; 0: not. Never
       before given_s: a hand-over may be written down late. */
    int64_t failed_s;
    bool first; /* the pot's first time out */
};

/* A negative return of f stops and is returned. */
int ledger_exposure_each(struct ledger *lg,
                         int (*f)(const struct ledger_exposure *, void *),
                         void *arg);
#endif
