#ifndef KW_IMAGE_H
#define KW_IMAGE_H
/*
 * image.h - finished tables in one file that is mapped at the start instead of
 * being made anew. The tables hold numbers of rows, no addresses. In front:
 * magic, a sum of all that follows, the length, who made it, from what, where
 * each table lies. Every table begins at a multiple of IMAGE_ALIGN.
 *
 * The whole file is summed before it serves, so that no damage goes unseen;
 * the pages are given back then, and come again when they are needed. Who
 * replaces an image renames a new one over it (file_write_public()): what is
 * written into a mapped file changes under its reader.
 */
#include "base/kw.h"

#define IMAGE_ALIGN       64
#define IMAGE_TABLES_MOST 48

struct image_table {
    void *at; /* of the pointer to the rows */
    size_t n, size;
};

/* An image serves when both are the same. */
struct image_key {
    uint64_t maker; /* program and layout of the rows */
    uint64_t files; /* what it was made from */
};

enum image_state {
    IMAGE_SERVES,
    IMAGE_MISSING,
    IMAGE_UNREADABLE, /* errno tells */
    IMAGE_NONE,       /* some other file */
    IMAGE_CUT,
    IMAGE_MAKER,
    IMAGE_FILES,
    IMAGE_DAMAGED
};
/* "is not there" …: what is wrong, behind the name of the file. */
const char *image_state_words(enum image_state s);

struct image;

/* The octets of an image; *data is the caller's to kw_free. */
void image_build(const struct image_key *key, const struct image_table *tables,
                 size_t n, char **data, size_t *len);

/* *out only when it serves; or octets of the caller's, that must stay. */
enum image_state image_open(const char *path, const struct image_key *key,
                            struct image **out);
enum image_state image_of(const void *data, size_t len,
                          const struct image_key *key, struct image **out);
void image_close(struct image *m);

/*
 * Points the n tables at those of the image from `first` on (NULL for one of
 * no rows); false when there are none of such rows. What the rows say is not
 * looked at.
 */
bool image_take(const struct image *m, size_t first,
                const struct image_table *tables, size_t n);
/* All was looked at; what is not needed soon need not stay in memory. */
void image_settle(const struct image *m);
#endif
