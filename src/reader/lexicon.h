#ifndef KW_LEXICON_H
#define KW_LEXICON_H
/*
 * lexicon.h - the words of all languages in one table. Each distinct word
 * has a number; a phrase is a path of words from the root; the node at its
 * end says what it stands for, and is shared by all phrases of which the same
 * is true and that go on in the same ways. Built from the *.words files, then
 * constant.
 *
 * What a node may stand for is a set of concepts. Each distinct set has a
 * number, its symbol: those below CONCEPT_COUNT are single concepts, those
 * above are sets that some word needs. There are as many as the files need.
 *
 * Tables hold numbers of rows and no addresses, and no row has octets that
 * are not written, so that an image can keep them (reader_image.h).
 */
#include "base/fault.h"
#include "reader/concept.h"
#include "reader/image.h"
#include "reader/spelling.h"

#define LEXICON_LANGS    16
#define LEXICON_TAG_CAP  12
#define LEXICON_WORD_CAP 64 /* octets of one folded word, with the NUL */

struct lexicon_node {
    uint32_t
        edges;    /* where its edges begin; they end where the next one's do */
    uint16_t all; /* symbol: senses of all languages; 0 none */
    uint16_t langs; /* bit for each language */
    uint32_t more;  /* index of lexicon_more; 0: there is no more */
};

struct lexicon_edge { /* a phrase goes on with the word, to the node */
    uint32_t word, to;
};

struct lexicon_path { /* while loading: the step that leads to a node */
    uint32_t parent, word;
};

/* Of the few nodes that need it. [0] is of all the others. */
struct lexicon_more {
    double value;                   /* of a number word */
    int16_t named;                  /* language that is named here, or -1 */
    uint16_t symbol[LEXICON_LANGS]; /* by language, where there are several */
    uint16_t unused[3];
};

struct lexicon_word {
    uint32_t at : 24, len : 8; /* octets in the text store */
    /* Node of the word alone, 0 when it only begins or goes on a phrase; code
     * points; written out, not given by brackets: slips are looked for. */
    uint32_t root : 24, runes : 7, listed : 1;
    uint32_t canon : 24,
        unused : 8;   /* of the same meaning, for phrases; or 0 */
    uint16_t phrases; /* how many have it */
    uint16_t card;    /* bit for each language on whose card it stands */
};

#define LEXICON_ROWS_MOST                                                      \
    (1u << 24) /* words, nodes and octets of the store                         \
                */

struct lexicon {
    char tags[LEXICON_LANGS][LEXICON_TAG_CAP];
    size_t n_langs;
    uint32_t common; /* bits of files that belong to all languages (mul) */
    struct spelling *spelling[LEXICON_LANGS]; /* NULL when without rules */
    uint32_t spells; /* bit for each language with rules */
    bool borrowed;   /* the tables are of an image */

    char *store;
    size_t store_len, store_cap;
    struct lexicon_word *words; /* [0] is none */
    size_t n_words, words_cap;
    /* Open addressing, 0 empty: the word where the mask is, and above it the
     * hash, so that what is another word is seldom looked at. */
    uint32_t *word_slots;
    size_t word_mask;

    struct lexicon_node *nodes; /* [0] is none, [1] the root; one more */
    size_t n_nodes, nodes_cap;
    struct lexicon_edge *edges; /* of each node by their words; none of the
                                   root: those stand with the words */
    size_t n_edges;
    size_t n_entries; /* words and phrases of the files */

    /* While loading, when each node has one way to it. */
    struct lexicon_path *paths; /* by node */
    size_t paths_cap;
    uint32_t *steps; /* by (node, word), open addressing; 0 empty */
    size_t step_mask;

    struct lexicon_more *more;
    size_t n_more, more_cap;

    struct concept_set *sets; /* by symbol; [0] is none */
    uint32_t *classes;        /* bit for each class in the set */
    size_t n_sets, sets_cap, classes_cap;
    bool sets_full; /* there were more sets than symbols */
    struct concept_set of_class[CLASS_COUNT];

    uint8_t costs[26][26]; /* of one letter for another: slip.c */
    /* Forms near to a word, a code point left out or its consonants: hash and
     * word as above. By the low bits of the hash, and where those of each
     * begin; one more. */
    uint32_t *near_forms, *near_heads;
    size_t n_near, near_mask;
};

/*
 * Reads every *.words of the folder in the order of the names. Faults are
 * added; *out is made only when there are none of them in these files.
 * 0, KW_ESYNTAX or KW_EIO.
 */
int lexicon_load(const char *folder, struct fault_list *faults,
                 struct lexicon **out);
