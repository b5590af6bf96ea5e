/*
 * cut_digits.c - serials, phones and numbers in a run of digit groups. What
 * passes its check, whole, in a shape that people write, is a serial; what
 * looks like one and fails is <wrong>, so that it can be asked about; the
 * rest are numbers. A digit is never added, dropped or changed.
 */
#include "reader/cut_parts.h"

#include <string.h>

#define GROUPS_MOST 12
#define LONG_LEAST  5 /* digits in one group that are no count or measure */
#define DIGITS_MOST 40
#define VALUE_MOST  UINT64_C(1000000000000000) /* no more digits are counted */

struct run {
    const struct cut_atom *g; /* groups of digits */
    size_t n;
    bool measured[GROUPS_MOST]; /* a unit stands behind it */
};

/* The canonical characters; false when they are not of that kind. */
static bool canonical(const struct cut_context *x, const char *s, size_t len,
                      char dst[SERIAL_CAP])
{
    bool decimal = x->layout->check == SERIAL_MOD_97_10;
    size_t digits = 0;

    if (len >= SERIAL_CAP)
        return false;
    for (size_t i = 0; i < len; i++) {
        char c = s[i];

        if (fold_is_digit(c))
            digits++;
        else if (decimal)
            c = (char)(c == 'o' ? '0' : c == 'l' || c == 'i' ? '1' : c);
        else if (c >= 'a' && c <= 'z')
            c = (char)(c - 'a' + 'A');
        dst[i] = c;
    }
    dst[len] = '\0';
    return digits >= 2 && serial_verify(x->layout, dst, len) == 0;
}

bool cut_serial_at(const struct cut_context *x, const char *s, size_t len)
{
    char dst[SERIAL_CAP];

    return len == (size_t)serial_chars(x->layout) && canonical(x, s, len, dst);
}

/* Is a unit behind the atom: "3 fingers", "3f"? */
static bool is_measured(const struct cut *c, const struct cut_context *x,
                        size_t i)
{
    const struct cut_atom *a = &x->atoms->items[i + 1];

    if (i + 1 >= x->atoms->n || a->type != CUT_LETTERS)
        return false;
    if (a->len == 1)
        return strchr("hmfl", c->fold.text[a->at]) != NULL;
    return (x->lex->classes[lexicon_symbol_of(x->lex, a->word)] &
            1u << CLASS_UNIT) != 0;
}

/* The characters of groups a to b, joined; 0 when there are too many. */
static size_t join(const struct cut *c, const struct run *r, size_t a, size_t b,
                   char dst[DIGITS_MOST + 1])
{
    size_t n = 0;

    for (size_t i = a; i <= b; i++) {
        if (n + r->g[i].len > DIGITS_MOST)
            return 0;
        memcpy(dst + n, c->fold.text + r->g[i].at, r->g[i].len);
        n += r->g[i].len;
    }
    dst[n] = '\0';
    return n;
}

/*
 * The mark of MOD 37,36 apart, as it is stamped: "0214-073-S". Behind a space
 * it is one only when it fits, since "s" alone says slow.
 */
static bool is_mark(const struct cut *c, const struct cut_context *x,
                    const struct run *r)
{
    const struct cut_atom *a = &r->g[r->n];
    char s[DIGITS_MOST + 1], serial[SERIAL_CAP];
    size_t n;

    if (x->layout->check != SERIAL_MOD_37_36 || r->n == 0 ||
        a->type != CUT_LETTERS || a->len != 1 || a->link == '\0' ||
        strchr(" -._/", a->link) == NULL)
        return false;
    n = join(c, r, 0, r->n - 1, s);
    if (n + 1 != (size_t)serial_chars(x->layout))
        return false;
    s[n] = c->fold.text[a->at];
    return a->link != ' ' || canonical(x, s, n + 1, serial);
}

static void gather_run(const struct cut *c, const struct cut_context *x,
                       size_t i, struct run *r)
{
    r->g = &x->atoms->items[i];
    r->n = 0;
    while (i + r->n < x->atoms->n && r->n < GROUPS_MOST) {
        const struct cut_atom *a = &r->g[r->n];

        if (is_mark(c, x, r)) {
            r->measured[r->n - 1] = r->measured[r->n] = false;
            r->n++;
            break;
        }
        if (a->type != CUT_DIGITS ||
            (r->n > 0 && (a->link == '\0' || strchr(" -._/", a->link) == NULL)))
            break;
        r->measured[r->n] = is_measured(c, x, i + r->n);
        r->n++;
    }
}

/* Groups as on the card or in the threes that people use for phones. */
static bool is_usual(const struct cut_context *x, const struct cut_atom *g)
{
    return (g[0].len == x->layout->batch_chars &&
            g[1].len == x->layout->pot_chars) ||
           (g[0].len == 3 && g[1].len == 3);
}

