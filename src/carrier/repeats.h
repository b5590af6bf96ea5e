#ifndef KW_REPEATS_H
#define KW_REPEATS_H
/*
 * repeats.h - which deliveries are the same text once more, for networks
 * that give no id with a text. Pure.
 *
 * A person may well say the same thing twice; a centre says it again only
 * when it does not know that we have it: while we have not answered, when the
 * answer came late, when the connection was lost soon after it (or the
 * service ended), or at once by a fault of its own. Then, and only then, the
 * earlier ref is given again; the ledger knows the repeat by it.
 */
#include "base/kw.h"

#define REPEATS_KEPT    2048
#define REPEATS_ECHO_MS 10000 /* no person sends the same so soon */
#define REPEATS_LATE_MS 5000  /* an answer later than that may be in vain */
#define REPEATS_SURE_MS 30000 /* the connection held so long: it was read */
#define REPEATS_REF_CAP 64

struct repeats;

struct repeats_text { /* borrowed */
    const char *from, *to;
    const void *octets; /* what was said, as it came */
    size_t len;
    uint32_t kind; /* whatever else tells two texts apart */
};

struct repeats *repeats_new(void);
void repeats_free(struct repeats *r);
/* The ref of a text that came now; a number for repeats_answered(). */
unsigned repeats_ref(struct repeats *r, const struct repeats_text *t,
                     int64_t now_ms, char ref[REPEATS_REF_CAP]);
/* It was answered; sent false: the connection was gone by then. */
void repeats_answered(struct repeats *r, unsigned number, int64_t now_ms,
                      bool sent);
/* The connection is lost. */
void repeats_lost(struct repeats *r, int64_t now_ms);
/*
 * At start: a ref of the ledger. Those of the last minute before the newest
 * may come again. Other refs than our own are passed over.
 */
void repeats_remember(struct repeats *r, const char *ref);
void repeats_remembered(struct repeats *r); /* after the last of them */
#endif
