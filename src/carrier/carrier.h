#ifndef KW_CARRIER_H
#define KW_CARRIER_H
/*
 * carrier.h - how texts come in and leave. One file a carrier, all on the
 * event loop. A carrier hands a text to carrier_host.take and tells its
 * network "received" only when taken() comes back with 0.
 */
#include "base/config.h"
#include "desk/desk.h"

struct event_base;

/* A text on its way through the writer; owned by the carrier throughout. */
struct carrier_taking {
    struct desk_text text;     /* pointers borrowed until taken() */
    struct desk_answer answer; /* written before taken() */
    /* On the loop, after the commit. err 0: acknowledge. */
    void (*taken)(struct carrier_taking *t, int err);
    void *carrier;             /* for the carrier's own use */
};

/* What the service offers to its carriers. */
struct carrier_host {
    struct event_base *base;
    const struct config *conf;
    void *service;
    /* 0 accepted: taken() will come; KW_EFULL: come later. */
    int (*take)(struct carrier_host *h, struct carrier_taking *t);
    /*
     * One outgoing text has met its fate. Durable in a while; the carrier
     * may forget it. again_s: with LEDGER_WAITING, when to try again.
     */
    void (*settle)(struct carrier_host *h, int64_t out_id,
                   enum ledger_send state, int64_t again_s, const char *note);
};

struct carrier {
    const char *name;
    bool repeat_safe; /* it carries an id by which the far side knows repeats */
    int room;         /* how many more it can have in flight now */
    /* Takes one to send; copied. Calls host.settle() sooner or later. */
    void (*send)(struct carrier *c, const struct ledger_out *o);
    void (*close)(struct carrier *c); /* frees c */
};

/* Each open function: 0, or KW_EIO with *why a sentence (kw_free it). */
int http_out_open(struct carrier_host *h, const struct config_carrier *conf,
                  struct carrier **out, char **why);
int spool_open(struct carrier_host *h, const struct config_carrier *conf,
               struct carrier **out, char **why);

/* The one HTTP listener, for all carriers of kind http. */
struct http_in;
int http_in_open(struct carrier_host *h, struct http_in **out, char **why);
void http_in_close(struct http_in *s); /* answers what is in flight first */
int http_in_port(const struct http_in *s);
#endif
