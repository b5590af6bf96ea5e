#ifndef KW_REPLY_H
#define KW_REPLY_H
/*
 * reply.h - what is said back, in each language, from grammar/LANG.replies.
 * Each reply is a line with {slots}; the loader proves that with the longest
 * value of every slot it fits its budget: one segment of 160 septets, or two
 * of UCS-2 where the GSM alphabet cannot write the language.
 */
#include "base/buf.h"
#include "base/fault.h"
#include "reader/reader.h"

struct replies;

/* 0, KW_ESYNTAX or KW_EIO with faults added. Every language has every key. */
int replies_open(const char *folder, struct fault_list *faults,
                 struct replies **out);
void replies_close(struct replies *r);
bool replies_has_lang(const struct replies *r, const char *lang);

struct reply_slots { /* NULL or 0: not known; the loader knows which are used */
    const char *serial;  /* as stamped */
    const char *group;   /* digit group to read again */
    const char *other;   /* a second serial */
    const char *clinic;
    const char *place, *batch, *words, *signs, *phone;
    int64_t alert;
    double litres, degc;
    int people, days, count, total;
};

/* Unknown lang falls back to the first language. 0, KW_ENOENT for a key. */
int reply_write(const struct replies *r, const char *lang, const char *key,
                const struct reply_slots *slots, struct kw_buf *out);

/*
 * The answer that the meaning alone leads to, as when the serial is known
 * and no ledger stands behind: used by `kilnword read`, and by the desk once
 * it has looked. flow: the verdict of the pot's flow, or -1 when unknown.
 */
int reply_for_meaning(const struct replies *r,
                      const struct serial_layout *layout,
                      const struct reader_meaning *m, const char *lang,
                      const char *clinic, int flow_verdict,
                      struct kw_buf *out);
#endif
