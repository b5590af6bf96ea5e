#ifndef KW_WORDING_H
#define KW_WORDING_H
/*
 * wording.h - what was said in the same words before. Most texts as on the
 * card differ from an earlier one in nothing but the pot: who is to be read
 * is then known without cutting, matching and judging the words again.
 *
 * A wording is the whole folded text and all else that a reading depends on:
 * the sender's language, and whether the sender has one pot and the text is
 * of it. The first serial, in one group or in those of the card, is no part
 * of the wording: when it passes its check, its digits are in the meaning, and
 * no reading depends on them. Kept are only meanings of which that can be told:
 * with no other serial, no number of an order and no phone.
 */
#include "reader/cut.h"
#include "reader/reader.h"

#define WORDING_OCTETS 64 /* of folded text; longer ones are not kept */
#define WORDING_WORDS  (WORDING_OCTETS / 8)

enum wording_pot { WORDING_NO_POT, WORDING_OTHER_POT, WORDING_SAME_POT };

struct wording {
    uint64_t text[WORDING_WORDS]; /* folded, padded with zeros */
    uint32_t len;                 /* octets of it */
    int8_t lang;                  /* as cut_text() has it */
    uint8_t pot;                  /* enum wording_pot */
    bool has_serial;              /* what may be one was taken out: */
    char serial[SERIAL_CAP];      /* its digits; no part of the wording */
};

struct wording_memo;

struct wording_memo *wording_memo_new(void);
void wording_memo_free(struct wording_memo *memo);

/* The wording of a text; pot: canonical or NULL. False when it is too long. */
bool wording_take(struct wording *w, const struct fold *f,
                  const struct serial_layout *layout, int lang,
                  const char *pot);
/* True with the meaning, wholly written, when it was kept. */
bool wording_recall(const struct wording_memo *memo, const struct wording *w,
                    const struct serial_layout *layout, const char *pot,
                    struct reader_meaning *out);
/* Keeps what was read of it, where it can be said of any pot. */
void wording_keep(struct wording_memo *memo, const struct wording *w,
                  const struct cut *c, const struct reader_meaning *m);
#endif
