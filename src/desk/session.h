#ifndef KW_DESK_SESSION_H
#define KW_DESK_SESSION_H
/*
 * session.h - a caller leads a menu, step by step; its text goes the way of
 * every text. Used by whatever brings the steps: an HTTP callback, the
 * message centre's ussd_service_op, the handset of the terminal.
 */
#include "ledger/session.h"

struct desk;

struct menu_press { /* all borrowed; NUL-terminated */
    const char *carrier;
    const char *session; /* the far side's id; at most 64 octets count */
    const char *step;    /* its id of this step, NULL or "" none */
    const char *from;
    const char *input; /* "" when the session begins */
    bool whole;        /* input holds all presses so far: "1*24*3" */
    bool gone;         /* the caller hung up; input is not looked at */
    /* It answers a screen: when the session is not known, that of the phone
     * which is still open goes on, for the far side's id was forgotten. */
    bool answers;
    bool unseen; /* the session ends with it: nothing can be shown any more */
    int64_t at_s;
};

struct menu_shown {
    char body[SESSION_SHOWN_CAP];
    bool over;         /* body is the last; the session is to be ended */
    bool scan;         /* as in desk_answer */
    int64_t outbox_id; /* of an answer that counts as sent by being shown here;
                          0 none: settle it anew if it was not shown */
};

/*
 * One step, inside the caller's savepoint; kept before this returns.
 * A step that comes again changes nothing and is answered as before: by its
 * id, by being the same whole input, or because the session is over.
 * KW_EINVAL: no session or no number to it; KW_ENOENT: no menu in the grammar
 * folder.
 *
 * What was said is certain once the network has brought it: a caller who is
 * cut off and calls again within menu_keep_s goes on at the same screen.
 * One who does not is asked by text about what was chosen. A danger sign is
 * told at once, whatever becomes of the session.
 */
int desk_press(struct desk *d, struct ledger *lg, const struct menu_press *p,
               struct menu_shown *out);
/* Puts what those said who did not call again to the desk, as texts that are
 * asked about. *next_s comes down to when the next one is due. */
int desk_sessions_left(struct desk *d, struct ledger *lg, int64_t now_s,
                       int64_t *next_s);
#endif
