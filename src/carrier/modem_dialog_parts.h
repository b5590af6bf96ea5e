#ifndef KW_MODEM_DIALOG_PARTS_H
#define KW_MODEM_DIALOG_PARTS_H
/*
 * modem_dialog_parts.h - the parts of the talk with one modem; for
 * modem_dialog.c, modem_setup.c, modem_store.c, modem_ussd.c and modem_line.c
 * alone. modem_dialog.c changes the state; the others ask by it.
 */
#include "carrier/modem_dialog.h"

#define MODEM_DIRECT   (-1) /* places of PDUs that are in no store of ours */
#define MODEM_NOT_OURS (-2)

/* modem_dialog.c */
void modem_dialog_write(struct modem_dialog *d, const char *text);
void modem_dialog_note(struct modem_dialog *d, bool grave, const char *words);
void modem_dialog_set_ready(struct modem_dialog *d, bool ready);
/* Writes a command; its answer comes to modem_dialog_answered(). */
void modem_dialog_command(struct modem_dialog *d, enum modem_ask ask,
                          const char *command, int64_t now);
void modem_dialog_next(struct modem_dialog *d, int64_t now); /* idle: what is */
/* It has begun anew by itself: all settings are lost. */
void modem_dialog_restart(struct modem_dialog *d, int64_t now);
void modem_dialog_answered(struct modem_dialog *d, enum at_kind kind, int code,
                           int64_t now);
void modem_dialog_prompted(struct modem_dialog *d, int64_t now);

/* modem_setup.c: the settings row by row, the card, and the regular look. */
void modem_setup_next(struct modem_dialog *d, int64_t now);
void modem_setup_answered(struct modem_dialog *d, enum at_kind kind, int code,
                          int64_t now);
void modem_setup_wait(struct modem_dialog *d, int64_t now);
void modem_poll_begin(struct modem_dialog *d, int64_t now);
bool modem_poll_next(struct modem_dialog *d, int64_t now); /* true: asked */
bool modem_registered(const struct modem_dialog *d);

/* modem_store.c: texts in the memories. */
bool modem_store_next(struct modem_dialog *d, int64_t now); /* reads */
bool modem_store_tidy(struct modem_dialog *d, int64_t now); /* the rest */
void modem_store_switched(struct modem_dialog *d, bool ok);
void modem_store_forget(struct modem_dialog *d); /* what was to be read */
void modem_store_line(struct modem_dialog *d, const char *rest);
void modem_store_arrived(struct modem_dialog *d, const struct at_fields *f);
void modem_store_header(struct modem_dialog *d, const char *rest, bool list);
void modem_store_pdu(struct modem_dialog *d, const char *digits);

/* modem_ussd.c: questions to the network. */
bool modem_ussd_next(struct modem_dialog *d, int64_t now); /* true: asked */
void modem_ussd_answered(struct modem_dialog *d, bool ok, int64_t now);
void modem_ussd_line(struct modem_dialog *d, const char *rest, int64_t now);
/* Another line of an answer that has line ends in it? */
bool modem_ussd_more(struct modem_dialog *d, const char *line, int64_t now);
/* Gives up what is not answered; when to look again. */
int64_t modem_ussd_due(struct modem_dialog *d, int64_t now);
void modem_ussd_end(struct modem_dialog *d, enum modem_ussd how,
                    const char *words);

/* modem_line.c */
void modem_line_take(struct modem_dialog *d, const char *line, int64_t now);
#endif
