#ifndef KW_SERVICE_H
#define KW_SERVICE_H
/*
 * service.h - what `kilnword serve` runs: one event loop with all carriers,
 * the writer's thread with ledger and desk, and the scanner's thread. Shared
 * by serve.c and the service_*.c files only.
 *
 * The desk is used in writer jobs alone, hence on the writer's thread alone.
 * Everything else here belongs to the loop's thread. Whatever is due or
 * wanted and could not be begun (writer full, ledger refusing) stays wanted
 * and is begun again by service_turn(), each second.
 */
#include "carrier/carrier.h"
#include "ledger/carriers.h"
#include "ledger/traffic.h"
#include "ledger/writer.h"

#include <event2/event.h>

struct service;
struct scanner;
struct told;

#define SERVICE_CLAIM_MOST 32
#define SERVICE_SHARE_S    10 /* due so long: any of the group may take it */

struct outbox { /* of one carrier that can send */
    struct service *service;
    struct carrier *carrier;
    const struct config_carrier *conf;
    struct outbox *stand_in; /* takes over when the carrier is down, or NULL */
    struct outbox *group[LEDGER_GROUP_MOST]; /* those that share the load */
    int n_group;
    bool claiming, wanted, moving;
    int64_t next_due_s; /* 0 none known */
    /* Down: since when sending failed, and since when it took nothing. */
    int64_t failing_s, shut_s; /* 0 not */
    int64_t moved_s;           /* when texts were last moved */
    bool stood_in;             /* said so in the log */
    double allowance;          /* texts it may still have now; per_minute */
    int64_t allowed_us;        /* when that was last counted */
    int in_hand;               /* texts with the carrier */
    int64_t closed_s;          /* since when it takes nothing; 0 it does */
    struct carriers_row shown; /* how it does, as last written */
};

struct flight { /* a text that a carrier has in hand */
    int64_t out_id;
    int tries;
    struct outbox *box;
};

struct settlement { /* or, with a far_id, what the far side calls it */
    int64_t out_id, due_s;
    enum ledger_send state;
    char note[160];
    const char *carrier; /* of far_id; or that WAITING goes on with, or NULL */
    char *far_id;        /* owned; NULL: a settlement */
};

struct settle_list {
    struct settlement *items;
    size_t n, cap;
};

struct service {
    const struct config *conf;
    struct event_base *base;
    struct desk *desk;
    struct writer *writer;
    struct ledger *watching; /* read-only, for what other processes write */
    int64_t version;
    struct carrier_host host;
    struct http_in *http;
    struct outbox outboxes[CONFIG_CARRIERS_MOST];
    size_t n_outboxes;
    struct flight *flights;
    size_t n_flights, cap_flights;
    struct settle_list settles;
    bool settling;
    bool stating;       /* states of carriers are being written */
    int taking;         /* texts and receipts in the writer */
    int64_t taken;      /* texts so far */
    int64_t refused_us; /* when a failed taking was last logged */
    int lock_fd;        /* held while this service works on the ledger */
    bool ticking;
    int64_t tick_next_s;
    struct scanner *scanner;
    int64_t scan_next_s; /* hourly */
    struct told *told;   /* NULL: the clock runs by itself */
    bool stopping;
    int64_t stop_us; /* since when */
    struct event *events[8];
    size_t n_events;
};

/* service.c */
int service_open(const struct config *conf, bool told_clock,
                 struct service **out); /* 0 or an exit code */
void service_run(struct service *s);    /* until stopped */
void service_close(struct service *s);  /* NULL is fine */
void service_stop(struct service *s);   /* cleanly, in a while */
/* Begins whatever is due or wanted. */
void service_turn(struct service *s);
/* Whether nothing is in hand, and nothing due. */
bool service_idle(const struct service *s);
/* A persistent timer; owned by the service. */
void service_every(struct service *s, int ms, event_callback_fn f);

/* service_outbox.c */
void outbox_add(struct service *s, struct carrier *c,
                const struct config_carrier *conf);
void outbox_pair(struct service *s); /* all are added: who stands in for whom */
int outbox_recover(struct service *s, struct ledger *lg); /* at start */
void outbox_pump_all(struct service *s); /* something may be waiting */
void outbox_turn(struct service *s);
bool outbox_idle(const struct service *s);
void outbox_settle(struct carrier_host *h, int64_t out_id,
                   enum ledger_send state, int64_t again_s, const char *note);
void outbox_far_id(struct carrier_host *h, const char *carrier, int64_t out_id,
                   const char *far_id);
void outbox_close(struct service *s); /* closes the carriers */

/* service_relief.c: rates, and one carrier standing in for another. */
int relief_allowed(struct outbox *box); /* texts by its rate, now */
void relief_used(struct outbox *box, int n);
/* A text of it met its fate; sent: the far side took or refused it. */
void relief_note(struct outbox *box, bool answered);
void relief_turn(struct outbox *box);

/* service_state.c: how each carrier does, for `show line`. */
void state_turn(struct service *s);
void state_stop(struct service *s); /* all have stopped; before the writer */
void state_credit_low(struct carrier_host *h, const char *carrier,
                      double amount);

/* service_receipt.c */
int receipt_take(struct carrier_host *h, const struct carrier_receipt *r);

/* service_scan.c */
int scanner_open(struct service *s); /* 0 or KW_EIO */
void scanner_want(struct service *s);
void scanner_turn(struct service *s);
bool scanner_idle(const struct service *s);
void scanner_close(struct service *s);

/* service_told.c */
int told_open(struct service *s); /* 0 or KW_EIO after saying why */
void told_close(struct service *s);
#endif
