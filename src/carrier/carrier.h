#ifndef KW_CARRIER_H
#define KW_CARRIER_H
/*
 * carrier.h - how texts come in and leave. One file a carrier, all on the
 * event loop. A carrier hands a text to carrier_host.take and tells its
 * network "received" only when taken() comes back with 0.
 */
#include "base/config.h"
#include "desk/desk.h"
#include "desk/session.h"
#include "ledger/carriers.h"
#include "ledger/traffic.h"

struct event_base;
struct carrier_host;

/* A text on its way through the writer; owned by the carrier throughout. */
struct carrier_taking {
    struct desk_text text;     /* pointers borrowed until taken() */
    struct desk_answer answer; /* written before taken() */
    /*
     * The carrier hands the answer over itself (in the response): its outbox
     * row is settled as SENT in the transaction that keeps the text.
     */
    bool answer_in_hand;
    /*
     * Not NULL: a step of a menu, and text is not looked at. shown is written
     * before taken(): say it to the caller, and end the session when it is
     * over. All pointers of the step are borrowed until taken().
     */
    const struct menu_press *press;
    struct menu_shown shown;
    /* On the loop, after the commit. err 0: acknowledge. */
    void (*taken)(struct carrier_taking *t, int err);
    void *carrier;             /* for the carrier's own use */
    struct carrier_host *host; /* written by take() */
};

/*
 * What the far side tells of an id; all but arg is borrowed for the call.
 * Tell the network "received" in kept(), and only when its err is 0.
 */
struct carrier_receipt {
    const char *carrier, *far_id;
    enum traffic_receipt state;
    const char *why; /* NOT_DELIVERED: a word or two, "expired"; NULL none */
    void (*kept)(void *arg, int err); /* on the loop, after the commit */
    void *arg;
};

/* What the service offers to its carriers. */
struct carrier_host {
    struct event_base *base;
    const struct config *conf;
    void *service;
    /* 0 accepted: taken() will come; KW_EFULL: come later. */
    int (*take)(struct carrier_host *h, struct carrier_taking *t);
    /*
     * One outgoing text has met its fate: SENT, FAILED, PERHAPS, or WAITING
     * to be tried again, not before again_s (0: the service's own back-off
     * alone). Durable in a while; the carrier may forget it. note: a few
     * words for the ledger, copied, no number and no words of the text.
     */
    void (*settle)(struct carrier_host *h, int64_t out_id,
                   enum ledger_send state, int64_t again_s, const char *note);
    /*
     * The far side's id of a text, or of a part of one: call it for each,
     * before settle(); it is durable with that at the latest, and receipts
     * find their text by it after a restart, too. One id has one spelling:
     * the carrier makes it the same for answers and receipts. Copied.
     */
    void (*far_id)(struct carrier_host *h, const char *carrier, int64_t out_id,
                   const char *far_id);
    /*
     * What the far side tells of an id, at any time, also before far_id().
     * 0: kept() will come; KW_EFULL: it is to come again later.
     */
    int (*receipt)(struct carrier_host *h, const struct carrier_receipt *r);
    /* Little is left on the carrier's card: people are told once a day. NULL
     * in tests without a desk. */
    void (*credit_low)(struct carrier_host *h, const char *carrier,
                       double amount);
};

struct carrier {
    const char *name;
    bool repeat_safe; /* it carries an id by which the far side knows repeats */
    int room;         /* how many more it can have in flight now */
    /* Takes one to send; copied. Calls host.settle() sooner or later. */
    void (*send)(struct carrier *c, const struct ledger_out *o);
    /* Looks for texts now instead of soon; NULL when it is told of them. */
    void (*look)(struct carrier *c);
    /* Whether texts wait that it has seen but not handed over; may be NULL. */
    bool (*busy)(const struct carrier *c);
    /* How it does, where it knows more than what it takes and sends: state
     * and words, and what a modem knows; may be NULL. */
    void (*tell)(const struct carrier *c, struct carriers_row *row);
    /* No new texts from now on; may be NULL. */
    void (*quiesce)(struct carrier *c);
    /* After quiesce: whether it still takes leave of its network; may be NULL.
     */
    bool (*leaving)(struct carrier *c);
    void (*close)(struct carrier *c); /* frees c; settles what is in flight */
};

/* Each open function: 0, or KW_EIO with *why a sentence (kw_free it). */
int http_out_open(struct carrier_host *h, const struct config_carrier *conf,
                  struct carrier **out, char **why);
int spool_open(struct carrier_host *h, const struct config_carrier *conf,
               struct carrier **out, char **why);
/* Is it this machine itself: a host, and that of an address, which is not known
 * without libcurl: then no. */
bool http_host_loopback(const char *host);
bool http_out_loopback(const char *url);
int smpp_open(struct carrier_host *h, const struct config_carrier *conf,
              struct carrier **out, char **why);
int modem_open(struct carrier_host *h, const struct config_carrier *conf,
               struct carrier **out, char **why);

/* The one HTTP listener, for all carriers of kind http. */
struct http_in;
int http_in_open(struct carrier_host *h, struct http_in **out, char **why);
int http_in_port(const struct http_in *s);
/* Takes no new connection; answers what is in flight and closes those. */
void http_in_quiesce(struct http_in *s);
int http_in_busy(const struct http_in *s); /* requests not answered yet */
/* Nothing may be in the writer any more: http_in_busy() has come to 0. */
void http_in_close(struct http_in *s);
#endif
