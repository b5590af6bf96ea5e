#ifndef KW_COUNTRY_H
#define KW_COUNTRY_H
/*
 * country.h - a made-up programme of a whole country for the benches: batches
 * of 50 to 200 pots, fired over six years, each handed out in five places on
 * two days each, to a home and a phone for each pot; some failed, lost,
 * handed out again; a third of them read; how each was made written down.
 * Bare inserts, as this is not what is measured. What goes wrong ends the
 * bench.
 */
#include <stdint.h>

#define COUNTRY_NOW_S  1790000000 /* September 2026 */
#define COUNTRY_POTS   125        /* of a batch, on average */
#define COUNTRY_PLACES 400

/* Makes the ledger's file; pots is about how many. Their number. */
int country_fill(const char *file, int pots);
/* Of one pot that is in a home: its failure is reported at that time. */
void country_fail_one(const char *file, int64_t at_s);
#endif
