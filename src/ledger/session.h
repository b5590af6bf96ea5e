#ifndef KW_SESSION_H
#define KW_SESSION_H
/* session.h - menus under way, each step kept before it is answered. */
#include "ledger/ledger.h"

#define SESSION_NAME_CAP    65
#define SESSION_PRESSES_CAP 160
#define SESSION_SHOWN_CAP   800

enum session_state {
    SESSION_OPEN,
    SESSION_OVER,    /* its text was taken, or it was cancelled */
    SESSION_GONE_ON, /* a later session goes on where it stopped */
    SESSION_LEFT     /* nobody came back; what was said went to the desk */
};

struct session {
    char carrier[LEDGER_NAME_CAP];
    char name[SESSION_NAME_CAP]; /* the far side's id of it */
    int64_t phone_id;
    int64_t at_s; /* of the last step */
    char lang[LEDGER_LANG_CAP];
    char presses[SESSION_PRESSES_CAP]; /* those that count: menu_settle() */
    char base[SESSION_PRESSES_CAP]; /* those of the session it goes on with */
    char step[SESSION_NAME_CAP];    /* the last step's own id, "" none */
    char shown[SESSION_SHOWN_CAP];  /* the last answer */
    enum session_state state;
};

int session_get(struct ledger *lg, const char *carrier, const char *name,
                struct session *out); /* KW_ENOENT */
int session_put(struct ledger *lg, const struct session *s);
/* The newest open one of the phone with a step since then; KW_ENOENT. */
int session_of_phone(struct ledger *lg, int64_t phone_id, int64_t since_s,
                     struct session *out);
/* The oldest open one without a step since then; KW_ENOENT. */
int session_stale(struct ledger *lg, int64_t before_s, struct session *out);
/* When the oldest open one had its last step; KW_ENOENT none. */
int session_oldest(struct ledger *lg, int64_t *at_s);
/* Forgets those that are closed and had their last step before. */
int session_drop(struct ledger *lg, int64_t before_s);
#endif