/* The whole run, in whatever groups, when no measure ends it. */
static bool is_whole(const struct run *r, size_t want)
{
    size_t total = 0;

    for (size_t i = 0; i < r->n && total <= want; i++)
        total += r->g[i].len;
    return total == want && !r->measured[r->n - 1] && r->g[0].len > 1;
}

/* Finds groups a to b that make a serial's length, passing or not; the serial
 * is then canonical. */
static bool find_window(const struct cut *c, const struct cut_context *x,
                        const struct run *r, bool passes, size_t *a, size_t *b,
                        char serial[SERIAL_CAP])
{
    size_t want = (size_t)serial_chars(x->layout);
    char digits[DIGITS_MOST + 1];

    for (*a = 0; *a < r->n; (*a)++) {
        const struct cut_atom *g = &r->g[*a];

        if (g->len == want)
            *b = *a;
        else if (*a + 2 < r->n && is_usual(x, g) &&
                 (size_t)g[0].len + g[1].len + g[2].len == want)
            *b = *a + 2;
        else if (*a == 0 && is_whole(r, want))
            *b = r->n - 1;
        else
            continue;
        join(c, r, *a, *b, digits);
        if (canonical(x, digits, want, serial) == passes)
            return true;
    }
    return false;
}

static void add_held(struct cut *c, const struct run *r, size_t a, size_t b,
                     enum concept concept, const char *digits)
{
    size_t at = r->g[a].at, len = (size_t)r->g[b].at + r->g[b].len - at;
    struct cut_token *t = cut_add(c, concept, at, len);
    uint64_t value = 0;

    t->flags = r->g[a].flags;
    t->held = (int8_t)cut_hold(c, digits, strlen(digits));
    if (concept == CONCEPT_SERIAL)
        return; /* no number of anything */
    for (const char *s = digits; *s != '\0' && value < VALUE_MOST; s++)
        value = value * 10 + (fold_is_digit(*s) ? (unsigned)(*s - '0') : 0);
    t->value = (double)value;
}

static int digits_value(const char *s, size_t len)
{
    int v = 0;

    for (size_t i = 0; i < len && v < 100000000; i++)
        v = v * 10 + (s[i] == 'o' ? 0 : s[i] - '0');
    return v;
}

/* "5l", "500l": digits and l for litre; the l is no one that it looks like. */
static bool is_litres(const struct cut *c, const struct cut_atom *a)
{
    const char *s = c->fold.text + a->at;

    for (size_t i = 0; i + 1 < a->len; i++) {
        if (!fold_is_digit(s[i]))
            return false;
    }
    return a->len > 1 && s[a->len - 1] == 'l';
}

static bool is_all_digits(const char *s, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if (!fold_is_digit(s[i]))
            return false;
    }
    return len > 0;
}

/* "1l", "1o": a short group with letters that no serial wanted. */
static void split_group(struct cut *c, const struct cut_context *x,
                        const struct cut_atom *a)
{
    size_t from = 0;

    while (from < a->len) {
        const char *s = c->fold.text + a->at;
        size_t to = from;
        struct cut_atom part = *a;
        bool digit = fold_is_digit(s[from]);

        while (to < a->len &&
               (fold_is_digit(s[to]) == digit || (digit && s[to] == 'o')))
            to++;
        part.at = (uint16_t)(a->at + from);
        part.len = (uint16_t)(to - from);
        if (from > 0)
            part.flags |= CUT_GLUED;
        if (digit) {
            struct cut_token *t = cut_add(c, CONCEPT_NUMBER, part.at, part.len);

            t->flags = part.flags;
            t->value = digits_value(s + from, part.len);
        } else {
            part.word = lexicon_find(x->lex, s + from, part.len);
            cut_word(c, x, &part);
        }
        from = to;
    }
}

/* The second half of "1.5", "2.5l", "1/2" or "8:30", when atom i begins one. */
static bool add_second_half(struct cut *c, const struct cut_context *x,
                            size_t i, struct cut_token *t)
{
    const struct cut_atom *a = &x->atoms->items[i], *b = a + 1;
    const char *s;
    size_t n;
    int v;

    if (i + 1 >= x->atoms->n || b->type != CUT_DIGITS || a->len > 3 ||
        b->at != a->at + a->len + 1)
        return false;
    s = c->fold.text + b->at;
    n = b->len - (is_litres(c, b) ? 1u : 0u);
    if (n > 2 || !is_all_digits(s, n))
        return false;
    v = digits_value(s, n);
    if (b->link == '.' || b->link == ',')
        t->value += v / (n == 1 ? 10.0 : 100.0);
    else if (b->link == '/' && v >= 2 && v <= 8)
        t->value /= v;
    else if (b->link == ':' && v < 60)
        t->value += v / 60.0;
    else
        return false;
    if (b->link == '/')
        t->flags |= CUT_FRACTION;
    if (b->link == ':')
        t->symbol = CONCEPT_CLOCK;
    t->len = (uint16_t)(b->at + n - a->at);
    return true;
}

