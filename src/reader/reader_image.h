#ifndef KW_READER_IMAGE_H
#define KW_READER_IMAGE_H
/*
 * reader_image.h - lexicon and grammar in one image (image.h). It serves when
 * this very program made it, from files that are now as they were then: their
 * names and all their octets are summed at each start, which costs nothing
 * beside reading them. For reader.c and tests.
 */
#include "reader/grammar.h"
#include "reader/image.h"
#include "reader/lexicon.h"
#include "reader/reader.h"

/* What a reader reads with: its own, or borrowed of the image. */
struct reader_tables {
    struct lexicon *lex;
    struct grammar *grammar;
    struct image *image; /* NULL: made from the files */
};

/*
 * From the image; NULL, or what is wrong with it and then nothing is made.
 * image: its file, NULL for READER_IMAGE in the folder.
 */
const char *reader_image_open(const char *folder, const char *image,
                              struct reader_tables *out);
void reader_tables_release(struct reader_tables *t); /* safe when zeroed */

/* A reader that owns the tables from now on. */
struct reader *reader_of_tables(const struct reader_tables *t,
                                const struct serial_layout *layout,
                                const struct reader_limits *limits);

/* ---- its parts, for tests ---- */

/* The key of an image of this folder now; KW_EIO when it cannot be read. */
int reader_image_key(const char *folder, struct image_key *key);
/*
 * Makes both of an open image, of which they borrow: close it after them.
 * false when its rows are not sound, and then nothing is made.
 */
bool reader_image_take(const struct image *m, struct lexicon **lex,
                       struct grammar **g);
/* The octets of an image of what was loaded, the caller's to kw_free. */
void reader_image_build(const struct image_key *key, struct lexicon *lex,
                        struct grammar *g, char **data, size_t *len);
#endif
