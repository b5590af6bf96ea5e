#ifndef KW_RETRY_H
#define KW_RETRY_H
/*
 * retry.h - what an HTTP answer means for a text on its way out, and when to
 * try again. Pure. Sources: RFC 9110, 9.2.2 (a POST whose fate is not known
 * is not repeated unless the far side can tell), 10.2.3 (Retry-After), 15;
 * RFC 6585, 4 (429); RFC 8470, 5.2 (425).
 */
#include "ledger/ledger.h"

#define RETRY_AFTER_MOST_S 86400

struct retry_result {
    long status;      /* of the answer; 0 none came */
    bool began;       /* some of the request has left */
    bool repeat_safe; /* our id went along, repeats are known by it */
};
/* SENT, FAILED, WAITING (try again) or PERHAPS. */
enum ledger_send retry_class(const struct retry_result *r);

/*
 * Retry-After, seconds or HTTP-date, as a moment; at most a day ahead.
 * 0 when it is neither, or past.
 */
int64_t retry_after(const char *value, int64_t now_s);

/*
 * Seconds to wait after the tries-th try (1 …): doubled each time from
 * first_s up to longest_s; the later half of it by chance, so that many do
 * not come back at once. chance: any 32 random bits.
 */
int64_t retry_delay_s(int tries, int first_s, int longest_s, uint32_t chance);
#endif
