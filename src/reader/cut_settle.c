/*
 * cut_settle.c - what each token is, where the row decides: the language of
 * the text, the card's letters, units, numbers of several words.
 */
#include "reader/cut_parts.h"

#include <math.h>
#include <string.h>

#define FEVER_LEAST   34 /* degrees: such a count is not of people */
#define DEGREES_LEAST 5  /* colder water with a bare c is none */
#define ENTITY_MOST   7  /* octets: of an HTML entity before a letter of it */
#define FOREIGN_SMALL 3  /* "si", "no" of another language say nothing here */

/* ---- language ---- */

static void find_language(struct cut *c, const struct lexicon *lex, int lang)
{
    /* Twelve points by the number of languages that have the word. */
    static const uint8_t points[] = {0, 12, 3, 2, 1, 1, 1};
    int score[LEXICON_LANGS] = {0}, best = -1;
    uint32_t all = 0;

    for (size_t i = 1; i < c->n; i++) {
        uint32_t langs = lex->nodes[c->tokens[i].node].langs & ~lex->common;
        size_t n = 0;

        if (langs == 0 || (c->tokens[i].flags & CUT_LETTER))
            continue;
        for (uint32_t left = langs; left != 0; left &= left - 1)
            n++; /* no machine is asked for an instruction that counts them */
        if (n >= KW_COUNT(points))
            continue;
        for (all |= langs; langs != 0; langs &= langs - 1)
            score[__builtin_ctz(langs)] += points[n];
    }
    for (; all != 0; all &= all - 1) {
        int k = __builtin_ctz(all);

        if (best < 0 || score[k] > score[best] ||
            (score[k] == score[best] && k == lang))
            best = k;
    }
    c->lang = best;
}

/* What a token means in the language of the text, else in any. */
uint16_t cut_settle(const struct lexicon *lex, const struct cut_token *t,
                    int lang)
{
    const struct lexicon_node *n = &lex->nodes[t->node];
    uint16_t own;

    if (t->flags & CUT_LETTER) { /* the card's letters are settled apart */
        uint16_t o = lang >= 0 ? lexicon_symbol_in(lex, t->node, lang) : 0;

        for (size_t k = 0; o == 0 && k < lex->n_langs; k++) {
            if (!(lex->common >> k & 1))
                o = lexicon_symbol_in(lex, t->node, (int)k);
        }
        return o != 0 ? o : (uint16_t)CONCEPT_WORD;
    }
    if (lang < 0)
        return n->all;
    if ((own = lexicon_symbol_in(lex, t->node, lang)) != 0)
        return own;
    if (n->langs & lex->common) /* "mn": minutes, but in Hindi */
        return lexicon_symbol_in(lex, t->node,
                                 __builtin_ctz(n->langs & lex->common));
    if (t->len <= FOREIGN_SMALL &&
        !(lex->classes[n->all] & ~(1u << CLASS_SMALL | 1u << CLASS_ORDER)))
        return (uint16_t)CONCEPT_WORD;
    return n->all;
}

/* Does something to count stand behind it? */
static bool counts_next(const struct cut *c, const struct lexicon *lex,
                        size_t i)
{
    uint16_t next = i + 1 < c->n ? lex->nodes[c->tokens[i + 1].node].all : 0;

    return (lex->classes[next] & (1u << CLASS_UNIT | 1u << CLASS_SICKNESS)) !=
               0 ||
           concept_set_has(&lex->sets[next], CONCEPT_DAY) ||
           concept_set_has(&lex->sets[next], CONCEPT_TIMES);
}

/*
 * French "neuf" is nine where something to count stands beside it, else new;
 * Swahili "masaa matatu" are three hours, "matatu" alone is a bus; a thousand
 * of nothing is of money.
 */
static void settle_count(struct cut *c, const struct lexicon *lex, size_t i)
{
    static const enum concept others[] = {CONCEPT_NEW, CONCEPT_MONEY,
                                          CONCEPT_THING};
    struct cut_token *t = &c->tokens[i];
    uint16_t before = lex->nodes[t[-1].node].all;
    bool counts = counts_next(c, lex, i) ||
                  (lex->classes[before] & 1u << CLASS_UNIT) != 0;

    for (size_t k = 0; k < KW_COUNT(others); k++) {
        if (!concept_set_has(&lex->sets[t->symbol], others[k]))
            continue;
        t->symbol = (uint16_t)(counts ? CONCEPT_NUMBER : others[k]);
        return;
    }
}

