/*
 * cut.c - see cut.h. First atoms (runs of letters, of digits, pauses), then
 * numbers and serials among them (number runs in cut_digits.c), then words
 * to concepts (cut_words.c).
 */
#include "reader/cut_parts.h"

#include <string.h>

#define DOUBLED_LEAST  3 /* letters: "wa2" are two people */
#define DIGITISH_LONG  7 /* so many are a serial, though most be letters */
#define DIGITISH_LEAST 2
#define SHORT_MOST     5 /* digits of a number that is no serial */

/* Bit of a mark among those from 0 to 63. */
#define MARK(c) (UINT64_C(1) << (c))

static bool is_pause(char c)
{
    const uint64_t pauses = MARK(',') | MARK('.') | MARK(';') | MARK('!') |
                            MARK('?') | MARK('(') | MARK(')');

    return (unsigned char)c < 64 && (pauses >> c & 1);
}

/* May a single one of them stand between groups of digits? */
static bool is_link(char c)
{
    const uint64_t links =
        MARK('-') | MARK('.') | MARK('/') | MARK(':') | MARK(',');

    return c == '_' || ((unsigned char)c < 64 && (links >> c & 1));
}

static void add_atom(struct cut_atoms *a, enum cut_atom_type type, size_t at,
                     size_t len)
{
    struct cut_atom *x;

    if (len == 0)
        return;
    if (a->n == CUT_ATOMS_MOST) {
        a->full = true;
        return;
    }
    x = &a->items[a->n++];
    *x = (struct cut_atom){
        .type = type, .at = (uint16_t)at, .len = (uint16_t)len};
}

/* Letters that digits of a mistyped word stand for. */
static char letter_of(char digit)
{
    static const char as[] = "oiz3as6t8g";

    return digit == '3' ? 'e' : digit == '4' ? 'a' : as[digit - '0'];
}

/* "vidole3": a word with a number run on; but "lent0" has none. */
static bool is_word_and_number(const struct lexicon *lex, const char *s,
                               size_t len)
{
    size_t n = 0;

    while (n < len && !fold_is_digit(s[n]))
        n++;
    for (size_t i = n; i < len; i++) {
        if (!fold_is_digit(s[i]))
            return false;
    }
    return n >= 3 && !(n + 1 == len && s[n] == '0') &&
           lexicon_find(lex, s, n) != 0;
}

/* "rajad0": a digit among letters, when the word is then in a lexicon. */
static bool mend_digits(struct cut *c, const struct lexicon *lex, size_t at,
                        size_t len)
{
    char word[LEXICON_WORD_CAP];
    size_t digits = 0;
    uint32_t w;

    if (len < 4 || len >= sizeof(word) || fold_is_digit(c->fold.text[at]))
        return false;
    for (size_t i = 0; i < len; i++) {
        char x = c->fold.text[at + i];

        digits += fold_is_digit(x);
        word[i] = fold_is_digit(x) ? letter_of(x) : x;
    }
    if (digits > 2 || digits * 3 > len ||
        is_word_and_number(lex, c->fold.text + at, len))
        return false;
    w = lexicon_find(lex, word, len);
    for (size_t i = 0; w == 0 && i < len; i++) { /* 1 may also be an l */
        if (c->fold.text[at + i] != '1')
            continue;
        word[i] = 'l';
        w = lexicon_find(lex, word, len);
    }
    if (w == 0)
        return false;
    memcpy(c->fold.text + at, word, len);
    return true;
}

static bool could_be_digit(char c)
{
    return fold_is_digit(c) || c == 'o' || c == 'l' || c == 'i';
}

/* A run that is wholly of digits and their look-alikes, more digits. */
static bool is_digitish(const char *s, size_t len)
{
    size_t digits = 0;

    for (size_t i = 0; i < len; i++) {
        if (!could_be_digit(s[i]))
            return false;
        digits += fold_is_digit(s[i]);
    }
    return len >= 2 && (digits * 2 >= len ||
                        (len >= DIGITISH_LONG && digits >= DIGITISH_LEAST));
}

