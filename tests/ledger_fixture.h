#ifndef KW_LEDGER_FIXTURE_H
#define KW_LEDGER_FIXTURE_H
/* ledger_fixture.h - a ledger in a folder of its own, for the checks. */
#include "ledger/ledger.h"

#include <check.h>

/* A new folder, removed with all in it by fixture_remove(). */
const char *fixture_folder(void);
const char *fixture_file(void); /* the ledger in it */
void fixture_remove(void);
struct ledger *fixture_open(void); /* makes or opens it */
/* integrity_check, foreign_key_check, and that the sums kept beside rows
 * agree with what they sum. */
void fixture_check(struct ledger *lg);
/* The number that a query gives. */
int64_t fixture_number(struct ledger *lg, const char *sql);
/* Runs the suite with TAP on standard output. */
int fixture_run(Suite *s);
#endif