static void settle_all(struct cut *c, const struct lexicon *lex, int lang)
{
    if (c->lang >= 0)
        lang = c->lang;
    for (size_t i = 1; i < c->n; i++) {
        struct cut_token *t = &c->tokens[i];

        if (t->node == 0)
            continue;
        t->named = (int8_t)lex->more[lex->nodes[t->node].more].named;
        t->symbol = cut_settle(lex, t, lang);
        if (t->symbol == CONCEPT_NUMBER && lang >= 0 &&
            !counts_next(c, lex, i) &&
            !(lex->nodes[t->node].langs & (1u << lang | lex->common)))
            t->symbol = CONCEPT_WORD; /* "sis" is no French six */
        /* "hi" behind "language" is no greeting. */
        if (t->named >= 0 &&
            concept_set_has(&lex->sets[c->tokens[i - 1].symbol],
                            CONCEPT_LANGUAGE))
            t->symbol = cut_settle(lex, t, t->named);
        if (concept_set_has(&lex->sets[t->symbol], CONCEPT_NUMBER)) {
            t->value = lex->more[lex->nodes[t->node].more].value;
            t->flags |= CUT_WORDED;
            settle_count(c, lex, i);
        }
    }
}

void cut_sum_up(struct cut *c, const struct lexicon *lex)
{
    struct concept_set any = {{0}};
    uint32_t classes = 0;
    unsigned flags = 0;

    for (size_t i = 1; i < c->n; i++) {
        concept_set_join(&any, &lex->sets[c->tokens[i].symbol]);
        classes |= lex->classes[c->tokens[i].symbol];
        flags |= c->tokens[i].flags;
    }
    c->any = any;
    c->any_class = classes;
    c->any_flag = (uint8_t)flags;
}

/* ---- letters ---- */

/* "%s", "&#x3c;": no letter that stands by itself. */
static bool stands_in_code(const struct cut *c, const struct cut_token *t)
{
    const char *s = c->fold.text;
    char before = t->at > 0 ? s[t->at - 1] : ' ';

    for (size_t i = t->at; i >= 2 && i + ENTITY_MOST > t->at; i--) {
        if (s[i - 2] == '&' && s[i - 1] == '#')
            return true;
    }
    return before != ' ' && strchr("%$#@&=<>{}[]|~^", before) != NULL;
}

/* "crack g", and no more: the last word of a card's sentence is a letter. */
static bool is_last_letter(const struct cut *c, const struct lexicon *lex,
                           size_t i)
{
    const struct cut_token *t = &c->tokens[i];
    char letter = c->fold.text[t->at];

    return (letter == 'g' || letter == 'b' || letter == 'c') &&
           (i + 1 == c->n || t[1].symbol <= CONCEPT_PAUSE) &&
           cut_has_class(lex, t - 1, 1u << CLASS_SEEN) &&
           (i < 3 || t[-2].symbol <= CONCEPT_PAUSE);
}

/* May a letter of the card stand behind this token? */
static bool opens(const struct lexicon *lex, const struct cut_token *t)
{
    if (t->symbol == CONCEPT_WORD)
        return false;
    if (t->symbol <= CONCEPT_PAUSE)
        return true;
    return cut_has_class(lex, t,
                         1u << CLASS_LETTER | 1u << CLASS_POLITE |
                             1u << CLASS_SIGN | 1u << CLASS_UNIT);
}

static uint16_t card_letter(const struct cut *c, const struct cut_token *t)
{
    static const uint8_t letters[26] = {
        ['c' - 'a'] = CONCEPT_LETTER_C, ['l' - 'a'] = CONCEPT_LETTER_L,
        ['b' - 'a'] = CONCEPT_LETTER_B, ['s' - 'a'] = CONCEPT_LETTER_S,
        ['f' - 'a'] = CONCEPT_LETTER_F, ['i' - 'a'] = CONCEPT_LETTER_I,
        ['w' - 'a'] = CONCEPT_LETTER_W, ['t' - 'a'] = CONCEPT_LETTER_T,
        ['g' - 'a'] = CONCEPT_LETTER_G, ['u' - 'a'] = CONCEPT_LETTER_U,
        ['h' - 'a'] = CONCEPT_LETTER_H, ['m' - 'a'] = CONCEPT_LETTER_M};
    char letter = c->fold.text[t->at];

    return letter >= 'a' && letter <= 'z' ? letters[letter - 'a'] : 0;
}

