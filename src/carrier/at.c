#include "carrier/at.h"

#include "base/number.h"

#include <ctype.h>
#include <string.h>
#include <strings.h>

static const struct {
    int code;
    enum at_cms class;
    const char *name;
} cms_rows[] = {
    {1, AT_CMS_PERMANENT, "Unassigned (unallocated) number"},
    {8, AT_CMS_PERMANENT, "Operator determined barring"},
    {10, AT_CMS_PERMANENT, "Call barred"},
    {21, AT_CMS_PERMANENT, "Short message transfer rejected"},
    {22, AT_CMS_TRANSIENT, "Memory capacity exceeded"},
    {27, AT_CMS_TRANSIENT, "Destination out of service"},
    {28, AT_CMS_PERMANENT, "Unidentified subscriber"},
    {29, AT_CMS_PERMANENT, "Facility rejected"},
    {30, AT_CMS_PERMANENT, "Unknown subscriber"},
    {38, AT_CMS_TRANSIENT, "Network out of order"},
    {41, AT_CMS_TRANSIENT, "Temporary failure"},
    {42, AT_CMS_TRANSIENT, "Congestion"},
    {47, AT_CMS_TRANSIENT, "Resources unavailable, unspecified"},
    {50, AT_CMS_PERMANENT, "Requested facility not subscribed"},
    {69, AT_CMS_PERMANENT, "Requested facility not implemented"},
    {81, AT_CMS_BUG, "Invalid short message transfer reference value"},
    {95, AT_CMS_BUG, "Invalid message, unspecified"},
    {96, AT_CMS_BUG, "Invalid mandatory information"},
    {97, AT_CMS_BUG, "Message type non-existent or not implemented"},
    {98, AT_CMS_BUG,
     "Message not compatible with short message protocol state"},
    {99, AT_CMS_BUG, "Information element non-existent or not implemented"},
    {111, AT_CMS_UNKNOWN, "Protocol error, unspecified"},
    {127, AT_CMS_UNKNOWN, "Interworking, unspecified"},
    {128, AT_CMS_PERMANENT, "Telematic interworking not supported"},
    {129, AT_CMS_PERMANENT, "Short message Type 0 not supported"},
    {130, AT_CMS_PERMANENT, "Cannot replace short message"},
    {143, AT_CMS_PERMANENT, "Unspecified TP-PID error"},
    {144, AT_CMS_PERMANENT, "Data coding scheme (alphabet) not supported"},
    {145, AT_CMS_PERMANENT, "Message class not supported"},
    {159, AT_CMS_PERMANENT, "Unspecified TP-DCS error"},
    {160, AT_CMS_PERMANENT, "Command cannot be actioned"},
    {161, AT_CMS_PERMANENT, "Command unsupported"},
    {175, AT_CMS_PERMANENT, "Unspecified TP-Command error"},
    {176, AT_CMS_PERMANENT, "TPDU not supported"},
    {192, AT_CMS_TRANSIENT, "SC busy"},
    {193, AT_CMS_OPERATOR, "No SC subscription"},
    {194, AT_CMS_TRANSIENT, "SC system failure"},
    {195, AT_CMS_PERMANENT, "Invalid SME address"},
    {196, AT_CMS_PERMANENT, "Destination SME barred"},
    {197, AT_CMS_SENT, "SM Rejected-Duplicate SM"},
    {198, AT_CMS_BUG, "TP-VPF not supported"},
    {199, AT_CMS_BUG, "TP-VP not supported"},
    {208, AT_CMS_STORE, "(U)SIM SMS storage full"},
    {209, AT_CMS_OPERATOR, "No SMS storage capability in (U)SIM"},
    {210, AT_CMS_TRANSIENT, "Error in MS"},
    {211, AT_CMS_STORE, "Memory Capacity Exceeded"},
    {212, AT_CMS_TRANSIENT, "(U)SIM Application Toolkit Busy"},
    {213, AT_CMS_TRANSIENT, "(U)SIM data download error"},
    {255, AT_CMS_UNKNOWN, "Unspecified error cause"},
    {300, AT_CMS_RESET, "ME failure"},
    {301, AT_CMS_TRANSIENT, "SMS service of ME reserved"},
    {302, AT_CMS_OPERATOR, "operation not allowed"},
    {303, AT_CMS_BUG, "operation not supported"},
    {304, AT_CMS_BUG, "invalid PDU mode parameter"},
    {305, AT_CMS_BUG, "invalid text mode parameter"},
    {310, AT_CMS_OPERATOR, "(U)SIM not inserted"},
    {311, AT_CMS_OPERATOR, "(U)SIM PIN required"},
    {312, AT_CMS_OPERATOR, "PH-(U)SIM PIN required"},
    {313, AT_CMS_OPERATOR, "(U)SIM failure"},
    {314, AT_CMS_TRANSIENT, "(U)SIM busy"},
    {315, AT_CMS_OPERATOR, "(U)SIM wrong"},
    {316, AT_CMS_OPERATOR, "(U)SIM PUK required"},
    {317, AT_CMS_OPERATOR, "(U)SIM PIN2 required"},
    {318, AT_CMS_OPERATOR, "(U)SIM PUK2 required"},
    {320, AT_CMS_STORE, "memory failure"},
    {321, AT_CMS_BUG, "invalid memory index"},
    {322, AT_CMS_STORE, "memory full"},
    {330, AT_CMS_OPERATOR, "SMSC address unknown"},
    {331, AT_CMS_TRANSIENT, "no network service"},
    {332, AT_CMS_UNKNOWN, "network timeout"},
    {340, AT_CMS_BUG, "no +CNMA acknowledgement expected"},
    {500, AT_CMS_UNKNOWN, "unknown error"},
    {512, AT_CMS_UNKNOWN, "manufacturer specific from here on"},
};

