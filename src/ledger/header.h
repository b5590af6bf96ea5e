#ifndef KW_HEADER_H
#define KW_HEADER_H
/* header.h - inside the ledger only: what a file is, before it is opened. */
#include "base/kw.h"

enum looks { LOOKS_ABSENT, LOOKS_EMPTY, LOOKS_FOREIGN, LOOKS_LEDGER };
struct header {
    enum looks looks;
    int64_t version; /* of a ledger: the migration it has reached */
};
/* 0, or KW_EIO: it is there and cannot be read. */
int header_read(const char *file, struct header *h);
#endif
