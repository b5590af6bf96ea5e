#ifndef KW_SMPP_PARTS_H
#define KW_SMPP_PARTS_H
/*
 * smpp_parts.h - the parts of the SMPP carrier; for smpp*.c alone.
 *
 * smpp_out: texts that leave. A text is cut into parts; each is a submit_sm.
 *   WAITING parts --submit--> in flight --answer--> done
 *      ^--throttled, later--------+        \--> failed, unknown
 * smpp_menu: menus by ussd_service_op, each step a text that comes and goes.
 * smpp_in: texts that come. Invariant: deliver_sm_resp with ESME_ROK only
 * after the text is in the ledger, or the part is in the file of parts.
 */
#include "carrier/carrier.h"
#include "carrier/smpp_link.h"
#include "carrier/smpp_status.h"
#include "carrier/smpp_text.h"

struct smpp_out;
struct smpp_in;
struct smpp_menu;

/* room: written whenever it changes, the texts it can still take. */
struct smpp_out *smpp_out_new(struct carrier_host *h,
                              const struct config_carrier *conf,
                              const struct smpp_statuses *statuses, int *room);
/* Settles what is in hand: not begun to be tried again, begun as perhaps. */
void smpp_out_free(struct smpp_out *o);
void smpp_out_send(struct smpp_out *o, const struct ledger_out *text);
/* Submits what the session allows. */
void smpp_out_pump(struct smpp_out *o, struct smpp_session *s);
void smpp_out_result(struct smpp_out *o, const struct smpp_result *r);
void smpp_out_lost(struct smpp_out *o); /* the session is gone */
/* 0: kept() will come; KW_EFULL; KW_EINVAL when it names no text. */
int smpp_out_receipt(struct smpp_out *o, const struct smpp_pdu *p,
                     void (*kept)(void *arg, int err), void *arg);
/* Bound or not; tlvs: the centre knows optional parameters. */
void smpp_out_ready(struct smpp_out *o, bool ready, bool tlvs);
bool smpp_out_idle(const struct smpp_out *o);

int smpp_in_open(struct carrier_host *h, const struct config_carrier *conf,
                 struct smpp_in **out, char **why);
void smpp_in_close(struct smpp_in *in);
/* One deliver_sm or data_sm that is no receipt. */
void smpp_in_message(struct smpp_in *in, struct smpp_link *l,
                     const struct smpp_pdu *p);
/* After each input: parts to disk and acknowledged, whole texts taken. */
void smpp_in_turn(struct smpp_in *in);
/*
 * A request that is not a text, on its way through the writer: held until
 * smpp_in_kept(), which answers it. NULL: there were too many, it is answered.
 */
void *smpp_in_hold(struct smpp_in *in, struct smpp_link *l,
                   const struct smpp_pdu *p);
void smpp_in_kept(void *held, int err);
/* Sender and receiver of a message as they stand in the ledger. */
void smpp_in_address(const struct smpp_address *a, char dst[SMPP_ADDR_CAP + 1],
                     const char *none);
/* This connection is gone; what it asked is not answered any more. */
void smpp_in_lost(struct smpp_in *in, struct smpp_link *l);
void smpp_in_quiesce(struct smpp_in *in);
bool smpp_in_idle(const struct smpp_in *in);

/* Is it a step of a menu? */
bool smpp_is_menu(const struct config_smpp *conf, const struct smpp_pdu *p);
struct smpp_menu_owner {
    const struct smpp_statuses *statuses;
    void (*pump)(void *arg); /* a screen waits: call smpp_menu_pump() */
    void *arg;
};
struct smpp_menu *smpp_menu_new(struct carrier_host *h,
                                const struct config_carrier *conf,
                                struct smpp_in *in,
                                const struct smpp_menu_owner *owner);
void smpp_menu_free(struct smpp_menu *m);
void smpp_menu_message(struct smpp_menu *m, struct smpp_link *l,
                       const struct smpp_pdu *p);
/* Submits the screens that wait; before texts, for somebody looks at them.
 * Without a bound session they are not shown. */
void smpp_menu_pump(struct smpp_menu *m, struct smpp_session *s);
/* Of a submit whose cookie is below 0. */
void smpp_menu_result(struct smpp_menu *m, const struct smpp_result *r);
bool smpp_menu_idle(const struct smpp_menu *m);
#endif
