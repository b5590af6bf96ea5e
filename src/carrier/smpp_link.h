#ifndef KW_SMPP_LINK_H
#define KW_SMPP_LINK_H
/*
 * smpp_link.h - one connection to a message centre on the loop, with its
 * session: connects, binds, comes back after a loss with growing pauses.
 */
#include "base/config.h"
#include "carrier/smpp_session.h"

struct event_base;
struct smpp_link;

struct smpp_link_owner { /* called on the loop */
    void (*bound)(void *arg);
    void (*message)(void *arg, struct smpp_link *l, const struct smpp_pdu *p);
    void (*result)(void *arg, const struct smpp_result *r);
    void (*turn)(void *arg, struct smpp_link *l); /* after input, or by clock */
    void (*lost)(void *arg, struct smpp_link *l); /* after the results */
    void *arg;
};

/* 0, or KW_EIO with *why (TLS cannot be set up). */
int smpp_link_open(struct event_base *base, const struct config_carrier *conf,
                   uint32_t bind_command, const struct smpp_statuses *statuses,
                   const struct smpp_link_owner *owner, struct smpp_link **out,
                   char **why);
void smpp_link_close(struct smpp_link *l); /* at once; NULL is fine */
/* Ends the session politely and does not come back. */
void smpp_link_leave(struct smpp_link *l);
bool smpp_link_left(const struct smpp_link *l); /* nothing is connected */
struct smpp_session *smpp_link_session(struct smpp_link *l);
/* Sends what the session has written; call after using the session. */
void smpp_link_flush(struct smpp_link *l);
#endif
