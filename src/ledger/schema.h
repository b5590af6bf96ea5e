#ifndef KW_SCHEMA_H
#define KW_SCHEMA_H
/*
 * schema.h - inside the ledger only: the tables, as numbered migrations. A
 * migration that was ever released is not changed; a new one is added.
 */
#include "ledger/engine.h"

int schema_latest(void); /* the number this program writes */
/*
 * Brings the ledger from its version to upto, each migration in a transaction
 * of its own; a new ledger is made in one.
 */
int schema_migrate(struct ledger *lg, int upto);
#endif