/* The l of "2.5l", behind its number. */
static void add_litre(struct cut *c, const struct cut_context *x,
                      const struct cut_atom *a)
{
    struct cut_atom l = *a;

    l.at = (uint16_t)(a->at + a->len - 1);
    l.len = 1;
    l.type = CUT_LETTERS;
    l.flags |= CUT_GLUED;
    l.word = lexicon_find(x->lex, c->fold.text + l.at, l.len);
    cut_word(c, x, &l);
}

/* One short group as a number; the atom after it. */
static size_t add_number(struct cut *c, const struct cut_context *x, size_t i)
{
    const struct cut_atom *a = &x->atoms->items[i];
    const char *s = c->fold.text + a->at;
    struct cut_token *t, *last;

    if (!is_all_digits(s, a->len)) {
        split_group(c, x, a);
        return i + 1;
    }
    last = &c->tokens[c->n - 1];
    t = cut_add(c, CONCEPT_NUMBER, a->at, a->len);
    t->flags = a->flags;
    t->value = digits_value(s, a->len);
    t->word = cut_hear(c, x->lex, s, a->len)->word;
    if (a->flags & CUT_MINUS)
        t->value = -t->value; /* nobody means that, but "<5" */
    if (!add_second_half(c, x, i, t))
        return i + 1;
    if ((t->flags & CUT_FRACTION) && last->symbol == CONCEPT_NUMBER &&
        last->value >= 1 && a->link == ' ') { /* "1 1/2" */
        last->value += t->value;
        c->n--;
    }
    if (is_litres(c, a + 1))
        add_litre(c, x, a + 1);
    return i + 2;
}

static bool is_year(const char *s)
{
    return memcmp(s, "19", 2) == 0 || memcmp(s, "20", 2) == 0;
}

/* The group alone says too much to be a count or a measure. */
static bool is_long(const struct cut *c, const struct run *r, size_t i)
{
    const struct cut_atom *g = &r->g[i];
    bool litres = is_litres(c, g);

    if (g->len >= LONG_LEAST + (litres ? 1 : 0))
        return true;
    return g->len == LONG_LEAST - 1 && !r->measured[i] && !litres &&
           !is_year(c->fold.text + g->at);
}

/* No group passed. Is it meant as a serial or a phone all the same? */
static size_t claim(struct cut *c, const struct cut_context *x,
                    const struct run *r)
{
    size_t want = (size_t)serial_chars(x->layout), a, b, last = r->n, total;
    char digits[DIGITS_MOST + 1], serial[SERIAL_CAP];

    while (last > 0 && r->measured[last - 1])
        last--;
    if (last > 1 && (size_t)r->g[0].len + 1 >= want && r->g[1].len == 1)
        last = 1; /* a digit of it is wrong, and a count stands behind */
    total = last > 1 && r->g[0].len >= 3 ? join(c, r, 0, last - 1, digits) : 0;
    if (total + 1 >= want) {
        if (find_window(c, x, r, false, &a, &b, serial) && a == 0 &&
            b + 1 < last)
            join(c, r, 0, b, digits); /* numbers come behind it */
        else
            b = last - 1;
        add_held(c, r, 0, b,
                 total > want + 2 && b == last - 1 ? CONCEPT_PHONE
                                                   : CONCEPT_WRONG,
                 digits);
        return b + 1;
    }
    if (!is_long(c, r, 0) || join(c, r, 0, 0, digits) == 0)
        return 0;
    add_held(c, r, 0, 0,
             r->g[0].len > want + 2 || (r->g[0].flags & CUT_PLUS)
                 ? CONCEPT_PHONE
                 : CONCEPT_WRONG,
             digits);
    return 1;
}

/* "10h": one short group, which can be nothing but a number. */
static bool is_short_alone(const struct cut_context *x, size_t i)
{
    const struct cut_atom *a = &x->atoms->items[i];
    size_t want = (size_t)serial_chars(x->layout);

    return a->len + 1u < LONG_LEAST && a->len < want &&
           x->layout->check == SERIAL_MOD_97_10 &&
           (i + 1 >= x->atoms->n || a[1].type != CUT_DIGITS);
}

