#ifndef KW_ASKING_H
#define KW_ASKING_H
/*
 * asking.h - what a phone was asked last and has not answered yet. One
 * question a phone; a new one takes its place.
 */
#include "ledger/ledger.h"

struct asking {
    int64_t phone_id, text_id; /* the text that led to the question */
    int64_t at_s;
    char why[LEDGER_NAME_CAP];   /* what is missing, as in texts_in */
    char about[LEDGER_NAME_CAP]; /* serial or batch, "" none */
    char *body;                  /* read only: that text, owned; NULL dropped */
    size_t len;
};

int asking_put(struct ledger *lg, const struct asking *a);
/* KW_ENOENT: nothing is asked. a->body is kw_free'd by the caller. */
int asking_get(struct ledger *lg, int64_t phone_id, struct asking *a);
int asking_forget(struct ledger *lg, int64_t phone_id);
#endif
