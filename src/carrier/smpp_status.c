#include "carrier/smpp_status.h"

#include <ctype.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    uint16_t status;
    enum smpp_class class;
    const char *name;
} rows[] = {
    {0x000, SMPP_OK, "ESME_ROK"},
    {0x001, SMPP_BUG, "ESME_RINVMSGLEN"},
    {0x002, SMPP_BUG, "ESME_RINVCMDLEN"},
    {0x003, SMPP_BUG, "ESME_RINVCMDID"},
    {0x004, SMPP_SESSION, "ESME_RINVBNDSTS"},
    {0x005, SMPP_SESSION, "ESME_RALYBND"},
    {0x006, SMPP_PERMANENT, "ESME_RINVPRTFLG"},
    {0x007, SMPP_PERMANENT, "ESME_RINVREGDLVFLG"},
    {0x008, SMPP_TRANSIENT, "ESME_RSYSERR"},
    {0x00a, SMPP_PERMANENT, "ESME_RINVSRCADR"},
    {0x00b, SMPP_PERMANENT, "ESME_RINVDSTADR"},
    {0x00c, SMPP_PERMANENT, "ESME_RINVMSGID"},
    {0x00d, SMPP_SESSION, "ESME_RBINDFAIL"},
    {0x00e, SMPP_OPERATOR, "ESME_RINVPASWD"},
    {0x00f, SMPP_OPERATOR, "ESME_RINVSYSID"},
    {0x011, SMPP_PERMANENT, "ESME_RCANCELFAIL"},
    {0x014, SMPP_TRANSIENT, "ESME_RMSGQFUL"},
    {0x015, SMPP_PERMANENT, "ESME_RINVSERTYP"},
    {0x033, SMPP_PERMANENT, "ESME_RINVNUMDESTS"},
    {0x034, SMPP_PERMANENT, "ESME_RINVDLNAME"},
    {0x040, SMPP_PERMANENT, "ESME_RINVDESTFLAG"},
    {0x042, SMPP_PERMANENT, "ESME_RINVSUBREP"},
    {0x043, SMPP_PERMANENT, "ESME_RINVESMCLASS"},
    {0x044, SMPP_PERMANENT, "ESME_RCNTSUBDL"},
    {0x045, SMPP_FEW, "ESME_RSUBMITFAIL"},
    {0x048, SMPP_PERMANENT, "ESME_RINVSRCTON"},
    {0x049, SMPP_PERMANENT, "ESME_RINVSRCNPI"},
    {0x050, SMPP_PERMANENT, "ESME_RINVDSTTON"},
    {0x051, SMPP_PERMANENT, "ESME_RINVDSTNPI"},
    {0x053, SMPP_OPERATOR, "ESME_RINVSYSTYP"},
    {0x054, SMPP_PERMANENT, "ESME_RINVREPFLAG"},
    {0x055, SMPP_PERMANENT, "ESME_RINVNUMMSGS"},
    {0x058, SMPP_THROTTLE, "ESME_RTHROTTLED"},
    {0x061, SMPP_PERMANENT, "ESME_RINVSCHED"},
    {0x062, SMPP_PERMANENT, "ESME_RINVEXPIRY"},
    {0x063, SMPP_PERMANENT, "ESME_RINVDFTMSGID"},
    {0x064, SMPP_TRANSIENT, "ESME_RX_T_APPN"},
    {0x065, SMPP_PERMANENT, "ESME_RX_P_APPN"},
    {0x066, SMPP_PERMANENT, "ESME_RX_R_APPN"},
    {0x067, SMPP_PERMANENT, "ESME_RQUERYFAIL"},
    {0x0c0, SMPP_BUG, "ESME_RINVOPTPARSTREAM"},
    {0x0c1, SMPP_PERMANENT, "ESME_ROPTPARNOTALLWD"},
    {0x0c2, SMPP_BUG, "ESME_RINVPARLEN"},
    {0x0c3, SMPP_BUG, "ESME_RMISSINGOPTPARAM"},
    {0x0c4, SMPP_BUG, "ESME_RINVOPTPARAMVAL"},
    {0x0fe, SMPP_FEW, "ESME_RDELIVERYFAILURE"},
    {0x0ff, SMPP_FEW, "ESME_RUNKNOWNERR"},
    {0x100, SMPP_PERMANENT, "ESME_RSERTYPUNAUTH"},
    {0x101, SMPP_PERMANENT, "ESME_RPROHIBITED"},
    {0x102, SMPP_TRANSIENT, "ESME_RSERTYPUNAVAIL"},
    {0x103, SMPP_PERMANENT, "ESME_RSERTYPDENIED"},
    {0x104, SMPP_PERMANENT, "ESME_RINVDCS"},
    {0x105, SMPP_PERMANENT, "ESME_RINVSRCADDRSUBUNIT"},
    {0x106, SMPP_PERMANENT, "ESME_RINVDSTADDRSUBUNIT"},
    {0x107, SMPP_PERMANENT, "ESME_RINVBCASTFREQINT"},
    {0x108, SMPP_PERMANENT, "ESME_RINVBCASTALIAS_NAME"},
    {0x109, SMPP_PERMANENT, "ESME_RINVBCASTAREAFMT"},
    {0x10a, SMPP_PERMANENT, "ESME_RINVNUMBCAST_AREAS"},
    {0x10b, SMPP_PERMANENT, "ESME_RINVBCASTCNTTYPE"},
    {0x10c, SMPP_PERMANENT, "ESME_RINVBCASTMSGCLASS"},
    {0x10d, SMPP_PERMANENT, "ESME_RBCASTFAIL"},
    {0x10e, SMPP_PERMANENT, "ESME_RBCASTQUERYFAIL"},
    {0x10f, SMPP_PERMANENT, "ESME_RBCASTCANCELFAIL"},
    {0x110, SMPP_PERMANENT, "ESME_RINVBCAST_REP"},
    {0x111, SMPP_PERMANENT, "ESME_RINVBCASTSRVGRP"},
    {0x112, SMPP_PERMANENT, "ESME_RINVBCASTCHANIND"},
};

