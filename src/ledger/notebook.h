#ifndef KW_NOTEBOOK_H
#define KW_NOTEBOOK_H
/*
 * notebook.h - what a workshop and a programme write down, put by natural
 * keys: the same row put twice changes nothing. Find first (the find sets
 * the id), change what was said, then put; id 0 stands for a new one. All
 * inside the caller's transaction.
 */
#include "ledger/ledger.h"

enum ledger_change { LEDGER_SAME, LEDGER_CHANGED, LEDGER_NEW };

/* Each by its name or code. */
int ledger_place_put(struct ledger *lg, struct ledger_place *p,
                     enum ledger_change *what);
int ledger_home_put(struct ledger *lg, struct ledger_home *h,
                    enum ledger_change *what);
/* Mix, firing and silver with it; the sums of tests and pots are not read. */
int ledger_batch_put(struct ledger *lg, struct ledger_batch *b,
                     enum ledger_change *what);

/*
 * A pot as the notebook knows it: serial, batch, mould, scrapped, shelf; known
 * tells that ledger_pot_get found it. A new one takes over the reports that
 * came before it was written down, and with them its failure. The batch of a
 * known pot cannot change.
 */
int ledger_pot_put(struct ledger *lg, const struct ledger_pot *p, bool known,
                   enum ledger_change *what);

struct ledger_test {
    int64_t batch_id, pot_key; /* pot_key 0: of some pot of the batch */
    int64_t tested_s;          /* 0 not known */
    double litres, minutes;    /* as read */
    double water_degc;         /* NaN not known */
    double first_hour_l;       /* at 25 degC */
    bool accepted;
    int nth; /* 1 …: which of the like readings of a batch on that day */
};
/*
 * By pot and time; without a pot by batch, time, reading and nth, so such a
 * test is new or the same.
 */
/*
 * Whether the pot's latest test of its own kept it back, and the litres of the
 * first hour that it gave. KW_ENOENT when the pot was never tested by itself.
 */
int ledger_test_kept_back(struct ledger *lg, const struct ledger_pot *pot,
                          bool *kept_back, double *first_hour_l);
int ledger_test_put(struct ledger *lg, const struct ledger_test *t,
                    enum ledger_change *what);

struct ledger_handover {
    int64_t id, pot_key, home_id, given_s;
    int64_t ended_s; /* 0 it is there */
    char reason[LEDGER_NAME_CAP];
};
/* By pot and the time given; KW_ENOENT when there is none. */
int ledger_handover_find(struct ledger *lg, int64_t pot_key, int64_t given_s,
                         struct ledger_handover *out);
/* After the last one of a pot call ledger_pot_settle. */
int ledger_handover_note(struct ledger *lg, struct ledger_handover *h,
                         enum ledger_change *what);
/*
 * Puts the hand-overs of a pot in order: one that has no end ends where the
 * next begins; the pot's row follows the latest. KW_EINVAL when two overlap:
 * *clash_s is then where the later one began.
 */
int ledger_pot_settle(struct ledger *lg, int64_t pot_key, int64_t *clash_s);

/* Counts the sums of a batch afresh: tests, pots, out, failed. */
int ledger_batch_sum(struct ledger *lg, int64_t batch_id);
#endif