/* May this letter of the card stand before the token? */
static bool closes(const struct cut *c, const struct lexicon *lex, char letter,
                   const struct cut_token *t)
{
    if (t->flags & CUT_LETTER) /* "l e n t o" is spelt out */
        return card_letter(c, t) != 0;
    if (t->symbol <= CONCEPT_PAUSE)
        return true;
    if (t->symbol == CONCEPT_DOWN || t->symbol == CONCEPT_GOT)
        return letter == 's' || letter == 'f';
    if (t->symbol == CONCEPT_TAP || t->symbol == CONCEPT_LID ||
        t->symbol == CONCEPT_BUCKET)
        return letter == 't';
    if (cut_has_class(lex, t, 1u << CLASS_SIGN))
        return letter == 'i';
    if (t->symbol == CONCEPT_FINE && strchr("clbs", letter) != NULL)
        return c->lang < 0 || /* French "c bon": it is good */
               lexicon_symbol_in(lex, t[-1].node, c->lang) == 0;
    if (cut_has_class(lex, t, 1u << CLASS_UNIT))
        return letter == 's' || letter == 'f';
    if (cut_has_class(lex, t,
                      1u << CLASS_SEEN)) /* others are words: "s broken" */
        return letter == 'w' || letter == 'b';
    return cut_has_class(lex, t, 1u << CLASS_POLITE);
}

/* "fast t tap" in a text of the card's words. */
static bool names_part(const struct cut *c, const struct lexicon *lex, size_t i)
{
    const struct cut_token *t = &c->tokens[i];
    uint16_t next = t[1].symbol;

    return c->fold.text[t->at] == 't' &&
           (next == CONCEPT_TAP || next == CONCEPT_LID ||
            next == CONCEPT_BUCKET) &&
           cut_has_class(lex, t - 1, 1u << CLASS_SEEN) &&
           (i < 3 || t[-2].symbol <= CONCEPT_PAUSE);
}

/* "18c", "water 18 c": how warm; but "ill 2 c" tells of a crack. */
static bool is_degree(const struct cut *c, const struct lexicon *lex, size_t i)
{
    const struct cut_token *t = &c->tokens[i], *number = t - 1;

    if (i < 3 || c->fold.text[t->at] != 'c' ||
        number->symbol != CONCEPT_NUMBER || number->value < DEGREES_LEAST)
        return false;
    return (t->flags & CUT_GLUED)
               ? number->value >= FEVER_LEAST ||
                     (!cut_has_class(lex, number - 1, 1u << CLASS_SICKNESS) &&
                      number[-1].symbol != CONCEPT_LETTER_I &&
                      number[-1].symbol != CONCEPT_LETTER_U)
               : concept_set_has(&lex->sets[number[-1].symbol], CONCEPT_WATER);
}

/* "c/diarrea", "s/sangue": with, without. */
static bool is_short_with(struct cut *c, const struct lexicon *lex, size_t i)
{
    struct cut_token *t = &c->tokens[i];
    char letter = c->fold.text[t->at];

    if ((letter != 'c' && letter != 's') || c->fold.text[t->at + 1] != '/' ||
        i + 1 >= c->n ||
        !cut_has_class(lex, &t[1], 1u << CLASS_SIGN | 1u << CLASS_SICKNESS))
        return false;
    t->symbol = letter == 'c' ? CONCEPT_AT : CONCEPT_NO;
    return true;
}

static void settle_letters(struct cut *c, const struct lexicon *lex)
{
    if (!(c->any_flag & CUT_LETTER))
        return;
    for (size_t i = 1; i < c->n; i++) {
        struct cut_token *t = &c->tokens[i], *last = t - 1;
        uint16_t o = t->flags & CUT_LETTER ? card_letter(c, t) : 0;
        bool unit, end = i + 1 == c->n;

        if (o == 0 || stands_in_code(c, t) || is_short_with(c, lex, i))
            continue;
        unit = o == CONCEPT_LETTER_H || o == CONCEPT_LETTER_M ||
               o == CONCEPT_LETTER_F || o == CONCEPT_LETTER_L;
        if (is_degree(c, lex, i)) {
            t->symbol = CONCEPT_DEGREE;
        } else if (unit && (last->symbol == CONCEPT_NUMBER ||
                            last->symbol == CONCEPT_CLOCK)) {
            t->symbol = o;
        } else if (o == CONCEPT_LETTER_U && !end &&
                   t[1].symbol == CONCEPT_NUMBER && (t[1].flags & CUT_GLUED) &&
                   cut_has_class(lex, last, 1u << CLASS_SICKNESS)) {
            t->symbol = o; /* "2 people ill u1" */
        } else if (is_last_letter(c, lex, i)) {
            t->symbol = o;
        } else if ((opens(lex, last) || names_part(c, lex, i)) &&
                   (end || closes(c, lex, c->fold.text[t->at], t + 1)) &&
                   o != CONCEPT_LETTER_H && o != CONCEPT_LETTER_M) {
            t->symbol = o;
        }
    }
}

