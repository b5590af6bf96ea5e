#ifndef KW_ORPHANS_H
#define KW_ORPHANS_H
/* orphans.h - inside the ledger only: reports whose pot came to be known. */
#include "ledger/ledger.h"

/* The pot takes over the reports that name it, and the failure they tell. */
int orphans_adopt(struct ledger *lg, int64_t pot_key);
#endif
