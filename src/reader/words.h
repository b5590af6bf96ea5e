#ifndef KW_WORDS_H
#define KW_WORDS_H
/*
 * words.h - one *.words file, read into entries. The form:
 *
 *   # a comment, to the end of the line
 *   language: English          the first line that says anything
 *   draft: who should look     only when no native speaker has gone over it
 *   name: english, ingles      names of the language itself
 *   crack: crack, cracked, hair line, *split
 *       split open             a line that begins with a gap goes on
 *   3: three                   a number word
 *
 *   leak: (ki/i/ya)(na/me)vuja, maji (/mengi )nje    choices: each of them
 *   spelling: aa>a, w>v, ^gaya$>gya     letters written for each other
 *   spelling: ^2>tu              a figure that is read aloud, before letters
 *   spelling: mb=, nd=           consonants that stand together, vowels.h
 *   card: crack, leak            words printed on the card, which stand under a
 *                                concept too: of these any one slip is forgiven
 *
 * Keys are concepts (concept.h), numbers, or the words above. Entries are
 * parted by commas; an entry of several words is a phrase. A star says that
 * the same entry stands under another concept too, on purpose. What brackets
 * give may be given twice, gives way to what is written out elsewhere, and
 * has no slack for slips: whole families would draw ordinary words in.
 */
#include "base/fault.h"
#include "reader/concept.h"

struct words_entry {
    enum concept concept;
    double value;     /* of CONCEPT_NUMBER */
    const char *text; /* folded words parted by single gaps; borrowed */
    size_t len;       /* octets of text */
    bool shared;      /* had a star */
    bool given;       /* by brackets */
    int line;
};

#define WORDS_RULE_CAP 20
#define WORDS_SHOWN    40 /* octets of an entry that a fault shows */

struct words_rule { /* of spelling.h */
    char from[WORDS_RULE_CAP], into[WORDS_RULE_CAP];
    int line;
};

struct words_sink {
    void (*entry)(void *to, const struct words_entry *e);
    void (*rule)(void *to, const struct words_rule *r);  /* or NULL */
    void (*card)(void *to, const struct words_entry *e); /* or NULL */
    void *to;
};

/* Reads the text of a file; faults are added with their lines. */
void words_parse(const char *file, const char *data, size_t len,
                 const struct words_sink *sink, struct fault_list *faults);
#endif
