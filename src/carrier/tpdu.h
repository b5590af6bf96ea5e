#ifndef KW_TPDU_H
#define KW_TPDU_H
/*
 * tpdu.h - the transfer protocol data units of SMS: SMS-DELIVER, SMS-SUBMIT
 * and SMS-STATUS-REPORT, to and from octets. Field names are the standard's.
 * The SCA octets that PDU mode puts before a TPDU are not part of it:
 * tpdu_skip_sca().
 * Source: 3GPP TS 23.040, 9.1.2.5 (addresses), 9.2.2 (layouts), 9.2.3.
 */
#include "base/buf.h"
#include "base/cur.h"
#include "carrier/udh.h"

#define TPDU_UD_OCTETS   140
#define TPDU_OCTETS_MOST 176 /* STATUS-REPORT, the longest */
#define TPDU_ADDRESS_CAP 64  /* UTF-8 and NUL; 11 characters or 20 digits */
#define TPDU_TP_MTI_MASK 0x03

/* Type-of-number, 9.1.2.5. */
enum tpdu_ton {
    TPDU_TON_UNKNOWN = 0,
    TPDU_TON_INTERNATIONAL = 1,
    TPDU_TON_NATIONAL = 2,
    TPDU_TON_NETWORK = 3,
    TPDU_TON_SUBSCRIBER = 4,
    TPDU_TON_ALPHANUMERIC = 5,
    TPDU_TON_ABBREVIATED = 6
};

struct tpdu_address {
    uint8_t ton, npi;
    char text[TPDU_ADDRESS_CAP]; /* digits with no +, or a name in UTF-8 */
};

struct tpdu_time { /* local time as the centre claims it */
    int year, month, day, hour, minute, second; /* year 2000..2099 */
    int zone;   /* quarter hours east of UTC, may be negative */
    bool valid; /* a real day and time */
};

enum tpdu_type { TPDU_DELIVER, TPDU_SUBMIT, TPDU_STATUS_REPORT };
enum tpdu_way { TPDU_FROM_CENTRE, TPDU_TO_CENTRE };
enum tpdu_vpf { /* 9.2.3.3, as on the air */
                TPDU_VPF_NONE = 0,
                TPDU_VPF_ENHANCED = 1,
                TPDU_VPF_RELATIVE = 2,
                TPDU_VPF_ABSOLUTE = 3
};

struct tpdu {
    enum tpdu_type type;
    bool tp_mms; /* as sent: true = no more messages wait */
    bool tp_rd, tp_srr, tp_sri, tp_srq, tp_udhi, tp_rp, tp_lp;
    uint8_t tp_mr, tp_pid, tp_dcs, tp_st;
    struct tpdu_address address; /* tp_oa, tp_da or tp_ra */
    struct tpdu_time tp_scts, tp_dt;
    enum tpdu_vpf tp_vpf;
    uint8_t tp_vp;             /* relative */
    struct tpdu_time tp_vp_at; /* absolute */
    uint8_t tp_vp_enhanced[7];
    uint8_t tp_udl;   /* septets for the default alphabet, else octets */
    size_t ud_octets; /* in tp_ud */
    uint8_t tp_ud[TPDU_UD_OCTETS];
};

/* Passes over the SCA at the start; its octets, or KW_EINVAL. */
int tpdu_skip_sca(const uint8_t *pdu, size_t len);
/*
 * Reads one. KW_EINVAL: the octets are not such a unit (too short, an
 * impossible length). Octets after it are passed over. A time that is no time
 * is not an error: valid is then false.
 */
int tpdu_decode(struct tpdu *t, enum tpdu_way way, const uint8_t *octets,
                size_t len);
/* Writes one; its octets, KW_EFULL or KW_EINVAL (address, lengths). */
int tpdu_encode(const struct tpdu *t, uint8_t *octets, size_t cap);

/*
 * The text in UTF-8, with the header read. For 8-bit data the octets are
 * taken as Latin-1. KW_EINVAL when it is compressed: then out is untouched.
 */
int tpdu_text(const struct tpdu *t, struct udh *header, struct kw_buf *out);
/*
 * Puts septets (one an octet) or octets into tp_ud after the header, sets
 * tp_udl and tp_udhi by tp_dcs. KW_EFULL when it is more than 140 octets.
 */
int tpdu_put_ud(struct tpdu *t, const struct udh *header, const uint8_t *units,
                size_t n);

/* "+digits" for an international number, else as it stands. */
void tpdu_address_text(const struct tpdu_address *a, char *dst, size_t cap);
/* From "+digits", digits with * and #, or a name. KW_EINVAL. */
int tpdu_address_from(struct tpdu_address *a, const char *text);

/* UTC seconds; 0 when not valid. */
int64_t tpdu_time_utc(const struct tpdu_time *at);

/* The largest TP-VP that is not longer than that (least: 5 minutes). */
uint8_t tpdu_vp_relative(int64_t seconds);
int64_t tpdu_vp_seconds(uint8_t tp_vp);

/* What TP-ST means for the sender; unknown values go by their range. */
enum tpdu_fate {
    TPDU_DELIVERED,
    TPDU_UNCONFIRMED, /* forwarded; the centre cannot confirm */
    TPDU_TRYING,      /* not final: another report follows */
    TPDU_PERMANENT,
    TPDU_GAVE_UP /* temporary; may be sent anew */
};
enum tpdu_fate tpdu_fate(uint8_t tp_st);
#endif