void lexicon_free(struct lexicon *lex);
/* For scandir(): is it one of those files? */
struct dirent;
int lexicon_is_words_file(const struct dirent *e);

/* Its tables, LEXICON_TABLES of them, as an image keeps them. */
#define LEXICON_TABLES (10 + LEXICON_LANGS)
size_t lexicon_tables(struct lexicon *lex, struct image_table *t);
/* Does no number in them lead out of them? */
bool lexicon_is_sound(const struct lexicon *lex);

/* The number of a folded word, 0 when no file has it. */
uint32_t lexicon_find(const struct lexicon *lex, const char *word, size_t len);
/* The same where the lexicon_hash() of the word is known. */
uint32_t lexicon_find_hash(const struct lexicon *lex, const char *word,
                           size_t len, uint32_t hash);
/*
 * The number of the word that stands for all spellings of this one in a
 * language, alone or as a part of phrases; 0 when it has no rules or no such
 * word. Its root may mean nothing: spellings of more than one meaning.
 */
uint32_t lexicon_find_spelling(const struct lexicon *lex, int lang,
                               const char *word, size_t len, bool in_phrase);
/* The node after one more word; 0 when no phrase goes on that way. */
uint32_t lexicon_step(const struct lexicon *lex, uint32_t node, uint32_t word);

/* Does any phrase go on from a node other than the root? */
static inline bool lexicon_goes_on(const struct lexicon *lex, uint32_t node)
{
    return lex->nodes[node].edges < lex->nodes[node + 1].edges;
}

/* Hindi: the verb, and a denial with it, stands behind what it is of, and what
 * a thing belongs to before it. lang: an index, or -1. */
static inline bool lexicon_is_verb_last(const struct lexicon *lex, int lang)
{
    return lang >= 0 && lex->tags[lang][0] == 'h' &&
           lex->tags[lang][1] == 'i' && lex->tags[lang][2] == '\0';
}

/* What a node means in a language: a symbol, 0 for nothing. */
static inline uint16_t lexicon_symbol_in(const struct lexicon *lex,
                                         uint32_t node, int lang)
{
    const struct lexicon_node *n = &lex->nodes[node];

    if (!(n->langs >> lang & 1))
        return 0;
    return n->more == 0 ? n->all : lex->more[n->more].symbol[lang];
}

/* Symbol of what a word alone means, in any language. */
static inline uint16_t lexicon_symbol_of(const struct lexicon *lex,
                                         uint32_t word)
{
    return lex->nodes[lex->words[word].root].all;
}

/* While loading: the symbol of a set, made when it is new; 0 of none. */
uint16_t lexicon_symbol(struct lexicon *lex, const struct concept_set *set);
void lexicon_prepare_sets(struct lexicon *lex);
/* What each word means where the language of the text does not tell. */
void lexicon_join_sets(struct lexicon *lex);

/* While loading: the word, the node one word on; made when new. */
uint32_t lexicon_make_word(struct lexicon *lex, const char *word, size_t len);
uint32_t lexicon_make_step(struct lexicon *lex, uint32_t node, uint32_t word);
/* All words are in and mean what they mean: nodes that are alike become one. */
void lexicon_shrink(struct lexicon *lex);
/* The node's own lexicon_more, made when it has none. */
struct lexicon_more *lexicon_make_more(struct lexicon *lex, uint32_t node);
/* What a word of a file is by the rules of spelling; 0, or length of key. */
size_t lexicon_spell(const struct lexicon *lex, int lang, const char *word,
                     size_t len, bool in_phrase, char key[LEXICON_WORD_CAP]);
/* An empty lexicon, but for the sets of one concept each. */
void lexicon_init(struct lexicon *lex);

/*
 * Hash of short keys: FNV-1a, finished as in MurmurHash3. The sum goes on
 * from octet to octet, so that all beginnings of a word are had at once.
 */
#define LEXICON_HASH_BEGIN 2166136261u

static inline uint32_t lexicon_hash_add(uint32_t sum, char c)
{
    return (sum ^ (unsigned char)c) * 16777619u;
}

static inline uint32_t lexicon_hash_end(uint32_t sum)
{
    sum ^= sum >> 16;
    sum *= 0x85EBCA6Bu;
    return sum ^ sum >> 13;
}

static inline uint32_t lexicon_hash(const char *s, size_t len)
{
    uint32_t sum = LEXICON_HASH_BEGIN;

    for (size_t i = 0; i < len; i++)
        sum = lexicon_hash_add(sum, s[i]);
    return lexicon_hash_end(sum);
}
#endif
