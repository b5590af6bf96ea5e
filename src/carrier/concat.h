#ifndef KW_CONCAT_H
#define KW_CONCAT_H
/*
 * concat.h - puts the parts of long texts together again: in any order, with
 * repeats, with parts that never come. Bounded in number and in octets. Pure:
 * the time is given.
 *
 * Invariants: (1) a text comes out once, whole or, after the time limit or
 * when room is needed, as far as its parts go; (2) parts are only joined of
 * one sender, recipient, reference (and its width) and total; (3) a part that
 * came already changes nothing; the same place with other content is the
 * beginning of another text (references are used again).
 * Source: 3GPP TS 23.040, 9.2.3.24.1 and .8.
 */
#include "base/buf.h"
#include "carrier/udh.h"

#define CONCAT_TEXTS_MOST  256           /* unfinished at once */
#define CONCAT_OCTETS_MOST (1024 * 1024) /* of all their parts */
#define CONCAT_WAIT_S      21600         /* then it is read as far as it goes */
#define CONCAT_DONE_S      3600          /* a late repeat is known that long */
#define CONCAT_NAME_CAP    64
#define CONCAT_PART_CAP    1024 /* octets of one part */
#define CONCAT_TEXT_CAP    (255 * CONCAT_PART_CAP)

struct concat;

struct concat_part {
    const char *from, *to; /* borrowed; to may be "" */
    uint16_t ref;
    bool wide;
    uint8_t total, seq; /* 1 <= seq <= total */
    const char *text;   /* UTF-8, borrowed */
    size_t len;
    int64_t at_s;
    int64_t mark; /* the carrier's own, such as a place on the card */
};

/* A text that came out. Owned by the caller: concat_text_release. */
struct concat_text {
    char from[CONCAT_NAME_CAP], to[CONCAT_NAME_CAP];
    char *text; /* missing parts show as "[...]" */
    size_t len;
    int64_t at_s; /* of its first part */
    uint16_t ref;
    uint8_t total, parts; /* parts < total: something is missing */
    uint32_t sum; /* of what was said: tells it from another of that key */
    int64_t marks[255]; /* of the parts that came, `parts` of them */
};

enum concat_result {
    CONCAT_KEPT,   /* waits for others */
    CONCAT_REPEAT, /* came already; acknowledge it, it changes nothing */
    CONCAT_WHOLE   /* concat_next() gives a text */
};

void concat_text_release(struct concat_text *t);
struct concat *concat_new(void);
void concat_free(struct concat *c);
/*
 * Takes one part in. KW_EINVAL for impossible numbers, long names, a long
 * part; KW_EFULL while texts wait to be taken out. Call concat_next() after
 * every part, whatever the result: making room brings others out.
 */
int concat_put(struct concat *c, const struct concat_part *p);
/*
 * The next text that is whole, or that is as old as CONCAT_WAIT_S at now_s,
 * or that had to make room; false when there is none.
 */
bool concat_next(struct concat *c, int64_t now_s, struct concat_text *out);
/* Calls f with each part of the unfinished texts; at_s is the text's. */
void concat_each(const struct concat *c,
                 void (*f)(void *arg, const struct concat_part *p), void *arg);
/* When the oldest unfinished one is due; 0 none. */
int64_t concat_due(const struct concat *c);
size_t concat_texts(const struct concat *c);  /* unfinished */
size_t concat_octets(const struct concat *c); /* of their parts */
#endif
