#ifndef KW_RATE_H
#define KW_RATE_H
/*
 * rate.h - so many a minute from one address: a token bucket each, which
 * holds one minute's worth. The table has a fixed size; when it is full, the
 * bucket that has waited longest makes room.
 */
#include "base/kw.h"

#define RATE_KEY_OCTETS 16

struct rate;

struct rate *rate_new(int per_minute); /* > 0 */
void rate_free(struct rate *r);        /* NULL is fine */
/*
 * Takes one token. 0, or the seconds until there is one again (>= 1).
 * now_us: a clock that never steps back.
 */
int rate_take(struct rate *r, const uint8_t key[RATE_KEY_OCTETS],
              int64_t now_us);
#endif
