#ifndef KW_SMPP_SESSION_H
#define KW_SMPP_SESSION_H
/*
 * smpp_session.h - one ESME session with a message centre. Pure: octets in,
 * octets out, the time is given; no clock, no socket, no log.
 * Source: SMPP v3.4, 2.2 (states), 2.7 and 7.2 (timers), 4.
 */
#include "carrier/smpp_pdu.h"

#define SMPP_WINDOW_MOST 64
#define SMPP_OUT_MOST    (1024 * 1024) /* octets that wait to be written */
#define SMPP_UNBIND_MS   5000
#define SMPP_PAUSE_MS    1000 /* after the first "throttled" */
#define SMPP_PAUSE_MOST  60000
#define SMPP_RATE_LEAST  0.5 /* a second, however much it throttles */

enum smpp_state { SMPP_CLOSED, SMPP_OPEN, SMPP_BOUND, SMPP_UNBINDING };

enum smpp_end {                       /* why the connection is to be closed */
                SMPP_END_UNBOUND,     /* as we asked */
                SMPP_END_PEER_UNBIND, /* as the centre asked */
                SMPP_END_REFUSED,     /* bind refused: see the status */
                SMPP_END_SILENT,      /* no answer to bind or enquire_link */
                SMPP_END_FRAMING,     /* octets that are no PDU */
                SMPP_END_FULL,        /* the centre does not read */
                SMPP_END_LOST /* the connection was lost; only to the results */
};

struct smpp_session_conf { /* borrowed for the session's life */
    uint32_t bind_command; /* SMPP_BIND_… */
    const char *system_id, *password, *system_type, *address_range;
    uint8_t addr_ton, addr_npi, interface_version;
    int window;  /* requests that await an answer: 1..64 */
    double rate; /* submit_sm a second; 0 no limit of ours */
    int enquire_link_s, response_s;
    const struct smpp_statuses *statuses; /* of this centre; NULL none */
};

struct smpp_result { /* of one submit_sm */
    int64_t cookie;
    bool known; /* false: it may have been taken or not */
    uint32_t command_status;
    const char *message_id; /* "" none; borrowed */
};

struct smpp_handler { /* called from input, tick and lost */
    void (*bound)(void *arg);
    /* deliver_sm or data_sm: to be answered by smpp_session_answer. */
    void (*message)(void *arg, const struct smpp_pdu *p);
    void (*result)(void *arg, const struct smpp_result *r);
    /* Write what is in out, then close. Called once a connection. */
    void (*ended)(void *arg, enum smpp_end why, uint32_t command_status);
    void *arg;
};

struct smpp_waiting { /* a request that awaits its answer */
    uint32_t sequence_number;
    int64_t cookie, sent_ms;
};

struct smpp_session {
    const struct smpp_session_conf *conf;
    const struct smpp_handler *handler;
    enum smpp_state state;
    unsigned generation; /* counts the connections */
    bool ended;
    bool peer_tlvs; /* it told its version: TLVs are understood */
    uint32_t next_sequence;
    struct kw_buf in, out; /* out is drained by the caller */
    struct smpp_waiting waiting[SMPP_WINDOW_MOST];
    int n_waiting, window_now;
    int64_t heard_ms, asked_ms; /* last octets; enquire_link sent, 0 none */
    int64_t state_ms;           /* since when in this state */
    /* rate */
    double rate_now, tokens;
    int64_t tokens_ms, pause_until_ms, pause_ms;
    /* counts */
    uint64_t submitted, throttled, unmatched, refused_pdus;
};

void smpp_session_init(struct smpp_session *s,
                       const struct smpp_session_conf *conf,
                       const struct smpp_handler *handler);
void smpp_session_release(struct smpp_session *s);
/* The connection is there: queues the bind. */
void smpp_session_connected(struct smpp_session *s, int64_t now_ms);
/* The connection is gone: every request that waits is of unknown fate. */
void smpp_session_lost(struct smpp_session *s);
void smpp_session_input(struct smpp_session *s, const void *octets, size_t len,
                        int64_t now_ms);
/*
 * Sends a submit_sm. KW_EAGAIN: not bound, window full, or the rate does not
 * allow it now; KW_EINVAL: it cannot be encoded.
 */
int smpp_session_submit(struct smpp_session *s, struct smpp_pdu *p,
                        int64_t cookie, int64_t now_ms);
bool smpp_session_may_submit(struct smpp_session *s, int64_t now_ms);
/* Answers a deliver_sm or data_sm of this connection. */
void smpp_session_answer(struct smpp_session *s, uint32_t command_id,
                         uint32_t sequence_number, uint32_t command_status);
/* Asks the centre to end; ended() comes with its answer or after 5 s. */
void smpp_session_unbind(struct smpp_session *s, int64_t now_ms);
/* What is due by the clock; returns when to come again. */
int64_t smpp_session_tick(struct smpp_session *s, int64_t now_ms);
#endif