/* Portuguese "3 cm diarreia": with, and no centimetres. */
static void settle_with(struct cut *c, const struct lexicon *lex)
{
    if (!concept_set_has(&c->any, CONCEPT_CM) ||
        concept_set_has(&c->any, CONCEPT_SLOW) ||
        concept_set_has(&c->any, CONCEPT_FAST) ||
        concept_set_has(&c->any, CONCEPT_DOWN))
        return;
    for (size_t i = 1; i + 1 < c->n; i++) {
        if (c->tokens[i].symbol == CONCEPT_CM &&
            !(c->tokens[i].flags & CUT_GLUED) &&
            cut_has_class(lex, &c->tokens[i + 1], 1u << CLASS_SICKNESS))
            c->tokens[i].symbol = CONCEPT_AT;
    }
}

/* "1lit", and the word is also a bed: behind a number it is the unit. So is
 * "5hs", in whatever language, where no gap is. */
static void settle_units(struct cut *c, const struct lexicon *lex)
{
    for (size_t i = 2; i < c->n; i++) {
        struct cut_token *t = &c->tokens[i];
        uint16_t all = lex->nodes[t->node].all;
        bool unit = (lex->classes[all] & 1u << CLASS_UNIT) != 0,
             is = cut_has_class(lex, t, 1u << CLASS_UNIT);
        enum concept which = CONCEPT_FINGER;

        if (t[-1].symbol != CONCEPT_NUMBER || !unit ||
            (t->flags & CUT_LETTER) ||
            (is ? !cut_has_class(lex, t, 1u << CLASS_ALIEN)
                : !(t->flags & CUT_GLUED)))
            continue;
        while (!concept_set_has(&lex->sets[all], which))
            which++;
        t->symbol = (uint16_t)which;
    }
}

static bool is_numero(const char *s, size_t len)
{
    static const char *const words[] = {"n", "no", "num"};

    for (size_t i = 0; i < KW_COUNT(words); i++) {
        if (strlen(words[i]) == len && memcmp(s, words[i], len) == 0)
            return true;
    }
    return false;
}

/* "pot no 0214-073-19": a number's "no" denies nothing. */
static void settle_numero(struct cut *c, const struct lexicon *lex)
{
    for (size_t i = 1; i + 1 < c->n; i++) {
        size_t next = i + 1;

        if (!concept_set_has(&lex->sets[c->tokens[i].symbol], CONCEPT_NO) ||
            !is_numero(c->fold.text + c->tokens[i].at, c->tokens[i].len))
            continue;
        if (c->tokens[next].symbol == CONCEPT_PAUSE && next + 1 < c->n)
            next++;
        if ((c->tokens[next].symbol == CONCEPT_SERIAL ||
             c->tokens[next].symbol == CONCEPT_WRONG) &&
            (i == 1 || c->tokens[i - 1].symbol == CONCEPT_PAUSE ||
             cut_has_class(lex, &c->tokens[i - 1],
                           1u << CLASS_OURS | 1u << CLASS_POLITE)))
            c->tokens[i].symbol = CONCEPT_FILLER;
    }
}

/* "Sister, 0214-073-19 runs fast": who is called is not who is ill or fast. */
static void settle_address(struct cut *c, const struct lexicon *lex)
{
    size_t i = 1, next;

    while (i < c->n && (c->tokens[i].symbol == CONCEPT_PAUSE ||
                        cut_has_class(lex, &c->tokens[i], 1u << CLASS_POLITE)))
        i++;
    next = i + 1;
    if (next < c->n && c->tokens[next].symbol == CONCEPT_PAUSE)
        next++;
    if (next >= c->n ||
        !concept_set_has(&lex->sets[c->tokens[i].symbol], CONCEPT_PERSON) ||
        (c->tokens[next].symbol != CONCEPT_SERIAL &&
         c->tokens[next].symbol != CONCEPT_WRONG))
        return;
    for (size_t k = next + 1; k < c->n; k++) {
        if (cut_has_class(lex, &c->tokens[k],
                          1u << CLASS_SIGN | 1u << CLASS_SICKNESS |
                              1u << CLASS_ALIEN))
            return;
    }
    c->tokens[i].symbol = CONCEPT_POLITE;
}

void cut_phrases(struct cut *c, const struct lexicon *lex, int lang)
{
    cut_join_phrases(c, lex);
    find_language(c, lex, lang);
    settle_all(c, lex, lang);
    cut_sum_up(c, lex);
    cut_join_number_words(c, lex);
    settle_units(c, lex);
    settle_with(c, lex);
    cut_settle_figures(c, lex);
    cut_card(c, lex);
    settle_letters(c, lex);
    cut_expect(c, lex, lang);
    cut_join_minutes(c, lex);
    if (concept_set_has(&c->any, CONCEPT_SERIAL) ||
        concept_set_has(&c->any, CONCEPT_WRONG)) {
        settle_numero(c, lex);
        settle_address(c, lex);
    }
}
