#ifndef KW_DIGEST_H
#define KW_DIGEST_H
/*
 * digest.h - the day on one text, on one terminal, or as JSON: numbers,
 * alerts that stand, pots to replace, what waits. No phone numbers in it.
 */
#include "desk/desk.h"

/* The short form for coordinators: at most two texts. Times as [from, to). */
int digest_text(const struct desk *d, struct ledger *lg, int64_t from_s,
                int64_t to_s, const char *lang, struct kw_buf *out);

struct digest_of {
    const struct config *conf;
    const struct serial_layout *layout;
    int64_t from_s, to_s; /* texts received in [from, to) */
    int64_t now_s;        /* ages of alerts count to here */
};
/* The long form: plain text, 80 columns. */
int digest_page(const struct digest_of *of, struct ledger *lg,
                struct kw_buf *out);
/* The same as one JSON object with a line end. */
int digest_json(const struct digest_of *of, struct ledger *lg,
                struct kw_buf *out);
#endif
