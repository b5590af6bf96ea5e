#ifndef KW_CARRIERS_H
#define KW_CARRIERS_H
/*
 * carriers.h - how each carrier does. The service writes it down whenever it
 * changes and once a minute, so that another process can show it.
 */
#include "ledger/ledger.h"

#define CARRIERS_WORDS_CAP 200
#define CARRIERS_FRESH_S   150 /* an older state: the service is not there */

enum carriers_state {
    CARRIERS_UNKNOWN,
    CARRIERS_UP,
    CARRIERS_DOWN,    /* takes nothing */
    CARRIERS_FAILING, /* takes texts, and none has gone since */
    CARRIERS_STOPPED, /* with the service */
    CARRIERS_STATES
};
const char *carriers_state_name(enum carriers_state s);

struct carriers_row {
    char name[LEDGER_NAME_CAP];
    enum carriers_state state;
    char words[CARRIERS_WORDS_CAP];  /* what keeps it, or what a person does */
    int64_t since_s;                 /* of the state */
    int64_t at_s;                    /* when this was written; 0 never */
    int signal;                      /* of a modem, 0..31; -1 not known */
    int used, total;                 /* places in a modem's store; 0, 0 none */
    char credit[CARRIERS_WORDS_CAP]; /* what the network said of it, "" */
    int64_t credit_s;                /* when */
    bool credit_low;
    /* Read only, of the outbox. */
    int64_t waiting, waiting_since_s, flying;
};
int carriers_put(struct ledger *lg, const struct carriers_row *c);
/* Those that have a state or texts in the outbox, by name. */
int carriers_each(struct ledger *lg,
                  int (*f)(const struct carriers_row *, void *), void *arg);
#endif