/* Letters and digits without a gap: where is the serial, where the word? */
static void split_mixed(struct cut *c, const struct cut_context *x, size_t at,
                        size_t len)
{
    struct cut_atoms *a = x->atoms;
    const char *s = c->fold.text + at;
    size_t n = (size_t)serial_chars(x->layout), from = 0;

    if (len > n && !fold_is_digit(s[n]) && cut_serial_at(x, s, n)) {
        add_atom(a, CUT_DIGITS, at, n);
        split_mixed(c, x, at + n, len - n);
        return;
    }
    if (len > n && !fold_is_digit(s[len - n - 1]) &&
        cut_serial_at(x, s + len - n, n)) {
        split_mixed(c, x, at, len - n);
        add_atom(a, CUT_DIGITS, at + len - n, n);
        return;
    }
    while (from < len) {
        size_t to = from + 1;

        while (to < len && fold_is_digit(s[to]) == fold_is_digit(s[from]))
            to++;
        add_atom(a, fold_is_digit(s[from]) ? CUT_DIGITS : CUT_LETTERS,
                 at + from, to - from);
        from = to;
    }
}

static bool is_alnum_run(const char *s, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if (!fold_is_digit(s[i]) && !(s[i] >= 'a' && s[i] <= 'z'))
            return false;
    }
    return true;
}

/* "a21b-007-x" from there on, whether it passes its check or not. */
static bool is_stamped_at(const struct cut *c, const struct serial_layout *l,
                          size_t at)
{
    size_t batch = (size_t)l->batch_chars, pot = (size_t)l->pot_chars;
    const char *s = c->fold.text + at, *end = c->fold.text + c->fold.len;

    if (pot == 0 || batch + pot + 3 > (size_t)(end - s))
        return false;
    return (s[batch] == '-' || s[batch] == '.') &&
           s[batch + 1 + pot] == s[batch] && is_alnum_run(s, batch) &&
           is_alnum_run(s + batch + 1, pot) &&
           is_alnum_run(s + batch + pot + 2, 1) &&
           (s + batch + pot + 3 == end ||
            !is_alnum_run(s + batch + pot + 3, 1));
}

/* A part of a mark with letters, as it is stamped: one group of digits. */
static bool is_stamped_part(const struct cut *c, const struct cut_context *x,
                            size_t at, size_t len)
{
    const struct serial_layout *l = x->layout;
    size_t batch = (size_t)l->batch_chars;

    return (len == batch && is_stamped_at(c, l, at)) ||
           (len == (size_t)l->pot_chars && at > batch &&
            is_stamped_at(c, l, at - batch - 1));
}

static size_t count_digits(const char *s, size_t len)
{
    size_t n = 0;

    while (len-- > 0)
        n += fold_is_digit(s[len]);
    return n;
}

/* "021407319ill": as many digits as a serial has, then letters, or before. */
static bool is_serial_and_word(const struct cut_context *x, const char *s,
                               size_t len)
{
    size_t n = (size_t)serial_chars(x->layout);

    return len > n && count_digits(s, len) == n &&
           (count_digits(s, n) == n || count_digits(s + len - n, n) == n);
}

/* Letters and digits, so many of them digits. */
static void take_run(struct cut *c, const struct cut_context *x, size_t at,
                     size_t len, size_t digits)
{
    const char *s = c->fold.text + at;

    if (x->layout->check == SERIAL_MOD_37_36 &&
        (is_stamped_part(c, x, at, len) || cut_serial_at(x, s, len)))
        add_atom(x->atoms, CUT_DIGITS, at, len);
    else if (digits == 0)
        add_atom(x->atoms, CUT_LETTERS, at, len);
    else if (digits < len && is_serial_and_word(x, s, len))
        split_mixed(c, x, at, len);
    else if (digits == len || is_digitish(s, len))
        add_atom(x->atoms, CUT_DIGITS, at, len);
    else if (mend_digits(c, x->lex, at, len))
        add_atom(x->atoms, CUT_LETTERS, at, len);
    else
        split_mixed(c, x, at, len);
}

