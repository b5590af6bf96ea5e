#ifndef KW_MODEM_PARTS_H
#define KW_MODEM_PARTS_H
/*
 * modem_parts.h - the parts of the modem carrier; for modem*.c alone.
 *
 * modem_in: texts that come. What is in the modem's store is deleted only
 *   after the text is in the ledger; parts of a long text stay there until
 *   then, so that a crash loses none.
 * modem_out: texts that leave, one at a time, part by part.
 * modem_credit: what is left on the card, asked of the network.
 */
#include "carrier/carrier.h"
#include "carrier/modem_dialog.h"
#include "carrier/tpdu.h"

struct modem_in;
struct modem_out;
struct modem_credit;

struct modem_in *modem_in_new(struct carrier_host *h,
                              const struct config_carrier *conf,
                              struct modem_dialog *d, struct modem_out *out);
void modem_in_free(struct modem_in *in);
/* A PDU from the store (place >= 0) or directly (-1). */
void modem_in_pdu(struct modem_in *in, int place, const uint8_t *pdu,
                  size_t len);
void modem_in_turn(struct modem_in *in); /* after input and by the clock */
bool modem_in_idle(const struct modem_in *in);

/* room: written whenever it changes. */
struct modem_out *modem_out_new(struct carrier_host *h,
                                const struct config_carrier *conf,
                                struct modem_dialog *d, int *room);
void modem_out_free(struct modem_out *o); /* settles what is in hand */
void modem_out_send(struct modem_out *o, const struct ledger_out *text);
void modem_out_pump(struct modem_out *o);
void modem_out_ready(struct modem_out *o, bool ready);
void modem_out_sent(struct modem_out *o, enum modem_fate fate, int code,
                    int tp_mr);
/* 0: kept() will come (unless it is NULL); KW_EFULL: later again. */
int modem_out_report(struct modem_out *o, const struct tpdu *report,
                     void (*kept)(void *arg, int err), void *arg);
bool modem_out_idle(const struct modem_out *o);

struct modem_credit *modem_credit_new(struct carrier_host *h,
                                      const struct config_carrier *conf,
                                      struct modem_dialog *d);
void modem_credit_free(struct modem_credit *c);
void modem_credit_turn(struct modem_credit *c, int64_t now_ms);
int64_t modem_credit_due(const struct modem_credit *c);
void modem_credit_told(struct modem_credit *c, enum modem_ussd how,
                       const char *words, int64_t now_ms);
void modem_credit_tell(const struct modem_credit *c, struct carriers_row *row);
#endif
