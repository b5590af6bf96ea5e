#include "carrier/retry.h"

#include "base/number.h"
#include "carrier/curl_lib.h"

#include <string.h>

enum ledger_send retry_class(const struct retry_result *r)
{
    if (r->status >= 200 && r->status < 300)
        return LEDGER_SENT;
    if (r->status == 408 || r->status == 425 || r->status == 429 ||
        r->status >= 500)
        return LEDGER_WAITING;
    if (r->status >= 300) /* nothing is followed; it would be the same again */
        return LEDGER_FAILED;
    if (!r->began || r->repeat_safe)
        return LEDGER_WAITING;
    return LEDGER_PERHAPS;
}

int64_t retry_after(const char *value, int64_t now_s)
{
    const struct curl_lib *curl;
    size_t len;
    int64_t at_s;

    if (value == NULL)
        return 0;
    value += strspn(value, " \t");
    len = strcspn(value, "\r\n");
    while (len > 0 && (value[len - 1] == ' ' || value[len - 1] == '\t'))
        len--;
    if (len == 0)
        return 0;
    if (strspn(value, "0123456789") == len) {
        if (kw_parse_i64(value, len, 0, RETRY_AFTER_MOST_S, &at_s) < 0)
            at_s = RETRY_AFTER_MOST_S; /* longer than a day */
        return at_s > 0 ? now_s + at_s : 0;
    }
    curl = curl_lib(NULL); /* it gave the answer, so it is there */
    at_s = curl != NULL ? (int64_t)curl->getdate(value, NULL) : 0;
    if (at_s <= now_s)
        return 0;
    if (at_s > now_s + RETRY_AFTER_MOST_S)
        return now_s + RETRY_AFTER_MOST_S;
    return at_s;
}

int64_t retry_delay_s(int tries, int first_s, int longest_s, uint32_t chance)
{
    int64_t whole = first_s > 0 ? first_s : 1;
    int64_t half;

    for (int i = 1; i < tries && whole < longest_s; i++)
        whole *= 2;
    if (whole > longest_s)
        whole = longest_s;
    half = whole / 2;
    whole = half + (int64_t)(chance % (uint32_t)(whole - half + 1));
    return whole > 0 ? whole : 1;
}