/* What stands between two atoms, as far as it can link digit groups. */
static char link_of(const char *s, size_t len)
{
    char link = ' ';

    if (len == 0)
        return '\0';
    if (len > 3)
        return CUT_NO_LINK;
    for (size_t i = 0; i < len; i++) {
        if (s[i] == ' ')
            continue;
        if (!is_link(s[i]) || link != ' ')
            return CUT_NO_LINK;
        link = s[i];
    }
    return link;
}

static void link_atoms(struct cut *c, struct cut_atoms *a)
{
    size_t end = 0;

    for (size_t i = 0; i < a->n; i++) {
        struct cut_atom *x = &a->items[i];
        const char *between = c->fold.text + end;
        size_t n = x->at - end;

        if (n == 1 && *between == ' ' && i > 0) { /* nearly always */
            x->link = ' ';
            end = (size_t)x->at + x->len;
            continue;
        }
        x->link = i == 0 ? CUT_NO_LINK : link_of(between, n);
        if (i > 0 && n == 0)
            x->flags |= CUT_GLUED;
        if (n > 0 && between[n - 1] == '+')
            x->flags |= CUT_PLUS;
        if (n > 1 && between[n - 1] == '-' && between[n - 2] == ' ')
            x->flags |= CUT_MINUS;
        if (n > 0 && between[n - 1] == '<' && c->fold.text[x->at] == '5')
            x->flags |= CUT_MINUS; /* "<5a" */
        end = (size_t)x->at + x->len;
    }
}

/* Is any gap within the text? */
static bool has_gap(const struct fold *f)
{
    size_t from = 0, to = f->len;

    while (from < to && !fold_is_alnum(f->text[from]))
        from++;
    while (to > from && !fold_is_alnum(f->text[to - 1]))
        to--;
    return memchr(f->text + from, ' ', to - from) != NULL;
}

/* "1,5", "ill.2.u1", "ill..2,,u1": marks [from, to), all the same, without
 * gaps that end nothing. */
static bool are_inside(const struct fold *f, size_t from, size_t to)
{
    const char *s = f->text;

    if (from == 0 || to >= f->len || !fold_is_alnum(s[from - 1]) ||
        !fold_is_alnum(s[to]))
        return false;
    if (strchr(",.;", s[from]) != NULL && !has_gap(f))
        return true; /* "slow..3,,fingers": marks in place of all gaps */
    if (s[from] == ',')
        return fold_is_digit(s[from - 1]) || fold_is_digit(s[to]);
    return s[from] == '.' && (from + 1 == to || fold_is_digit(s[from - 1]) ||
                              fold_is_digit(s[to]));
}

/* The marks from `at` on that are the same; where they end. */
static size_t take_marks(const struct fold *f, struct cut_atoms *atoms,
                         size_t at)
{
    size_t to = at;
    bool inside;

    while (to < f->len && f->text[to] == f->text[at])
        to++;
    inside = are_inside(f, at, to);
    for (; at < to && !inside; at++)
        add_atom(atoms, CUT_STOP, at, 1);
    return to;
}

static void take_atoms(struct cut *c, const struct cut_context *x)
{
    const char *s = c->fold.text;
    size_t at = 0;

    while (at < c->fold.len) {
        size_t to = at;

        if (fold_is_alnum(s[at])) {
            size_t digits = 0;

            for (unsigned k; (k = fold_class[(unsigned char)s[to]]) != 0; to++)
                digits += k == FOLD_DIGIT; /* the text ends in a NUL */
            take_run(c, x, at, to - at, digits);
            at = to;
            continue;
        }
        if (is_pause(s[at])) {
            at = take_marks(&c->fold, x->atoms, at);
            continue;
        }
        if (s[at] == '+' && (at + 1 == c->fold.len || s[at + 1] == ' '))
            add_atom(x->atoms, CUT_MORE, at, 1);
        at++;
    }
    link_atoms(c, x->atoms);
}

