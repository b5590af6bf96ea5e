/* order.c - what an order carries: numbers, a phone, a place, serials. */
#include "reader/meaning.h"

#include <string.h>

struct ordering {
    const struct meaning_case *m;
    const struct grammar_match *o;
    struct reader_meaning *out;
};

static const struct {
    enum grammar_rule rule;
    enum reader_command command;
} commands[] = {
    {GRAMMAR_HELP, READER_HELP},       {GRAMMAR_LANGUAGE, READER_LANGUAGE},
    {GRAMMAR_STOP, READER_STOP},       {GRAMMAR_START, READER_START},
    {GRAMMAR_YES, READER_YES},         {GRAMMAR_NO, READER_NO},
    {GRAMMAR_GAVE, READER_GAVE},       {GRAMMAR_VISIT, READER_VISIT},
    {GRAMMAR_SWAPPED, READER_SWAPPED}, {GRAMMAR_MOVED, READER_MOVED},
    {GRAMMAR_LIST, READER_LIST},       {GRAMMAR_SEEN, READER_SEEN},
    {GRAMMAR_CLOSED, READER_CLOSED},   {GRAMMAR_WHY, READER_WHY},
    {GRAMMAR_DIGEST, READER_DIGEST},   {GRAMMAR_RECALL, READER_RECALL},
    {GRAMMAR_TESTED, READER_TESTED},
};

static bool said(const struct ordering *x, enum grammar_rule r)
{
    return grammar_said(x->o, r);
}

static const struct cut_token *token(const struct ordering *x,
                                     enum grammar_rule r)
{
    return &x->m->cut->tokens[x->o->first[r]];
}

static const char *held(const struct ordering *x, const struct cut_token *t)
{
    return t->held < 0 ? "" : x->m->cut->held[t->held].digits;
}

static void put_serial(struct ordering *x, const struct cut_token *t,
                       char dst[SERIAL_CAP])
{
    kw_copy(dst, SERIAL_CAP, held(x, t), strlen(held(x, t)));
}

/* The folded text of tokens first to last, as much as fits. */
static void put_words(struct ordering *x, size_t first, size_t end)
{
    const struct cut *c = x->m->cut;
    size_t at = c->tokens[first].at, len;

    if (end <= first)
        return;
    len = (size_t)c->tokens[end - 1].at + c->tokens[end - 1].len - at;
    if (len >= sizeof(x->out->word)) {
        len = sizeof(x->out->word) - 1;
        while (len > 0 &&
               ((unsigned char)c->fold.text[at + len] & 0xC0) == 0x80)
            len--;
    }
    kw_copy(x->out->word, sizeof(x->out->word), c->fold.text + at, len);
}

static void put_phone(struct ordering *x, const struct cut_token *t)
{
    const char *digits = held(x, t);
    size_t plus = (t->flags & CUT_PLUS) ? 1 : 0;

    if (t->symbol == CONCEPT_NUMBER)
        return;
    x->out->phone[0] = '+';
    kw_copy(x->out->phone + plus, sizeof(x->out->phone) - plus, digits,
            strlen(digits));
}

static void put_number(struct ordering *x, const struct cut_token *t)
{
    if (x->out->n_numbers < READER_NUMBERS_MOST)
        x->out->numbers[x->out->n_numbers++] = (int64_t)t->value;
}

/* A batch code as it was written, noughts and all. */
static void put_batch(struct ordering *x, const struct cut_token *t)
{
    if (t->held >= 0)
        kw_copy(x->out->word, sizeof(x->out->word), held(x, t),
                strlen(held(x, t)));
    else
        put_words(x, (size_t)(t - x->m->cut->tokens),
                  (size_t)(t - x->m->cut->tokens) + 1);
}

static void put_language(struct ordering *x)
{
    const struct cut_token *t = token(x, GRAMMAR_LANGUAGE_NAME);

    if (t->named >= 0)
        kw_copy(x->out->word, sizeof(x->out->word), x->m->lex->tags[t->named],
                strlen(x->m->lex->tags[t->named]));
}

/* A bare "es" or "hi" is a word like any other, not a wish for a language. */
static bool is_bare_tag(const struct ordering *x)
{
    if (!said(x, GRAMMAR_LANGUAGE_NAME))
        return false;
    return x->o->first[GRAMMAR_LANGUAGE_NAME] ==
               x->o->first[GRAMMAR_LANGUAGE] &&
           token(x, GRAMMAR_LANGUAGE_NAME)->len <= 3;
}

void meaning_order(const struct meaning_case *m, struct reader_meaning *out)
{
    struct ordering x = {m, &m->said->order, out};

    if (said(&x, GRAMMAR_LANGUAGE) && is_bare_tag(&x))
        return;
    for (size_t i = 0; i < KW_COUNT(commands); i++) {
        if (said(&x, commands[i].rule))
            out->command = commands[i].command;
    }
    if (said(&x, GRAMMAR_LANGUAGE_NAME))
        put_language(&x);
    if (said(&x, GRAMMAR_POT_SERIAL))
        put_serial(&x, token(&x, GRAMMAR_POT_SERIAL), out->serial);
    if (said(&x, GRAMMAR_NEW_SERIAL))
        put_serial(&x, token(&x, GRAMMAR_NEW_SERIAL), out->serial_other);
    if (said(&x, GRAMMAR_PHONE))
        put_phone(&x, token(&x, GRAMMAR_PHONE));
    if (said(&x, GRAMMAR_ALERT))
        put_number(&x, token(&x, GRAMMAR_ALERT));
    if (said(&x, GRAMMAR_BATCH))
        put_batch(&x, token(&x, GRAMMAR_BATCH));
    if (said(&x, GRAMMAR_ALERT) && said(&x, GRAMMAR_WHY))
        put_batch(&x, token(&x, GRAMMAR_ALERT));
    if (said(&x, GRAMMAR_PLACE))
        put_words(&x, x.o->first[GRAMMAR_PLACE], x.o->end[GRAMMAR_PLACE]);
}
