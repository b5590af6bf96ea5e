#ifndef KW_TALK_H
#define KW_TALK_H
/*
 * talk.h - texting the line from a terminal, without a carrier: what `say`
 * and `phone` share. The text goes through the desk into the ledger in one
 * transaction; its answer is settled as sent, since it is shown at once.
 */
#include "command/command.h"
#include "desk/desk.h"
#include "desk/session.h"

#define TALK_CARRIER LEDGER_CONSOLE

struct talk;

/* The desk of the configuration; prints its faults. 0 or an exit code. */
int talk_open_desk(const struct config *conf, struct desk **out);

/* Configuration, ledger (made when it is not there) and desk. 0 or an exit
 * code after saying why. */
int talk_open(const char *config_path, struct talk **out);
void talk_close(struct talk *t); /* NULL is fine */

struct talk_text {
    const char *from; /* a number or a name */
    const char *ref;  /* the sender's own id, or NULL */
    const char *text;
    size_t len;
    int64_t at_s; /* 0: now */
    bool quiet;   /* as in desk_text */
};
/* 0 once committed, else a KW_E code after undoing everything. */
int talk_say(struct talk *t, const struct talk_text *in,
             struct desk_answer *out);
/* A step of the menu; carrier and time are filled in. As talk_say(). */
int talk_press(struct talk *t, struct menu_press *p, struct menu_shown *out);
const struct config *talk_config(const struct talk *t);
struct desk *talk_desk(const struct talk *t);
struct ledger *talk_ledger(const struct talk *t);
/*
 * After an answer with scan set: looks for breakage and acts on it.
 * 0 or a KW_E code.
 */
int talk_scan(struct talk *t);
#endif
