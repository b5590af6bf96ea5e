/* cut_numbers.c - numbers of several words, and figures that are none. */
#include "reader/cut_parts.h"

#include <math.h>
#include <string.h>

#define YEARS_SHORT 4 /* letters: "<5a", "<5ans" */

static bool is_worded(const struct cut_token *t)
{
    return t->symbol == CONCEPT_NUMBER && (t->flags & CUT_WORDED);
}

/* 20 for "veinte", 600 for "mia sita": what stands behind is less than that. */
static double place_value(double v)
{
    double place = 1;

    while (v >= place * 10 && v / (place * 10) == floor(v / (place * 10)))
        place *= 10;
    return v < 20 ? 1 : place;
}

/*
 * "forty five", "cuarenta y cinco", "ciento diez"; "cinco mil", "five hundred".
 * False: b does not go on from a. What is in figures only counts thousands.
 */
static bool joins(struct cut_token *a, const struct cut_token *b, bool linked)
{
    double sum = a->value + b->value;

    if (a->symbol != CONCEPT_NUMBER || !is_worded(b) || a->value < 1)
        return false;
    if (!linked && (b->value == 1000 || b->value == 100) && a->value >= 2 &&
        a->value < 100 && (is_worded(a) || b->value == 1000)) {
        a->value *= b->value;
        return true;
    }
    if (!is_worded(a))
        return false;
    if (b->value < 1 || b->value >= place_value(a->value))
        return false;
    a->value = sum;
    return true;
}

void cut_join_number_words(struct cut *c, const struct lexicon *lex)
{
    size_t to = 1;

    if (!(c->any_flag & CUT_WORDED))
        return;

    for (size_t i = 1; i < c->n; i++) {
        struct cut_token *t = &c->tokens[i], *last = &c->tokens[to - 1];
        bool linked =
            to > 2 && concept_set_has(&lex->sets[last->symbol], CONCEPT_AND);
        struct cut_token *first = linked ? last - 1 : last;

        if (to > 1 && joins(first, t, linked)) {
            first->len = (uint16_t)(t->at + t->len - first->at);
            first->flags |= CUT_WORDED;
            to = (size_t)(first - c->tokens) + 1;
            continue;
        }
        c->tokens[to++] = *t;
    }
    c->n = to;
}

/* "sick 4 3 days", "50mins 4 1 ltr": for. */
static void settle_for(struct cut *c, const struct lexicon *lex)
{
    if (!concept_set_has(&c->any, CONCEPT_DAY) &&
        !(c->any_class & 1u << CLASS_UNIT))
        return;
    for (size_t i = 1; i + 2 < c->n; i++) {
        struct cut_token *t = &c->tokens[i];

        if (t->symbol == CONCEPT_NUMBER && t->len == 1 && t->value == 4 &&
            t[1].symbol == CONCEPT_NUMBER &&
            (concept_set_has(&lex->sets[t[2].symbol], CONCEPT_DAY) ||
             (cut_has_class(lex, &t[-1], 1u << CLASS_UNIT) &&
              cut_has_class(lex, &t[2], 1u << CLASS_UNIT) &&
              !(t[1].flags & CUT_GLUED))))
            t->symbol = CONCEPT_FILLER;
    }
}

/* French "san fièvre": no blood, but "sans". */
static bool is_sans(const struct cut *c, const struct lexicon *lex,
                    const struct cut_token *t)
{
    return t->len == 3 && memcmp(c->fold.text + t->at, "san", 3) == 0 &&
           cut_has_class(lex, &t[1], 1u << CLASS_SICKNESS) &&
           !concept_set_has(&lex->sets[t[1].symbol], CONCEPT_STOOL);
}

/* A sign, a trouble or an illness; and no one who has it. */
static bool is_trouble(const struct lexicon *lex, const struct cut_token *t)
{
    const struct concept_set *s = &lex->sets[t->symbol];

    return (cut_has_class(lex, t, 1u << CLASS_SIGN | 1u << CLASS_SEEN) ||
            concept_set_has(s, CONCEPT_GUT) ||
            concept_set_has(s, CONCEPT_FEVER)) &&
           !(t->flags & CUT_LETTER);
}

/* English "no1 ill": nobody is. */
static bool is_no_one(const struct cut *c, const struct cut_token *t)
{
    const char *s = c->fold.text;

    return t->value == 1 && t->at >= 2 && s[t->at - 1] == 'o' &&
           s[t->at - 2] == 'n' && (t->at == 2 || s[t->at - 3] == ' ');
}

/* "0 blood" is none; French "pa 2 san" is "pas de sang". */
static void settle_none(struct cut *c, const struct lexicon *lex)
{
    bool fr = c->lang >= 0 && strcmp(lex->tags[c->lang], "fr") == 0;

    for (size_t i = 1; i + 1 < c->n; i++) {
        struct cut_token *t = &c->tokens[i];
        bool no = concept_set_has(&lex->sets[t[-1].symbol], CONCEPT_NO);

        if (fr && is_sans(c, lex, t))
            t->symbol = CONCEPT_NO;
        if (t->symbol != CONCEPT_NUMBER || t->len != 1)
            continue;
        if (no && is_no_one(c, t))
            t->symbol = CONCEPT_FILLER;
        else if (!is_trouble(lex, &t[1]))
            continue;
        else if (t->value == 0)
            t->symbol = CONCEPT_NO;
        else if (fr && t->value == 2 && no)
            t->symbol = CONCEPT_OF;
    }
}

