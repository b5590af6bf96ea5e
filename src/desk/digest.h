#ifndef KW_DIGEST_H
#define KW_DIGEST_H
/*
 * digest.h - the day on one text, on one terminal, or as JSON: numbers,
 * alerts that stand, pots to replace, what waits. No phone numbers in it.
 */
#include "desk/desk.h"

struct digest_of {
    const struct config *conf;
    const struct serial_layout *layout;
    int64_t from_s, to_s; /* texts received in [from, to) */
    const char *lang;     /* of the short form */
};
/* The short form for coordinators: at most two texts. */
int digest_text(const struct digest_of *of, const struct replies *r,
                struct ledger *lg, struct kw_buf *out);
/* The long form: plain text, 80 columns. */
int digest_page(const struct digest_of *of, struct ledger *lg,
                struct kw_buf *out);
/* The same as one JSON object with a line end. */
int digest_json(const struct digest_of *of, struct ledger *lg,
                struct kw_buf *out);
#endif
