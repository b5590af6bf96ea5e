#ifndef KW_CLOCK_H
#define KW_CLOCK_H
/*
 * clock.h - the only place that asks for the time. Everything else is given
 * it: seconds since 1970-01-01T00:00:00Z, UTC. A told clock stands still
 * until it is told again.
 */
#include "base/kw.h"

#define CLOCK_TEXT_CAP 32
#define CLOCK_DAY_S    86400

int64_t clock_now_s(void);
int64_t clock_now_ms(void);
int64_t clock_monotonic_us(void); /* for measuring; never told */

/* From now on the time is what was last told. Thread-safe. */
void clock_tell(int64_t now_s);
bool clock_is_told(void);

/* Whether tzdata has a zone of that name; UTC is known without it. */
bool clock_knows_zone(const char *zone);
/* The programme's zone, a name as in tzdata; once, before any thread. */
int clock_set_zone(const char *zone);

/* "2026-03-01T08:00:00Z" */
void clock_format_utc(int64_t at_s, char *dst, size_t cap);
/* "2026-03-01 08:00" in the programme's zone */
void clock_format_local(int64_t at_s, char *dst, size_t cap);
/* "2026-03-01" in the programme's zone */
void clock_format_day(int64_t at_s, char *dst, size_t cap);
/*
 * Reads "2026-03-01", "2026-03-01 08:00[:00]" (both in the programme's zone)
 * or "2026-03-01T08:00:00Z". Returns 0 or KW_EINVAL; impossible days such as
 * 2026-02-30 are refused.
 */
int clock_parse(const char *s, size_t len, int64_t *at_s);
/* Seconds since local midnight, in the programme's zone. */
int clock_second_of_day(int64_t at_s);
/* Local midnight that began the day of at_s. */
int64_t clock_midnight(int64_t at_s);
int clock_month(int64_t at_s); /* 1..12 in the programme's zone */
#endif