static const char blanks[] = " ,;\t\r\n";

static int read_class(const char *word, size_t len, enum smpp_class *class)
{
    static const struct {
        const char *word;
        enum smpp_class class;
    } words[] = {{"again", SMPP_TRANSIENT},
                 {"wait", SMPP_THROTTLE},
                 {"fail", SMPP_PERMANENT},
                 {"person", SMPP_OPERATOR}};

    for (size_t i = 0; i < KW_COUNT(words); i++) {
        if (strlen(words[i].word) == len &&
            memcmp(words[i].word, word, len) == 0) {
            *class = words[i].class;
            return 0;
        }
    }
    return KW_EINVAL;
}

int smpp_statuses_read(const char *text, struct smpp_statuses *out,
                       const char **wrong)
{
    const char *p = text + strspn(text, blanks);

    out->n = 0;
    while (*p != '\0') {
        unsigned long v;
        char *end;

        *wrong = p;
        errno = 0;
        v = strtoul(p, &end, 0);
        if (!isdigit((unsigned char)*p) || errno != 0 || v == 0 ||
            v > UINT32_MAX || end[strspn(end, " \t")] == '\0' ||
            out->n == SMPP_STATUSES_MOST)
            return KW_EINVAL;
        p = end + strspn(end, " \t");
        out->rows[out->n].status = (uint32_t)v;
        if (read_class(p, strcspn(p, blanks), &out->rows[out->n].class) < 0)
            return KW_EINVAL;
        out->n++;
        p += strcspn(p, blanks);
        p += strspn(p, blanks);
    }
    return 0;
}

enum smpp_class smpp_status_class(const struct smpp_statuses *own,
                                  uint32_t command_status)
{
    for (size_t i = 0; own != NULL && i < own->n; i++) {
        if (own->rows[i].status == command_status)
            return own->rows[i].class;
    }
    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        if (rows[i].status == command_status)
            return rows[i].class;
    }
    return SMPP_FEW; /* vendors' own, and what is reserved */
}

bool smpp_status_waits(const struct smpp_statuses *own, uint32_t command_status)
{
    for (size_t i = 0; own != NULL && i < own->n; i++) {
        if (own->rows[i].status == command_status)
            return own->rows[i].class == SMPP_THROTTLE;
    }
    return command_status == SMPP_RMSGQFUL ||
           smpp_status_class(NULL, command_status) == SMPP_THROTTLE;
}

const char *smpp_status_name(uint32_t command_status)
{
    for (size_t i = 0; i < KW_COUNT(rows); i++) {
        if (rows[i].status == command_status)
            return rows[i].name;
    }
    return "";
}
