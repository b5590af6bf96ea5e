#ifndef KW_RESOLVE_H
#define KW_RESOLVE_H
/*
 * resolve.h - the address of a host, asked on a thread of its own so that
 * the loop never waits for a name server.
 */
#include "base/kw.h"

#include <sys/socket.h>

struct event_base;
struct resolve;

struct resolve_answer {
    struct sockaddr_storage address;
    socklen_t len; /* 0: not found, *why tells */
    const char *why;
};

struct resolve_ask {
    const char *host; /* copied */
    int port;
    unsigned nth; /* of several addresses in turn: which try this is */
};

/*
 * Asks; done() comes once, on the loop (for an address written in digits
 * too). The handle is freed by itself after done().
 */
struct resolve *resolve_start(
    struct event_base *base, const struct resolve_ask *ask,
    void (*done)(void *arg, const struct resolve_answer *a), void *arg);
/* done() will not come. */
void resolve_cancel(struct resolve *r);
#endif
