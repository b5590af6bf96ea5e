#ifndef KW_DESK_H
#define KW_DESK_H
/*
 * desk.h - what a meaning from a sender leads to: what is filed, answered,
 * asked back, alerted. Everything of one text happens inside the caller's
 * transaction. A desk is constant once open, but for the reading scratch:
 * one desk for each thread that takes texts.
 */
#include "base/config.h"
#include "desk/reply.h"
#include "ledger/ledger.h"
#include "reader/reader.h"

struct desk;

struct desk_text {       /* a text as a carrier hands it over */
    const char *carrier; /* its name in the configuration; "console" */
    const char *ref;     /* the carrier's id, or NULL */
    const char *twin;    /* by which it is known beside ref, or NULL */
    const char *from;    /* number as it came, or a name; not "" */
    const char *to;      /* or NULL */
    const char *text;
    size_t len;
    int64_t at_s;          /* received */
    int64_t sent_s;        /* claimed, 0 none */
    const char *answer_by; /* carrier of the answer; NULL: the same */
    const char *in_hand;   /* the answer goes back by the way the text came as
                              soon as it is committed, so it is SENT with this
                              note; NULL: it waits in the outbox */
    bool unfinished;       /* a menu that was cut off: asked about, not filed */
    bool quiet; /* filed afterwards from a notebook: nobody is texted */
};

struct desk_answer {
    int64_t text_id;
    bool repeat;                /* came before; the answer is the earlier one */
    char body[LEDGER_BODY_CAP]; /* "" when nothing is said */
    int64_t outbox_id;          /* of the answer, 0 none */
    enum reader_outcome outcome;
    bool danger; /* it told of a danger sign */
    bool scan;   /* something failed: a breakage scan is due */
};

/* Builds reader, replies and rules from the configuration. */
int desk_open(const struct config *conf, struct fault_list *faults,
              struct desk **out);
/*
 * The same from the files themselves, so that all their faults are found.
 */
int desk_open_files(const struct config *conf, struct fault_list *faults,
                    struct desk **out);
/* What was wrong with the image of the words, so that the files had to be
 * read; NULL when it served. */
const char *desk_image_wrong(const struct desk *d);
void desk_close(struct desk *d);
const struct reader *desk_reader(const struct desk *d);
const struct replies *desk_replies(const struct desk *d);
const struct serial_layout *desk_layout(const struct desk *d);

/*
 * The whole way of one text: kept, read, filed or asked, alerts raised,
 * answer in the outbox under in->carrier. Inside the caller's savepoint.
 * 0, or a ledger error: then the caller undoes and acknowledges nothing.
 */
int desk_take(struct desk *d, struct ledger *lg, const struct desk_text *in,
              struct desk_answer *out);

/* The number as the ledger keeps it: national prefix -> E.164. */
void desk_number(const struct config *conf, const char *raw, char *dst,
                 size_t cap);

/*
 * The breakage scan. Looking (read-only connection, any thread) and acting
 * (in a transaction) are apart, so that a long look blocks no intake.
 */
struct desk_findings;
struct batch_watch; /* desk/batch_watch.h */
/* With a watch of the caller's, which goes on from where it was. */
int desk_watch_look(struct batch_watch *w, const struct config *conf,
                    struct ledger *reading, int64_t now_s,
                    struct desk_findings **out);
/* The same, all of it afresh. */
int desk_scan_look(const struct config *conf, struct ledger *reading,
                   int64_t now_s, struct desk_findings **out);
int desk_scan_act(struct desk *d, struct ledger *lg, int64_t now_s,
                  const struct desk_findings *f, int *raised);
void desk_findings_free(struct desk_findings *f);

/*
 * What is due by the clock: the digest, reminders to measure again, words
 * that have been kept long enough. In a transaction. *next_s: when to come
 * again.
 */
int desk_tick(struct desk *d, struct ledger *lg, int64_t now_s,
              int64_t *next_s);

/*
 * Before texts are claimed: fills in what holds them back, quiet hours and
 * the day's ceiling; tells the coordinators when it draws near. In a
 * transaction.
 */
int desk_hold(struct desk *d, struct ledger *lg, struct ledger_claim *c);
/* Tells the coordinators, once a day, that the carrier's card has little credit
 * left. In a transaction. */
int desk_credit_low(struct desk *d, struct ledger *lg, int64_t now_s,
                    const char *carrier, double amount);
/* When the quiet hours end that now_s lies in; 0 outside of them. */
int64_t desk_quiet_until(const struct config *conf, int64_t now_s);

/* Puts the coordinators of the configuration into the ledger. At start. */
int desk_people(const struct desk *d, struct ledger *lg);
#endif
