#ifndef KW_SMPP_PDU_H
#define KW_SMPP_PDU_H
/*
 * smpp_pdu.h - the protocol data units of SMPP, to and from octets. Field
 * names are the standard's. Tolerant of what message centres send: answers
 * without a body, unknown TLVs, TLVs where 3.4 has none, statuses of 5.0.
 * Source: Short Message Peer to Peer Protocol Specification v3.4, issue 1.2,
 * clauses 3 (notation), 4 (layouts), 5 (parameters).
 */
#include "base/buf.h"

#define SMPP_HEADER_OCTETS   16
#define SMPP_PDU_OCTETS_MOST (65536 + 1024) /* longer ones end the session */
#define SMPP_ADDR_CAP        65             /* with NUL; 21 but in data_sm */
#define SMPP_ID_CAP          65
#define SMPP_SHORT_MOST      254 /* octets of short_message */

enum smpp_command {
    SMPP_BIND_RECEIVER = 0x00000001,
    SMPP_BIND_TRANSMITTER = 0x00000002,
    SMPP_QUERY_SM = 0x00000003,
    SMPP_SUBMIT_SM = 0x00000004,
    SMPP_DELIVER_SM = 0x00000005,
    SMPP_UNBIND = 0x00000006,
    SMPP_CANCEL_SM = 0x00000008,
    SMPP_BIND_TRANSCEIVER = 0x00000009,
    SMPP_OUTBIND = 0x0000000b,
    SMPP_ENQUIRE_LINK = 0x00000015,
    SMPP_ALERT_NOTIFICATION = 0x00000102,
    SMPP_DATA_SM = 0x00000103
};
#define SMPP_RESP         0x80000000u /* or-ed to a command_id */
#define SMPP_GENERIC_NACK 0x80000000u

enum smpp_tag { /* 5.3.2 */
                SMPP_TAG_RECEIPTED_MESSAGE_ID = 0x001e,
                SMPP_TAG_SAR_MSG_REF_NUM = 0x020c,
                SMPP_TAG_SAR_TOTAL_SEGMENTS = 0x020e,
                SMPP_TAG_SAR_SEGMENT_SEQNUM = 0x020f,
                SMPP_TAG_SC_INTERFACE_VERSION = 0x0210,
                SMPP_TAG_NETWORK_ERROR_CODE = 0x0423,
                SMPP_TAG_MESSAGE_PAYLOAD = 0x0424,
                SMPP_TAG_MESSAGE_STATE = 0x0427,
                SMPP_TAG_USSD_SERVICE_OP = 0x0501,
                SMPP_TAG_ITS_SESSION_INFO = 0x1383
};

enum smpp_ussd { /* ussd_service_op, 5.3.2.44 */
                 SMPP_USSD_PSSD_INDICATION = 0,
                 SMPP_USSD_PSSR_INDICATION = 1, /* the caller has dialled */
                 SMPP_USSD_USSR_REQUEST = 2,    /* a screen that asks */
                 SMPP_USSD_USSN_REQUEST = 3,
                 SMPP_USSD_PSSD_RESPONSE = 16,
                 SMPP_USSD_PSSR_RESPONSE = 17, /* the last screen */
                 SMPP_USSD_USSR_CONFIRM = 18,  /* what was pressed */
                 SMPP_USSD_USSN_CONFIRM = 19
};

/* esm_class, 5.2.12. */
#define SMPP_ESM_TYPE_MASK 0x3c
#define SMPP_ESM_RECEIPT   0x04
#define SMPP_ESM_UDHI      0x40

struct smpp_address {
    uint8_t ton, npi;
    char addr[SMPP_ADDR_CAP];
};

struct smpp_pdu {
    uint32_t command_id, command_status, sequence_number;
    bool has_body; /* decoded: false for an answer of the header alone */
    /* bind, outbind and their answers */
    char system_id[16], password[9], system_type[13];
    uint8_t interface_version, addr_ton, addr_npi;
    char address_range[41];
    /* submit_sm, deliver_sm, data_sm, query_sm, cancel_sm */
    char service_type[6];
    struct smpp_address source, dest; /* dest: esme_addr of an alert */
    uint8_t esm_class, protocol_id, priority_flag;
    char schedule_delivery_time[17], validity_period[17];
    uint8_t registered_delivery, replace_if_present_flag, data_coding,
        sm_default_msg_id;
    uint8_t sm_length;
    const uint8_t *short_message; /* borrowed */
    /* answers, query_sm, cancel_sm */
    char message_id[SMPP_ID_CAP];
    char final_date[17];
    uint8_t message_state, error_code;
    /* optional parameters as they stand; borrowed */
    const uint8_t *tlvs;
    size_t tlvs_len;
};

struct smpp_tlv {
    uint16_t tag, length;
    const uint8_t *value; /* borrowed */
};

/*
 * How long the PDU at the start of the octets is: 0 when there are not yet
 * four octets, KW_EINVAL when command_length is below 16 or above
 * SMPP_PDU_OCTETS_MOST (framing is lost then).
 */
int smpp_pdu_length(const uint8_t *octets, size_t len);
/*
 * Reads one whole PDU of that length. The header is written in any case when
 * there are 16 octets. KW_ENOENT: a command_id that is not known; KW_EINVAL:
 * the body does not fit its layout.
 */
int smpp_pdu_decode(struct smpp_pdu *p, const uint8_t *octets, size_t len);
/* Appends one PDU; out is to be capped. KW_EINVAL, or out's error. */
int smpp_pdu_encode(const struct smpp_pdu *p, struct kw_buf *out);
/* The command's name as the standard spells it; "unknown". */
const char *smpp_pdu_name(uint32_t command_id);

/* The next TLV at *at (begin with 0); false at the end or a broken one. */
bool smpp_tlv_next(const struct smpp_pdu *p, size_t *at, struct smpp_tlv *t);
/* The last TLV with the tag that has at least `least` octets. */
bool smpp_tlv_find(const struct smpp_pdu *p, uint16_t tag, size_t least,
                   struct smpp_tlv *t);
/* The value as a big-endian number of up to 4 octets. */
uint32_t smpp_tlv_number(const struct smpp_tlv *t);
/* Appends a TLV to octets that will stand in p->tlvs. */
void smpp_tlv_put(struct kw_buf *out, uint16_t tag, const void *value,
                  size_t len);
void smpp_tlv_put_number(struct kw_buf *out, uint16_t tag, uint32_t value,
                         size_t octets);

/* What is said: message_payload when it is there, else short_message. */
const uint8_t *smpp_pdu_message(const struct smpp_pdu *p, size_t *len);
#endif