size_t cut_digit_run(struct cut *c, const struct cut_context *x, size_t i)
{
    char serial[SERIAL_CAP];
    struct run r;
    size_t a, b, n;

    if ((x->atoms->items[i].len == 1 && x->layout->batch_chars > 1) ||
        is_short_alone(x, i))
        return add_number(c, x, i); /* no serial begins so, no phone either */
    gather_run(c, x, i, &r);
    if (r.g[0].len > DIGITS_MOST) {
        cut_add(c, CONCEPT_WORD, r.g[0].at, r.g[0].len);
        return i + 1;
    }
    if (r.n > 0 && !(r.g[0].flags & CUT_PLUS) &&
        find_window(c, x, &r, true, &a, &b, serial)) {
        if (a == 0) {
            add_held(c, &r, a, b, CONCEPT_SERIAL, serial);
            return i + b + 1;
        }
        r.n = a; /* first what stands before it */
        n = claim(c, x, &r);
    } else {
        n = claim(c, x, &r);
    }
    return n > 0 ? i + n : add_number(c, x, i);
}

/* ---- the keypad form ---- */

static const enum concept keypad_words[10] = {
    CONCEPT_UNUSED, CONCEPT_CRACK, CONCEPT_LEAK, CONCEPT_BROKEN,
    CONCEPT_SLOW,   CONCEPT_FAST,  CONCEPT_ILL,  CONCEPT_SCRUBBED,
    CONCEPT_PART,   CONCEPT_FINE,
};

struct keypad {
    struct cut *c;
    const struct cut_context *x;
    size_t at; /* in the folded text */
};

/* The next field of digits; false at the end. */
static bool next_field(struct keypad *k, size_t *at, size_t *len)
{
    const char *s = k->c->fold.text;

    while (k->at < k->c->fold.len && !fold_is_digit(s[k->at]))
        k->at++;
    *at = k->at;
    while (k->at < k->c->fold.len && fold_is_digit(s[k->at]))
        k->at++;
    *len = k->at - *at;
    return *len > 0;
}

static bool keypad_number(struct keypad *k, enum concept unit)
{
    size_t at, len;
    struct cut_token *t;

    if (!next_field(k, &at, &len))
        return false;
    t = cut_add(k->c, CONCEPT_NUMBER, at, len);
    t->value = digits_value(k->c->fold.text + at, len);
    if (unit != CONCEPT_NONE)
        cut_add(k->c, unit, at, 0);
    return true;
}

static void keypad_serial(struct keypad *k, size_t at, size_t len)
{
    char serial[SERIAL_CAP];
    const char *s = k->c->fold.text + at;
    bool passes = canonical(k->x, s, len, serial);
    struct cut_token *t =
        cut_add(k->c, passes ? CONCEPT_SERIAL : CONCEPT_WRONG, at, len);

    t->held = (int8_t)cut_hold(k->c, passes ? serial : s, len);
}

static void keypad_word(struct keypad *k, size_t at, size_t len)
{
    static const enum concept parts[] = {CONCEPT_TAP, CONCEPT_LID,
                                         CONCEPT_BUCKET};
    int v = digits_value(k->c->fold.text + at, len);

    if (len > 1 || v > 9) {
        cut_add(k->c, CONCEPT_WRONG, at, len)->held =
            (int8_t)cut_hold(k->c, k->c->fold.text + at, len);
        return;
    }
    cut_add(k->c, keypad_words[v], at, len);
    if (v == 4 || v == 5) { /* fingers, hours */
        if (keypad_number(k, CONCEPT_FINGER))
            keypad_number(k, CONCEPT_HOUR);
    } else if (v == 6) { /* people, under five */
        if (keypad_number(k, CONCEPT_NONE) && next_field(k, &at, &len)) {
            struct cut_token *t;

            cut_add(k->c, CONCEPT_UNDER5, at, 0);
            t = cut_add(k->c, CONCEPT_NUMBER, at, len);
            t->value = digits_value(k->c->fold.text + at, len);
        }
    } else if (v == 8 && next_field(k, &at, &len)) { /* 1 tap 2 lid 3 bucket */
        int part = digits_value(k->c->fold.text + at, len);

        if (part >= 1 && part <= 3)
            cut_add(k->c, parts[part - 1], at, len);
    }
}

bool cut_keypad(struct cut *c, const struct cut_context *x)
{
    struct keypad k = {c, x, 0};
    size_t at, len, stars = 0;
    bool first = true;

    if (memchr(c->fold.text, '*', c->fold.len) == NULL)
        return false;
    for (size_t i = 0; i < c->fold.len; i++) {
        char ch = c->fold.text[i];

        stars += ch == '*';
        if (!fold_is_digit(ch) && strchr("*# -;", ch) == NULL)
            return false;
    }
    if (stars == 0 || c->fold.len > 160)
        return false;
    while (next_field(&k, &at, &len)) {
        if (first && len >= LONG_LEAST)
            keypad_serial(&k, at, len);
        else
            keypad_word(&k, at, len);
        first = false;
    }
    return !first;
}
