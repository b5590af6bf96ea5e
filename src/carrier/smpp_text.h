#ifndef KW_SMPP_TEXT_H
#define KW_SMPP_TEXT_H
/*
 * smpp_text.h - texts in submit_sm and deliver_sm: the centre's alphabet,
 * long texts in their three forms, receipts in both forms. Pure.
 * Source: SMPP v3.4, 5.2.19 (data_coding), 5.2.12 (esm_class), 5.3.2.22 to
 * .24 (sar), 5.3.2.32 (message_payload), Appendix B (receipts), 7.1.1 (times).
 */
#include "carrier/segment.h"
#include "carrier/smpp_pdu.h"

enum smpp_coding {            /* what data_coding 0 means to the centre */
                   SMPP_GSM7, /* the default alphabet, a septet an octet */
                   SMPP_GSM7_PACKED, /* packed as on the air */
                   SMPP_LATIN1,
                   SMPP_IA5
};
/* Of the name in the configuration: "gsm7" … */
enum smpp_coding smpp_coding_named(const char *name);
enum smpp_long { SMPP_UDH, SMPP_UDH_WIDE, SMPP_SAR, SMPP_PAYLOAD };

struct smpp_text_way {
    enum smpp_coding coding;
    enum smpp_long long_text;
    uint8_t language; /* national shift tables that may be used, 0 none */
};

struct smpp_part {
    uint8_t esm_class, data_coding, sm_length;
    uint8_t short_message[SMPP_SHORT_MOST];
    struct kw_buf tlvs;
};
struct smpp_parts {
    size_t n;
    struct smpp_part parts[SEGMENT_MOST];
};

/* 0 or KW_EFULL (too long). Released by the caller in any case. */
int smpp_text_encode(const struct smpp_text_way *way, const char *text,
                     size_t len, uint16_t ref, struct smpp_parts *out);
void smpp_parts_release(struct smpp_parts *p);
/*
 * A screen of a menu, in one part: at most 182 septets, or 80 units of UCS-2
 * (3GPP TS 23.038, 5; packed ones are padded as in 6.1.2.3). 0 or KW_EFULL.
 * p->tlvs is not written.
 */
int smpp_text_screen(enum smpp_coding coding, const char *text, size_t len,
                     struct smpp_part *p);

/*
 * The text of a deliver_sm or data_sm in UTF-8; *h tells its place in a
 * longer one, be it by UDH or by sar_*.
 */
int smpp_text_decode(enum smpp_coding coding, const struct smpp_pdu *p,
                     struct udh *h, struct kw_buf *out);

enum smpp_message_state { /* 5.2.28 */
                          SMPP_STATE_NONE = -1,
                          SMPP_STATE_SCHEDULED = 0, /* 5.0 */
                          SMPP_STATE_ENROUTE = 1,
                          SMPP_STATE_DELIVERED = 2,
                          SMPP_STATE_EXPIRED = 3,
                          SMPP_STATE_DELETED = 4,
                          SMPP_STATE_UNDELIVERABLE = 5,
                          SMPP_STATE_ACCEPTED = 6,
                          SMPP_STATE_UNKNOWN = 7,
                          SMPP_STATE_REJECTED = 8,
                          SMPP_STATE_SKIPPED = 9 /* 5.0 */
};
struct smpp_receipt {
    char id[SMPP_ID_CAP]; /* "" when it tells none */
    enum smpp_message_state state;
};
/* A receipt by its esm_class (a text that only looks like one is a text). */
bool smpp_is_receipt(const struct smpp_pdu *p);
void smpp_receipt_read(const struct smpp_pdu *p, struct smpp_receipt *r);

enum smpp_id_form { /* of the ids in receipts against those in answers */
                    SMPP_ID_SAME,
                    SMPP_ID_HEX, /* receipts have hexadecimal where answers have
                                    decimal */
                    SMPP_ID_DECIMAL /* the other way round */
};
/*
 * The one spelling of an id: no leading zeros, no capitals, nothing that does
 * not print; where receipts write numbers another way, the number in decimal.
 */
void smpp_id_normal(enum smpp_id_form form, bool receipted, const char *id,
                    char dst[SMPP_ID_CAP]);
/* "expired"; what the final states of a receipt are in words. */
const char *smpp_state_word(enum smpp_message_state state);

/* A relative time, "YYMMDDhhmmss000R"; at most 63 weeks. */
void smpp_time_relative(int64_t seconds, char dst[17]);
#endif