struct cut_token *cut_add(struct cut *c, enum concept concept, size_t at,
                          size_t len)
{
    struct cut_token *t;

    if (c->n >= CUT_TOKENS_MOST - 1) { /* one is kept for <end> */
        c->cut_off = true;
        return &c->tokens[CUT_TOKENS_MOST - 1];
    }
    t = &c->tokens[c->n++];
    *t = (struct cut_token){.at = (uint16_t)at,
                            .len = (uint16_t)len,
                            .symbol = (uint16_t) concept,
                            .named = -1,
                            .held = -1};
    return t;
}

int cut_hold(struct cut *c, const char *digits, size_t len)
{
    struct cut_long *h;

    if (c->n_held == CUT_LONG_MOST)
        return -1;
    h = &c->held[c->n_held];
    h->len = len;
    if (len >= sizeof(h->digits))
        len = sizeof(h->digits) - 1;
    memcpy(h->digits, digits, len);
    h->digits[len] = '\0';
    return (int)c->n_held++;
}

/* "boit +": no more; where a phrase goes on with that word. */
static void add_plus(struct cut *c, const struct lexicon *lex, size_t at)
{
    const struct cut_token *last = &c->tokens[c->n - 1];
    uint32_t plus = lexicon_find(lex, "plus", 4),
             spelt = lexicon_find_spelling(lex, c->lang_seems, "plus", 4, true);
    uint32_t node = last->word == 0 ? 0 : lexicon_step(lex, 1, last->word),
             by_ear = last->spelt == 0 ? 0 : lexicon_step(lex, 1, last->spelt);

    if ((node == 0 || lexicon_step(lex, node, plus) == 0) &&
        (by_ear == 0 || lexicon_step(lex, by_ear, spelt) == 0))
        return;
    cut_add_word(c, at, 1, plus, 0);
    c->tokens[c->n - 1].flags = 0;
    c->tokens[c->n - 1].spelt = spelt;
}

/* Is the figure behind this one a count: "wa2 3"? */
static bool counts_behind(const struct cut_context *x, size_t i)
{
    const struct cut_atom *next = &x->atoms->items[i + 1];

    return i + 1 < x->atoms->n && next->type == CUT_DIGITS && next->len <= 2;
}

/* Swahili "wa2", read aloud: people. */
static bool add_aloud_behind(struct cut *c, const struct lexicon *lex,
                             struct cut_token *t)
{
    size_t len = (size_t)t->len + 1;
    uint32_t w = cut_know(c, lex, c->fold.text + t->at, len)->sound;

    if (w == 0 || lexicon_symbol_of(lex, w) == 0)
        return false;
    t->word = w;
    t->spelt = t->sound = 0;
    t->len = (uint16_t)len;
    return true;
}

/* "pole2": polepole. A 2 that stands at the end of a word says it twice. */
static bool add_doubled(struct cut *c, const struct cut_context *x, size_t i)
{
    const struct cut_atom *a = &x->atoms->items[i];
    struct cut_token *t = &c->tokens[c->n - 1];
    char twice[LEXICON_WORD_CAP];
    uint32_t w;

    if (i == 0 || a->len != 1 || c->fold.text[a->at] != '2' ||
        !(a->flags & CUT_GLUED) || a[-1].type != CUT_LETTERS ||
        (i + 1 < x->atoms->n && (a[1].flags & CUT_GLUED)) ||
        t->at != a[-1].at || t->len != a[-1].len ||
        2 * (size_t)t->len >= sizeof(twice))
        return false;
    if (counts_behind(x, i))
        return add_aloud_behind(c, x->lex, t);
    if (t->len < DOUBLED_LEAST)
        return false;
    memcpy(twice, c->fold.text + t->at, t->len);
    memcpy(twice + t->len, c->fold.text + t->at, t->len);
    w = lexicon_find(x->lex, twice, 2 * (size_t)t->len);
    if (w == 0 || x->lex->words[w].root == 0)
        return false;
    t->word = w;
    t->spelt = t->sound = 0;
    t->len = (uint16_t)(t->len + 1);
    return true;
}

