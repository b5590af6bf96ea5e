#ifndef KW_KEEP_H
#define KW_KEEP_H
/*
 * keep.h - parts of long texts on disk until the text is whole and in the
 * ledger, so that each part can be acknowledged when it comes. A file that
 * only grows, with a check sum a record; a torn last record is dropped.
 */
#include "carrier/concat.h"

struct keep;

/*
 * Opens or makes the file and puts the parts in it into c. A text that is
 * whole (or that had to make room) and not done is given to found(), which
 * owns it then. KW_EIO with *why a sentence.
 */
struct keep_found {
    void (*found)(void *arg, struct concat_text *t);
    void *arg;
};
int keep_open(const char *path, struct concat *c, const struct keep_found *f,
              struct keep **out, char **why);
void keep_close(struct keep *k); /* NULL is fine */
/* Writes a part behind the others; on disk only after keep_sync(). */
int keep_part(struct keep *k, const struct concat_part *p);
/* 0, or KW_EIO: then nothing since the last sync may be acknowledged. */
int keep_sync(struct keep *k);
/*
 * The text of this ref is in the ledger. alone: no other text is on its way
 * there; then, when no text is unfinished, the file is emptied, and when it
 * has grown long, it is written anew.
 */
void keep_done(struct keep *k, const char *ref, struct concat *c, bool alone);

/* What a text is known by: the same after a restart. */
#define KEEP_REF_CAP 64
void keep_ref(const struct concat_text *t, char ref[KEEP_REF_CAP]);
#endif
