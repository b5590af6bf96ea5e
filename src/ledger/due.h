#ifndef KW_DUE_H
#define KW_DUE_H
/*
 * due.h - what the desk needs to know by the clock: whom to remind, what
 * the digest says, who holds pots of a batch. Nothing here writes.
 */
#include "ledger/ledger.h"

/* Ids of the phones of that role; returns how many, writes up to most. */
int due_phones_of_role(struct ledger *lg, enum ledger_role role, int64_t *ids,
                       int most);

/* Where a pot was at a time: texts are also filed long afterwards. */
struct due_where {
    int64_t home_id, phone_id, place_id, given_s, handover_id; /* 0 none */
};
/* KW_ENOENT when it was in no home. */
int due_where_was(struct ledger *lg, int64_t pot_key, int64_t at_s,
                  struct due_where *out);
struct due_home {
    struct ledger_home home; /* the phone's first; id 0 none */
    int64_t keys[8];         /* pots then in its homes, longest there first */
    int n_keys;              /* as many as there were */
};
int due_home_then(struct ledger *lg, int64_t phone_id, int64_t at_s,
                  struct due_home *out);

struct due_period {
    int64_t from_s, to_s;     /* [from, to) */
    const char *const *kinds; /* names of what was seen, at most 16 */
    size_t n_kinds;
};

struct due_pot {
    int64_t key;
    char serial[LEDGER_SERIAL_CAP];
    int64_t home_id, phone_id; /* 0 none */
    bool stopped;              /* its phone, or its home agreed to no texts */
    int64_t since_s;           /* the reading or failure */
    char home[LEDGER_NAME_CAP], place[LEDGER_NAME_CAP];
    char phone[LEDGER_PHONE_CAP];
};
/* Returns a negative value to stop, which is then returned. */
typedef int due_pot_f(const struct due_pot *, void *);

/*
 * Pots in homes whose newest reading was low, was made in [from_s, to_s)
 * and was not followed by another. Not those that failed, were recalled or
 * are to be replaced: nobody is asked to go on with them.
 */
int due_remeasure_each(struct ledger *lg, const struct due_period *p,
                       due_pot_f *f, void *arg);
/* Pots in homes that were reported failed or recalled, or of which an alert
 * of low flow or too fast stands; the longest known first. */
int due_replace_each(struct ledger *lg, due_pot_f *f, void *arg);
/* Pots of the batch that are in homes, by place and home. */
int due_holders_each(struct ledger *lg, int64_t batch_id, due_pot_f *f,
                     void *arg);

struct due_counts { /* of texts received in [from_s, to_s) */
    int64_t texts, filed, asked, commands, not_report, unread;
    int64_t reports, ill, under5, danger; /* ill: people */
    int64_t kinds[16]; /* by the caller's order of kind names */
    int64_t failed;    /* pots first reported failed then */
    int64_t measured, low, fast;
    /* as things stand now */
    int64_t open, seen, replace, waiting, lost;
};
int due_count(struct ledger *lg, const struct due_period *p,
              struct due_counts *out);
#endif
