/*
 * cut_heard.c - what a run of letters is, remembered: that depends on nothing
 * but the letters and the language of the text. Most words of most texts were
 * in one before, and need no table of the lexicon then.
 */
#include "reader/cut_parts.h"
#include "reader/vowels.h"

#include <string.h>

#define HEARD_BITS 12

_Static_assert(CUT_HEARD == 1u << HEARD_BITS, "as many as the bits number");
_Static_assert(CUT_HEARD_WORDS == 3, "as are written out below");
_Static_assert(CUT_HEARD_LETTERS <= FOLD_SLACK, "letters are read whole");

/* The first len octets of s, zeros behind them; CUT_HEARD_LETTERS are read. */
static inline void pad_letters(const char *s, size_t len,
                               uint64_t to[CUT_HEARD_WORDS])
{
    static const struct {
        unsigned char ones[CUT_HEARD_LETTERS], zeros[CUT_HEARD_LETTERS];
    } mask = {.ones = {255, 255, 255, 255, 255, 255, 255, 255,
                       255, 255, 255, 255, 255, 255, 255, 255,
                       255, 255, 255, 255, 255, 255, 255, 255}};
    uint64_t keep[CUT_HEARD_WORDS];

    memcpy(to, s, CUT_HEARD_LETTERS);
    memcpy(keep, (const unsigned char *)&mask + CUT_HEARD_LETTERS - len,
           sizeof(keep));
    to[0] &= keep[0];
    to[1] &= keep[1];
    to[2] &= keep[2];
}

static inline size_t place_of(const uint64_t letters[CUT_HEARD_WORDS],
                              unsigned salt)
{
    uint64_t sum = letters[0] * UINT64_C(0x9E3779B97F4A7C15) +
                   letters[1] * UINT64_C(0xC2B2AE3D27D4EB4F) +
                   letters[2] * UINT64_C(0x165667B19E3779F9) + salt;

    return (size_t)((sum ^ sum >> 29) * UINT64_C(0x9E3779B97F4A7C15) >>
                    (64 - HEARD_BITS));
}

static inline bool are_same(const uint64_t a[CUT_HEARD_WORDS],
                            const uint64_t b[CUT_HEARD_WORDS])
{
    return ((a[0] ^ b[0]) | (a[1] ^ b[1]) | (a[2] ^ b[2])) == 0;
}

struct cut_heard *cut_hear(struct cut *c, const struct lexicon *lex,
                           const char *s, size_t len)
{
    uint64_t letters[CUT_HEARD_WORDS] = {0};
    struct cut_heard *h = &c->long_heard;

    if (len < CUT_HEARD_LETTERS) {
        pad_letters(s, len, letters);
        h = c->heard[place_of(letters, 0)];
        if (are_same(h->letters, letters))
            return h;
        if (are_same(h[1].letters, letters))
            return &h[1];
        h[1] = h[0];
    }
    *h = (struct cut_heard){.word = lexicon_find(lex, s, len)};
    memcpy(h->letters, letters, sizeof(letters));
    h->root = lex->words[h->word].root;
    h->langs = lex->nodes[h->root].langs;
    return h;
}

uint32_t cut_hear_langs(const struct lexicon *lex, struct cut_heard *h,
                        const char *s, size_t len)
{
    if (h->word != 0 || h->has_ears)
        return h->langs;
    for (size_t k = 0; k < lex->n_langs; k++) {
        uint32_t w = lexicon_find_spelling(lex, (int)k, s, len, false);

        h->langs |= lex->nodes[lex->words[w].root].langs;
    }
    h->has_ears = true;
    return h->langs;
}

/* "good!!!" was folded already; "gooood", "slooow": more than doubled. */
static uint32_t find_drawn_out(const struct lexicon *lex, const char *s,
                               size_t len)
{
    char word[LEXICON_WORD_CAP];

    for (size_t keep = 2; keep >= 1; keep--) {
        size_t n = 0, same = 0;
        uint32_t w;

        for (size_t i = 0; i < len && n < sizeof(word) - 1; i++) {
            same = i > 0 && s[i] == s[i - 1] ? same + 1 : 1;
            if (same <= keep)
                word[n++] = s[i];
        }
        if (n == len)
            continue;
        if (n >= 3 && (w = lexicon_find(lex, word, n)) != 0)
            return w;
    }
    return 0;
}

static bool is_drawn_out(const char *s, size_t len)
{
    for (size_t i = 2; i < len; i++) {
        if (s[i] == s[i - 1] && s[i] == s[i - 2] && (unsigned char)s[i] < 0x80)
            return true;
    }
    return false;
}

/* As it stands; else by ear, with vowels left out, or drawn out. */
static uint32_t know_word(struct cut *c, const struct lexicon *lex,
                          const struct cut_known *k, const char *s, size_t len)
{
    uint32_t w = cut_hear(c, lex, s, len)->word;

    if (w == 0 && len >= CUT_SPELT_LEAST)
        w = k->sound;
    if (w == 0)
        w = vowels_find(lex, c->lang_seems, s, len);
    if (w == 0 && is_drawn_out(s, len))
        w = find_drawn_out(lex, s, len);
    return w;
}

/*
 * The last two words of a place are kept, so that a slip is still known in
 * this text or not whatever stood in the ones before it.
 */
struct cut_known *cut_know(struct cut *c, const struct lexicon *lex,
                           const char *s, size_t len)
{
    uint64_t letters[CUT_HEARD_WORDS] = {0};
    struct cut_known *k = &c->long_known;
    int lang = c->lang_seems;

    if (len < CUT_HEARD_LETTERS) {
        pad_letters(s, len, letters);
        k = c->known[place_of(letters, (unsigned)lang + 1)];
        if (are_same(k->letters, letters) && k->lang == lang)
            return k;
        if (are_same(k[1].letters, letters) && k[1].lang == lang) {
            struct cut_known first = k[0];

            k[0] = k[1];
            k[1] = first;
            return k;
        }
        k[1] = k[0];
    }
    *k = (struct cut_known){.lang = (int8_t)lang};
    memcpy(k->letters, letters, sizeof(letters));
    k->spelt = lexicon_find_spelling(lex, lang, s, len, true);
    k->sound = lexicon_find_spelling(lex, lang, s, len, false);
    k->word = know_word(c, lex, k, s, len);
    return k;
}

uint32_t cut_find_slip(struct cut *c, const struct lexicon *lex,
                       struct cut_known *k, const char *s, size_t len)
{
    if (len >= CUT_HEARD_LETTERS)
        return 0;
    if ((!k->has_slip || k->text != c->text) && c->n_slips++ >= CUT_SLIPS_MOST)
        return 0;
    k->text = c->text;
    if (!k->has_slip) {
        k->slip = slip_find(lex, s, len, c->lang_seems);
        k->has_slip = true;
    }
    return k->slip;
}
