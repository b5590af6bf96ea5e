#ifndef KW_LOOK_ROW_H
#define KW_LOOK_ROW_H
/* look_row.h - inside look*.c only. */
#include "ledger/query.h"

/*
 * Steps a bound query to its end, row by row, and closes it. A negative
 * return of row stops. 0 or what stopped it.
 */
int look_each(struct query *q, int (*row)(struct query *, void *), void *arg);
#endif