/* "-5 ans", "<5a", "<5": under five; "level -4cm". */
static void settle_minus(struct cut *c, const struct lexicon *lex)
{
    if (!(c->any_flag & CUT_MINUS))
        return;
    for (size_t i = 2; i < c->n; i++) {
        struct cut_token *t = &c->tokens[i];
        bool last = i + 1 == c->n, less = c->fold.text[t->at - 1] == '<',
             years = !last &&
                     (concept_set_has(&lex->sets[t[1].symbol], CONCEPT_DAY) ||
                      (less && (t[1].flags & CUT_GLUED) &&
                       t[1].len <= YEARS_SHORT));

        if (t->symbol == CONCEPT_NUMBER && t->value < 0 &&
            concept_set_has(&lex->sets[t[-1].symbol], CONCEPT_LEVEL)) {
            t->value = -t->value; /* "level -4cm": it fell */
            t[-1].symbol = CONCEPT_DOWN;
            continue;
        }
        if (t->symbol != CONCEPT_NUMBER || t->value != -5 || !(years || less))
            continue;
        t->symbol = CONCEPT_UNDER5;
        if (years)
            t[1].symbol = CONCEPT_FILLER;
    }
}

/* The 30 of "1h30" and of "1h 30", but not the 11 of "vidole5saa11". */
static bool is_minutes(const struct cut *c, const struct lexicon *lex,
                       const struct cut_token *hour, const struct cut_token *t)
{
    const struct cut_token *end = &c->tokens[c->n - 1];
    const uint32_t units = 1u << CLASS_UNIT | 1u << CLASS_LETTER;

    if (t->symbol != CONCEPT_NUMBER || t->value >= 60 ||
        hour[-1].symbol != CONCEPT_NUMBER ||
        !(hour->symbol == CONCEPT_LETTER_H ||
          concept_set_has(&lex->sets[hour->symbol], CONCEPT_HOUR)) ||
        ((hour[-1].flags & CUT_GLUED) && cut_has_class(lex, &hour[-2], units)))
        return false;
    if ((t->flags & CUT_GLUED) && (hour->flags & CUT_GLUED))
        return !(t < end && (t[1].flags & CUT_GLUED) &&
                 cut_has_class(lex, &t[1], units));
    return t->len == 2 &&
           (t->value == 15 || t->value == 30 || t->value == 45) &&
           hour[-1].value == (int)hour[-1].value && hour[-1].value < 24 &&
           !cut_has_class(lex, &hour[-2], 1u << CLASS_UNIT) &&
           (t == end || !cut_has_class(lex, &t[1], units));
}

/* "1h30": the minutes behind an hour join the number before it. */
void cut_join_minutes(struct cut *c, const struct lexicon *lex)
{
    size_t to = 1;

    for (size_t i = 1; i < c->n; i++) {
        const struct cut_token *t = &c->tokens[i];
        struct cut_token *hour = &c->tokens[to - 1];

        if (to > 2 && is_minutes(c, lex, hour, t)) {
            hour[-1].value += t->value / 60;
            continue;
        }
        if (to != i)
            c->tokens[to] = *t;
        to++;
    }
    c->n = to;
}

/* What is counted, so that the number before it counts. */
static bool is_counted(const struct lexicon *lex, const struct cut_token *t)
{
    const struct concept_set *s = &lex->sets[t->symbol];

    return cut_has_class(lex, t, 1u << CLASS_UNIT | 1u << CLASS_LETTER) ||
           concept_set_has(s, CONCEPT_PERSON) ||
           concept_set_has(s, CONCEPT_CHILD) ||
           concept_set_has(s, CONCEPT_BABY) || concept_set_has(s, CONCEPT_ONE);
}

/* "Class 4", "classe de 6e", "street 12": which one, and not how many. */
static void settle_numbered(struct cut *c, const struct lexicon *lex)
{
    for (size_t i = 2; i + 1 < c->n; i++) {
        struct cut_token *t = &c->tokens[i];
        const struct cut_token *of = t - 1;

        if (t->symbol != CONCEPT_NUMBER || is_counted(lex, &t[1]))
            continue;
        while (of->symbol == CONCEPT_FILLER ||
               concept_set_has(&lex->sets[of->symbol], CONCEPT_OF))
            of--;
        if ((of->symbol == CONCEPT_CHAT && !(t->flags & CUT_WORDED)) ||
            concept_set_has(&lex->sets[of->symbol], CONCEPT_NUMBERED))
            t->symbol = CONCEPT_FILLER;
    }
}

void cut_settle_figures(struct cut *c, const struct lexicon *lex)
{
    settle_numbered(c, lex);
    settle_minus(c, lex);
    settle_for(c, lex);
    settle_none(c, lex);
}