/* "2naharisha": a figure read aloud, where a rule of the spelling has it. */
static bool add_aloud(struct cut *c, const struct cut_context *x, size_t i)
{
    const struct cut_atom *a = &x->atoms->items[i];
    const char *s = c->fold.text + a->at;
    size_t len;
    uint32_t w;

    if (a->len != 1 || (a->flags & CUT_GLUED) || i + 1 >= x->atoms->n ||
        a[1].type != CUT_LETTERS || !(a[1].flags & CUT_GLUED))
        return false;
    len = (size_t)a->len + a[1].len;
    w = cut_know(c, x->lex, s, len)->sound;
    if (w == 0 || lexicon_symbol_of(x->lex, w) == 0)
        return false;
    cut_add_word(c, a->at, len, w, 0);
    return true;
}

static void lay_tokens(struct cut *c, const struct cut_context *x)
{
    size_t i = 0;

    while (i < x->atoms->n) {
        const struct cut_atom *a = &x->atoms->items[i];

        if (a->type == CUT_DIGITS && add_doubled(c, x, i)) {
            i++;
            continue;
        }
        if (a->type == CUT_DIGITS && add_aloud(c, x, i)) {
            i += 2;
            continue;
        }
        if (a->type == CUT_DIGITS) {
            i = cut_digit_run(c, x, i);
            continue;
        }
        if (a->type == CUT_MORE) {
            add_plus(c, x->lex, a->at);
        } else if (a->type == CUT_STOP) {
            if (c->tokens[c->n - 1].symbol != CONCEPT_PAUSE)
                cut_add(c, CONCEPT_PAUSE, a->at, a->len);
        } else {
            cut_word(c, x, a);
        }
        i++;
    }
}

/* "0214-073-19 ill 4000": beside a serial so few digits are no other one. */
static void settle_short(struct cut *c)
{
    bool serial = false;

    for (size_t i = 1; i < c->n; i++)
        serial |= c->tokens[i].symbol == CONCEPT_SERIAL;
    for (size_t i = 1; serial && i < c->n; i++) {
        struct cut_token *t = &c->tokens[i];

        if (t->symbol == CONCEPT_WRONG && c->held[t->held].len <= SHORT_MOST)
            t->symbol = CONCEPT_NUMBER;
    }
}

/* Serials may stand between words that belong together: two rows. */
static void lay_rows(struct cut *c, const struct lexicon *lex)
{
    cut_sum_up(c, lex);
    c->n_row = 0;
    for (size_t i = 0; i < c->n; i++) {
        uint16_t o = c->symbols[i] = c->tokens[i].symbol;

        if (o == CONCEPT_SERIAL || o == CONCEPT_WRONG || o == CONCEPT_PHONE)
            continue;
        c->row_at[c->n_row] = (uint16_t)i;
        c->row[c->n_row++] = o;
    }
}

/* Are there as many digits as a serial has? */
static bool is_numbered(const struct cut *c, const struct serial_layout *layout)
{
    int digits = 0;

    for (size_t i = 0; i < c->fold.len; i++)
        digits += fold_is_digit(c->fold.text[i]);
    return digits >= serial_chars(layout) - 1;
}

void cut_text(struct cut *c, const struct lexicon *lex,
              const struct serial_layout *layout, int lang)
{
    struct cut_atoms atoms;
    struct cut_context x = {lex, layout, &atoms};

    atoms.n = 0;
    atoms.full = false;
    c->n = c->n_held = c->n_slips = c->n_chains = c->n_mends = 0;
    c->text++;
    c->keypad = c->card = c->doubt = c->joined = false;
    c->near_pot = c->near_illness = false;
    c->lang = -1;
    c->cut_off = c->fold.cut;
    cut_add(c, CONCEPT_BEGIN, 0, 0);
    if (cut_keypad(c, &x)) {
        c->keypad = true;
    } else {
        take_atoms(c, &x);
        c->numbered = is_numbered(c, layout);
        c->lang_seems = cut_guess_language(c, &x, lang);
        lay_tokens(c, &x);
        settle_short(c);
        cut_phrases(c, lex, lang);
    }
    if (atoms.full)
        c->cut_off = true;
    cut_add(c, CONCEPT_END, c->fold.len, 0);
    cut_close_denials(c, lex);
    lay_rows(c, lex);
}
