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
/* Exactly this tag, or its first subtag ("es" for "es-419"). */
bool replies_has_lang(const struct replies *r, const char *lang);
/* The languages in order of their tags, and the name each has for itself. */
size_t replies_langs(const struct replies *r);
const char *replies_tag(const struct replies *r, size_t i);
const char *replies_name(const struct replies *r, size_t i);
bool replies_draft(const struct replies *r,
                   size_t i); /* by a non-native hand */
/* Which health authority signed the wording off, NULL: it is a draft. */
const char *replies_signed(const struct replies *r, size_t i);
/* Keys a language must have. */
size_t replies_keys(void);
const char *replies_key(size_t i);

struct reply_slots { /* NULL or 0: not known; the loader knows which are used */
    const char *serial; /* as stamped */
    const char *group;  /* digit group to read again */
    const char *other;  /* a second serial */
    const char *clinic; /* NULL, "", too long: the language's own word */
    const char *place, *batch, *words, *signs, *phone;
    const char *line; /* one line for people, as of an alert */
    int64_t alert;
    double litres, degc;
    double expected, ratio, low, high; /* of a breakage finding */
    int people, days, count, total;
    int texts, reports, failed, ill, open, replace, waiting; /* digest */
    const char *day;                                         /* "2026-05-30" */
    const char *said;  /* what was understood, as on a card */
    int places, aside; /* of a failing batch: with failures; left out */
};

/*
 * Puts the reply behind what stands in out. Values that are longer than
 * their slot are cut, and for a language of the GSM alphabet written with
 * its letters. Unknown lang falls back to the first language. 0, KW_ENOENT
 * for a key.
 */
int reply_write(const struct replies *r, const char *lang, const char *key,
                const struct reply_slots *slots, struct kw_buf *out);
/*
 * Puts a space and the reply behind what stands in out when both together
 * still fit one reply; else leaves out as it was and returns KW_EFULL.
 */
int reply_add(const struct replies *r, const char *lang, const char *key,
              const struct reply_slots *slots, struct kw_buf *out);
/* Whether the text fits the budget of one reply of that language. */
bool reply_fits(const struct replies *r, const char *lang, const char *text,
                size_t len);

/* The language's words for signs, kinds, a part: "blood, very weak". */
void reply_signs(const struct replies *r, const char *lang, unsigned signs,
                 struct kw_buf *out);
void reply_kinds(const struct replies *r, const char *lang,
                 const struct reader_obs *obs, size_t n, struct kw_buf *out);
/* All of it as on a card: "slow 4f 10h, ill 2 u1". False when there is nothing
 * or it is longer than its slot, and a yes could not be to all of it. */
bool reply_said(const struct replies *r, const char *lang,
                const struct reader_obs *obs, size_t n, struct kw_buf *out);

/*
 * The answer that the meaning alone leads to, as when the serial is known
 * and no ledger stands behind: used by `kilnword read`, and by the desk once
 * it has looked. flow: the verdict of the pot's flow, or -1 when unknown.
 */
int reply_for_meaning(const struct replies *r,
                      const struct serial_layout *layout,
                      const struct reader_meaning *m, const char *lang,
                      const char *clinic, int flow_verdict, struct kw_buf *out);

/* The same, with what the desk knows besides. */
struct reply_case {
    const struct serial_layout *layout;
    const struct reader_meaning *meaning;
    const char *lang, *clinic;
    int flow_verdict;    /* -1 unknown */
    double litres;       /* first hour at 25 degC, 0 unknown */
    const char *own;     /* canonical serial of the sender's pot, or NULL */
    const char *own_too; /* a second pot of the sender, or NULL */
    bool failed;         /* the pot was reported crack, leak or broken before */
    bool recalled;       /* its batch was recalled: never well */
    const char *ask;     /* key of the desk's own question, or NULL */
    bool works;          /* a field worker, workshop or coordinator */
    bool leads;          /* a coordinator */
};
int reply_for_case(const struct replies *r, const struct reply_case *c,
                   struct kw_buf *out);
/* What is asked alone, without danger advice or words on an unsafe pot. */
int reply_question(const struct replies *r, const struct reply_case *c,
                   struct kw_buf *out);
/*
 * The group of a wrongly written serial that is to be read again: compared
 * with the sender's own pot when that is near, else the one group in which a
 * single changed digit or swap of neighbours makes it pass. dst "" when the
 * whole number must be read again.
 */
void reply_wrong_group(const struct serial_layout *layout, const char *wrong,
                       const char *own, char *dst, size_t cap);
#endif