enum at_cms at_cms_class(int code)
{
    for (size_t i = 0; i < KW_COUNT(cms_rows); i++) {
        if (cms_rows[i].code == code)
            return cms_rows[i].class;
    }
    return AT_CMS_UNKNOWN; /* makers' own, and what is reserved */
}

const char *at_cms_name(int code)
{
    for (size_t i = 0; i < KW_COUNT(cms_rows); i++) {
        if (cms_rows[i].code == code)
            return cms_rows[i].name;
    }
    return "";
}

/* One octet more; true when a line or prompt is whole. */
static bool take(struct at_reader *r, char c)
{
    bool whole;

    if (c == '>' && r->len == 0 && !r->too_long) {
        memcpy(r->line, ">", 2);
        return true;
    }
    if (c == '\r' || c == '\n') {
        whole = r->len > 0 && !r->too_long;
        r->line[r->len] = '\0';
        r->len = 0;
        r->too_long = false;
        return whole;
    }
    if ((c == ' ' && r->len == 0) || !isprint((unsigned char)c))
        return false;
    if (r->len == AT_LINE_CAP - 1)
        r->too_long = true;
    else
        r->line[r->len++] = c;
    return false;
}

bool at_next(struct at_reader *r, const char *octets, size_t len, size_t *used)
{
    for (*used = 0; *used < len;) {
        if (take(r, octets[(*used)++]))
            return true;
    }
    return false;
}

const char *at_after(const char *line, const char *prefix)
{
    size_t n = strlen(prefix);

    if (strncasecmp(line, prefix, n) != 0)
        return NULL;
    return line + n + strspn(line + n, " ");
}

static int code_of(const char *s)
{
    int64_t code;

    return kw_parse_i64(s, strlen(s), 0, 65535, &code) == 0 ? (int)code : -1;
}

enum at_kind at_kind(const char *line, int *code)
{
    const char *rest;

    *code = -1;
    if (strcmp(line, "OK") == 0)
        return AT_OK;
    if (strcmp(line, ">") == 0)
        return AT_PROMPT;
    if (strcmp(line, "ERROR") == 0 || strcmp(line, "COMMAND NOT SUPPORT") == 0)
        return AT_ERROR;
    if (strcmp(line, "NO CARRIER") == 0)
        return AT_CARRIER_LOST;
    if ((rest = at_after(line, "+CME ERROR:")) != NULL) {
        *code = code_of(rest);
        return AT_CME;
    }
    if ((rest = at_after(line, "+CMS ERROR:")) != NULL) {
        *code = code_of(rest);
        return AT_CMS;
    }
    return AT_TEXT;
}

void at_fields(const char *values, struct at_fields *f)
{
    const char *p = values;

    memset(f, 0, sizeof(*f));
    while (f->n < AT_FIELDS_MOST) {
        char *dst = f->text[f->n];
        size_t n = 0;
        bool quoted = false;
        int64_t v;

        for (; *p != '\0' && (quoted || *p != ','); p++) {
            if (*p == '"')
                quoted = !quoted;
            else if ((quoted || *p != ' ') && n + 1 < sizeof(f->text[0]))
                dst[n++] = *p;
        }
        dst[n] = '\0';
        f->number[f->n] = kw_parse_i64(dst, n, INT32_MIN, INT32_MAX, &v) == 0;
        f->value[f->n] = f->number[f->n] ? (int)v : 0;
        f->n++;
        if (*p == '\0')
            return;
        p++;
    }
}

static int digit(char c)
{
    const char *hex = "0123456789ABCDEF";
    const char *at = c != '\0' ? strchr(hex, toupper((unsigned char)c)) : NULL;

    return at != NULL ? (int)(at - hex) : -1;
}

int at_hex(const char *line, uint8_t *octets, size_t cap)
{
    size_t n = strlen(line);

    if (n == 0 || n % 2 != 0 || n / 2 > cap)
        return -1;
    for (size_t i = 0; i < n / 2; i++) {
        int high = digit(line[2 * i]), low = digit(line[2 * i + 1]);

        if (high < 0 || low < 0)
            return -1;
        octets[i] = (uint8_t)(high << 4 | low);
    }
    return (int)(n / 2);
}
