#ifndef KW_MODEM_DIALOG_H
#define KW_MODEM_DIALOG_H
/*
 * modem_dialog.h - the talk with one modem in PDU mode. Pure: octets in,
 * octets out, the time is given; no clock, no serial line, no log.
 * Source: 3GPP TS 27.005, 3 and 4; TS 27.007, 7 and 8; ITU-T V.250.
 */
#include "carrier/at.h"

#define MODEM_PDU_OCTETS   200 /* with the SCA */
#define MODEM_COMMAND_MS   5000
#define MODEM_WAKE_MS      1000  /* between the first calls of "AT" */
#define MODEM_STUCK_MS     60000 /* no answer at all: open the line anew */
#define MODEM_SEARCH_MS    5000  /* look again for a network or a card */
#define MODEM_USSD_MS      60000 /* an answer of the network */
#define MODEM_USSD_OK_MS   15000 /* the modem's own, which some hold back */
#define MODEM_DELETES_MOST 256
#define MODEM_READS_MOST   64
#define MODEM_USSD_CAP     48      /* of a code, with NUL */
#define MODEM_MEMORIES     2       /* where texts come to, and the other one */
#define MODEM_OTHER        0x10000 /* added to a place of the other memory */

enum modem_state {
    MODEM_CLOSED,
    MODEM_WAKING,  /* "AT" until it answers */
    MODEM_SETUP,   /* the rows of settings, one by one */
    MODEM_IDLE,    /* nothing is asked */
    MODEM_ASKING,  /* a command waits for its answer */
    MODEM_PROMPT,  /* +CMGS waits for "> " */
    MODEM_SENDING, /* the text is with it: fate unknown till it answers */
    MODEM_RESYNC   /* an answer did not come: "AT", and old answers drained */
};

/* How a question to the network (USSD) ended. TS 27.007, 7.15. */
enum modem_ussd {
    MODEM_USSD_ANSWER,  /* to what was asked */
    MODEM_USSD_REFUSED, /* by the modem or the network, or no answer came */
    MODEM_USSD_NETWORK  /* nobody asked: the network told it by itself */
};

enum modem_fate {
    MODEM_SENT,
    MODEM_NOT_SENT, /* it never got the text */
    MODEM_REFUSED,  /* by +CMS ERROR: see the code */
    MODEM_UNKNOWN   /* it got the text and did not answer */
};

struct modem_dialog_conf { /* borrowed */
    const char *pin;       /* of the card, NULL none */
    const char *centre;    /* "" the card's own */
    const char *memory;    /* "SM", "ME", "MT"; "auto" as it is */
    int send_s, poll_s;
};

struct modem_handler { /* called from opened, input and tick */
    void (*write)(void *arg, const char *octets, size_t len);
    /* A PDU in the store at that place; until modem_dialog_delete(). */
    void (*stored)(void *arg, int place, const uint8_t *pdu, size_t len);
    /* A PDU that came directly: a status report, or a text shown at once. */
    void (*direct)(void *arg, const uint8_t *pdu, size_t len);
    void (*sent)(void *arg, enum modem_fate fate, int code, int tp_mr);
    void (*ready)(void *arg, bool ready); /* registered and set up, or not */
    /* words: UTF-8, "" when there are none; borrowed. */
    void (*ussd)(void *arg, enum modem_ussd how, const char *words);
    void (*reopen)(void *arg); /* the line is stuck */
    /* For the person: what is, or what to do; grave: nothing goes. */
    void (*note)(void *arg, bool grave, const char *words);
    void *arg;
};

enum modem_ask { /* what the command in flight is */
                 MODEM_ASK_NOTHING,
                 MODEM_ASK_SETTING,
                 MODEM_ASK_PIN,
                 MODEM_ASK_POLL,
                 MODEM_ASK_MEMORY,
                 MODEM_ASK_LIST,
                 MODEM_ASK_READ,
                 MODEM_ASK_DELETE,
                 MODEM_ASK_SEND,
                 MODEM_ASK_CHARACTERS, /* +CSCS, before a question */
                 MODEM_ASK_USSD,
                 MODEM_ASK_USSD_END
};

struct modem_dialog {
    const struct modem_dialog_conf *conf;
    const struct modem_handler *handler;
    struct at_reader reader;
    enum modem_state state;
    enum modem_ask ask;
    char asked[64];   /* the command in flight, to know its echo */
    size_t step;      /* of the settings, or of a poll */
    int64_t due_ms;   /* an answer is late, or a wait is over */
    int64_t heard_ms; /* last octet, or opened */
    int64_t poll_ms;  /* next look at signal and store */
    bool set_up;      /* all settings are made */
    bool ready, polling;
    bool pin_tried, pin_wanted, card_ready;
    int registration; /* +CREG stat, -1 not known */
    int signal;       /* +CSQ 0..31, 99 not known */
    /* [0] where texts come to, [1] the other of "SM" and "ME"; "" none */
    char memory[MODEM_MEMORIES][8];
    int current;      /* which of them commands go to, -1 not known */
    int memory_asked; /* which of them it is to be */
    bool list_wanted[MODEM_MEMORIES];
    int used, total;  /* places of memory[0] */
    bool pdu_follows; /* the next line of digits is a PDU … */
    int place;        /* … from there; -1 direct, -2 not for us */
    bool answer_seen; /* in RESYNC: of our own question */
    bool fate_open;   /* in RESYNC: the text may yet be told sent */
    int tp_mr;
    int deletes[MODEM_DELETES_MOST], n_deletes;
    int reads[MODEM_READS_MOST], n_reads;
    bool sending;
    /* A question to the network: wanted, then open until it is answered. */
    bool ussd_wanted, ussd_open, ussd_end_wanted;
    char ussd_code[MODEM_USSD_CAP];
    int64_t ussd_due_ms;
    char ussd_line[AT_LINE_CAP]; /* an answer with line ends in it, begun */
    int64_t ussd_line_ms;        /* when it began; 0 none is */
    uint8_t pdu[MODEM_PDU_OCTETS];
    size_t pdu_len, tpdu_len;
    uint64_t resyncs, restarts;
};

void modem_dialog_init(struct modem_dialog *d,
                       const struct modem_dialog_conf *conf,
                       const struct modem_handler *handler);
void modem_dialog_opened(struct modem_dialog *d, int64_t now_ms);
/* The line is gone; a text that was being sent has its fate. */
void modem_dialog_closed(struct modem_dialog *d);
void modem_dialog_input(struct modem_dialog *d, const char *octets, size_t len,
                        int64_t now_ms);
/* What is due; returns when to come again. */
int64_t modem_dialog_tick(struct modem_dialog *d, int64_t now_ms);
/* Sends a PDU (SCA and TPDU). KW_EAGAIN: not ready, or one is on its way. */
int modem_dialog_send(struct modem_dialog *d, const uint8_t *pdu, size_t len,
                      size_t tpdu_len, int64_t now_ms);
/*
 * Asks the network, such as "*123#"; handler.ussd() tells how it ended.
 * KW_EAGAIN: not ready, or a question is open; KW_EINVAL: no such code.
 */
int modem_dialog_ask(struct modem_dialog *d, const char *code, int64_t now_ms);
/* What was stored there is in the ledger. */
void modem_dialog_delete(struct modem_dialog *d, int place, int64_t now_ms);
/* Is four fifths of the store taken? */
bool modem_dialog_crowded(const struct modem_dialog *d);
/* What a +CREG stat says, for people. TS 27.007, 7.2. */
const char *modem_registration_words(int stat);
#endif
