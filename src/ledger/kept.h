#ifndef KW_KEPT_H
#define KW_KEPT_H
/*
 * kept.h - inside the ledger only: what a handle holds in memory so that not
 * every text asks for it again. All of it is bounded, and used only inside a
 * transaction that writes, where nobody else can change the file:
 *
 *   for one transaction     the phone and the head of the pot last read;
 *                           segments counted and not yet written
 *   as long as nobody else  temperatures of the water, the id of the last
 *   writes to the file      text, ids of phrases and of rules for flows
 *
 * A statement of this handle that writes to a table drops what is kept of
 * it, by its words (kept_drops, kept_forget); what is undone drops all.
 */
#include "ledger/ledger.h"

#define KEPT_WATERS  256 /* places and months */
#define KEPT_PHRASES 64
#define KEPT_RULES   64
#define KEPT_NUMBERS 5 /* of a rule */

struct kept_water {
    int64_t place_id; /* 0 none */
    int month;
    double degc; /* NaN: it is known that there is none */
};

struct kept_phrase {
    int64_t id;  /* 0 none */
    char *words; /* owned; stays when the id goes */
};

struct kept_rule {
    int64_t id; /* 0 none */
    double numbers[KEPT_NUMBERS];
};

struct kept_segments { /* of one local day, still to be added */
    int64_t day_s;     /* its midnight */
    int64_t received[LEDGER_ROLES], sent[LEDGER_ROLES];
    bool any;
};

struct kept {
    int64_t version; /* of the file when this was read */
    struct ledger_phone phone;
    struct { /* of a pot: what a report of it changes; key 0 none */
        int64_t key, last_report_id, last_flow_s;
    } head;
    struct kept_water waters[KEPT_WATERS];
    int64_t text_id; /* the last one given, 0 not known */
    struct kept_phrase phrases[KEPT_PHRASES];
    struct kept_rule rules[KEPT_RULES];
    struct kept_segments segments, at_savepoint;
};

/* What a statement drops when it runs: bits, from its words. */
unsigned kept_drops(const char *sql, bool read_only);
void kept_drop(struct kept *k, unsigned drops);

/* At the begin: version is that of the file now. */
void kept_begin(struct kept *k, int64_t version);
void kept_savepoint(struct kept *k);
void kept_undo(struct kept *k);     /* to the savepoint */
void kept_rollback(struct kept *k); /* all of it */

/* Where the temperature of that place and month has its room. */
struct kept_water *kept_water(struct kept *k, int64_t place_id, int month);
/* Likewise of a phrase, and of a rule. */
struct kept_phrase *kept_phrase(struct kept *k, const char *words);
void kept_phrase_put(struct kept_phrase *p, const char *words, int64_t id);
struct kept_rule *kept_rule(struct kept *k, const double *numbers);

void kept_release(struct kept *k);
#endif
