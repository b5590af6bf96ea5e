#ifndef KW_PAGE_VALLEY_H
#define KW_PAGE_VALLEY_H
/*
 * page_valley.h - a made-up corner of the Sele valley in a ledger: three
 * batches of twenty pots, one of them breaking, one pot slowing down, one
 * home with a danger sign, names long and in several scripts.
 */
#include "ledger/ledger.h"

#define VALLEY_NOW_S INT64_C(1772352000) /* 2026-03-01T08:00:00Z */
#define VALLEY_DAY_S INT64_C(86400)
#define VALLEY_LONG  "Río Seco de las Piedras Blancas y del Molino Viejo"
#define VALLEY_HINDI "सेले घाटी का ऊपरी गाँव"

/* A new ledger in the fixture's folder, filled. The caller closes it. */
struct ledger *valley_open(void);
/* The canonical serial of pot n (1 …) of a batch, layout 4 + 3 + 2. */
void valley_serial(const char *batch, int n, char dst[LEDGER_SERIAL_CAP]);
int64_t valley_key(const char *batch, int n);
#endif
