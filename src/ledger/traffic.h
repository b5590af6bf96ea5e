#ifndef KW_TRAFFIC_H
#define KW_TRAFFIC_H
/*
 * traffic.h - what the line costs and what became of it: segments a day by
 * role, receipts of the far side, texts that one carrier takes over from
 * another. All inside the caller's transaction.
 */
#include "ledger/ledger.h"

/* ---- segments, a local day and role ---- */
struct traffic_day {
    int64_t received[LEDGER_ROLES], sent[LEDGER_ROLES];
};
/* A text came over the air: segments of it (septet_measure). */
int traffic_received(struct ledger *lg, int64_t at_s, enum ledger_role role,
                     size_t segments);
/* The day that began at that local midnight; zeros when nothing went. */
int traffic_of_day(struct ledger *lg, int64_t midnight_s,
                   struct traffic_day *out);
int64_t traffic_sum(const int64_t of_roles[LEDGER_ROLES]);

/* ---- receipts: the far side tells of a part that it took ---- */
enum traffic_receipt {
    TRAFFIC_NO_RECEIPT,
    TRAFFIC_UNDER_WAY,
    TRAFFIC_DELIVERED,
    TRAFFIC_NOT_DELIVERED,
    TRAFFIC_RECEIPTS
};
struct traffic_far {
    const char *carrier;
    const char *far_id; /* the far side's id of one part */
    int64_t out_id;     /* 0 in a receipt */
    enum traffic_receipt state;
    const char *why; /* NOT_DELIVERED: a word or two; NULL none */
    int64_t at_s;
};
/*
 * The far side has given a part of a text that id. A receipt that came at
 * most TRAFFIC_EARLY_S before this is found then; an id given again is the
 * newer text's.
 */
#define TRAFFIC_EARLY_S 3600
int traffic_far_put(struct ledger *lg, const struct traffic_far *f);
/*
 * A receipt. One that is final is not changed by a later one. KW_ENOENT: no
 * text has that id (yet); it is kept all the same.
 */
int traffic_receipt_put(struct ledger *lg, const struct traffic_far *f);
/*
 * What the receipts say of a text that went: SENT with the note "delivered"
 * when all parts are, FAILED with "not delivered: why" when one is not. One
 * that perhaps went is SENT when every segment of it is delivered. Both puts
 * do this; to be called, too, when a text has become SENT or PERHAPS, for its
 * receipts may have been faster.
 */
int traffic_conclude(struct ledger *lg, int64_t out_id, int64_t at_s);
/* By state, of texts that went since; [TRAFFIC_NO_RECEIPT] has none yet. */
int traffic_receipts(struct ledger *lg, int64_t since_s,
                     int64_t counts[TRAFFIC_RECEIPTS]);
/* Receipts since then that belong to no text. */
int traffic_unmatched(struct ledger *lg, int64_t since_s, int64_t *count);
/* The worst of a text's parts; TRAFFIC_NO_RECEIPT when none is known. */
int traffic_receipt_of(struct ledger *lg, int64_t out_id,
                       enum traffic_receipt *state);

/* ---- one carrier for another ---- */
struct traffic_move {
    const char *from, *to;
    int64_t now_s;
    bool untried_too; /* also those that were due and could not be tried */
};
/*
 * Waiting texts whose sending failed (and untried ones that are due) go over;
 * their tries begin anew. What is in flight stays. Returns how many.
 */
int traffic_take_over(struct ledger *lg, const struct traffic_move *m);

/* Texts that were perhaps sent twice, of those that arose since then. */
int traffic_twice(struct ledger *lg, int64_t since_s, int64_t *count);
#endif
