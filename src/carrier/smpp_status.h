#ifndef KW_SMPP_STATUS_H
#define KW_SMPP_STATUS_H
/*
 * smpp_status.h - command_status: its name and what a sender should do.
 * Source: SMPP v3.4, 5.1.3; v5.0, 4.7.6. The class is a judgement.
 */
#include "base/kw.h"

enum smpp_status_value {
    SMPP_ROK = 0x00,
    SMPP_RINVMSGLEN = 0x01,
    SMPP_RINVCMDLEN = 0x02,
    SMPP_RINVCMDID = 0x03,
    SMPP_RINVBNDSTS = 0x04,
    SMPP_RALYBND = 0x05,
    SMPP_RSYSERR = 0x08,
    SMPP_RBINDFAIL = 0x0d,
    SMPP_RINVPASWD = 0x0e,
    SMPP_RINVSYSID = 0x0f,
    SMPP_RMSGQFUL = 0x14,
    SMPP_RINVSYSTYP = 0x53,
    SMPP_RTHROTTLED = 0x58,
    SMPP_RX_T_APPN = 0x64,
    SMPP_RX_P_APPN = 0x65
};

enum smpp_class {
    SMPP_OK,
    SMPP_THROTTLE,  /* slow the session; not a try of this text */
    SMPP_TRANSIENT, /* later again */
    SMPP_FEW,       /* later again, few times */
    SMPP_SESSION,   /* bind anew */
    SMPP_OPERATOR,  /* stop, and tell a person */
    SMPP_PERMANENT, /* this text fails */
    SMPP_BUG        /* our fault: fails, and is logged */
};

/* What single values mean to one centre: operators use them freely. */
#define SMPP_STATUSES_MOST 32
struct smpp_statuses {
    size_t n;
    struct {
        uint32_t status;
        enum smpp_class class;
    } rows[SMPP_STATUSES_MOST];
};
/*
 * Reads "0x410 again, 0x401 fail": a value, then again, wait, fail or person.
 * 0, or KW_EINVAL with *wrong where it stops to be that.
 */
int smpp_statuses_read(const char *text, struct smpp_statuses *out,
                       const char **wrong);

/* own may be NULL. */
enum smpp_class smpp_status_class(const struct smpp_statuses *own,
                                  uint32_t command_status);
/* Is the session to wait, and the text no worse for it? "Queue full", too. */
bool smpp_status_waits(const struct smpp_statuses *own,
                       uint32_t command_status);
/* "ESME_RTHROTTLED"; "" for a value that is not known. */
const char *smpp_status_name(uint32_t command_status);
#endif
