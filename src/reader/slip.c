/* slip.c - see slip.h. */
#include "reader/slip.h"

#include "reader/slip_cost.h"

#include <string.h>

#define RUNES_LEAST 4   /* shorter ones neither */
#define TRIES_MOST  400 /* candidates weighed for one word */
/* Words that would put something into a report. */
#define FILED_CLASSES                                                          \
    (1u << CLASS_SEEN | 1u << CLASS_SIGN | 1u << CLASS_SICKNESS |              \
     1u << CLASS_OURS | 1u << CLASS_UNIT)
#define SALT_BONES 0x5EED5EEDu

static int least(int a, int b)
{
    return a < b ? a : b;
}

/* What a word of n letters may have cost. */
static int slack(int n)
{
    return n <= 4 ? 2 : n <= 6 ? 3 : n <= 8 ? 4 : 5;
}

/* Of code points: one step each, so that start-up stays short. */
static uint32_t hash_step(uint32_t h, int32_t c)
{
    return (h ^ (uint32_t)c) * 16777619u;
}

static uint32_t hash_end(uint32_t h)
{
    h ^= h >> 16;
    h *= 0x85EBCA6Bu;
    return h ^ h >> 13;
}

/*
 * Hashes of the word whole, then without each of its letters: n + 1 of them.
 * The value of a polynomial, so that each is had from what stands before the
 * letter and what stands behind it.
 */
static void hash_forms(const struct runes *r, uint32_t forms[RUNES_MOST + 1])
{
    static const uint64_t base = UINT64_C(0x9E3779B97F4A7C15);
    uint64_t before[RUNES_MOST + 1], behind = 0, power = 1;

    before[0] = 1;
    for (int i = 0; i < r->n; i++)
        before[i + 1] = before[i] * base + (uint64_t)r->at[i];
    forms[0] = (uint32_t)(before[r->n] * base >> 32);
    for (int skip = r->n - 1; skip >= 0; skip--) {
        forms[skip + 1] =
            (uint32_t)((before[skip] * power + behind) * base >> 32);
        behind += power * (uint64_t)r->at[skip];
        power *= base;
    }
}

/* Hash of the consonants, by sound and without doubles; 0 when too few. */
static uint32_t hash_bones(const struct runes *r)
{
    uint32_t h = SALT_BONES;
    int32_t last = 0;
    int n = 0;

    for (int i = 0; i < r->n; i++) {
        int32_t c = r->at[i];

        if (slip_is_vowel(c) || c == 'h' || c == 'w')
            continue;
        if (c == 'c' && i + 1 < r->n &&
            (r->at[i + 1] == 'e' || r->at[i + 1] == 'i'))
            c = 's';
        else if (c == 'v')
            c = 'b';
        else if (c == 'c' || c == 'q')
            c = 'k';
        else if (c == 'z' || c == 'x')
            c = 's';
        else if (c == 'g')
            c = 'j';
        if (c != last) {
            h = hash_step(h, c);
            n++;
        }
        last = c;
    }
    return n < 3 ? 0 : hash_end(h);
}

/* Near forms as they are found, before they are put in order. */
struct form {
    uint32_t hash, word;
};

struct forms {
    struct form *items;
    size_t n, cap;
};

static void add_forms(struct forms *f, const struct lexicon *lex, uint32_t w)
{
    const struct lexicon_word *word = &lex->words[w];
    struct runes r;
    uint32_t bones, forms[RUNES_MOST + 1];

    if (word->runes < RUNES_LEAST || !word->listed ||
        !slip_decode(lex->store + word->at, word->len, &r))
        return;
    if (r.at[0] < 0x80 && r.at[0] >= '0' && r.at[0] <= '9')
        return;
    hash_forms(&r, forms);
    if (f->n + RUNES_MOST + 2 > f->cap)
        kw_grow(&f->items, &f->cap, f->n + RUNES_MOST + 2, sizeof(*f->items));
    for (int i = 0; i <= r.n; i++)
        f->items[f->n++] = (struct form){forms[i], w};
    if ((bones = hash_bones(&r)) != 0)
        f->items[f->n++] = (struct form){bones, w};
}

/*
 * By the low bits of their hashes, the last ones first. As many places as a
 * word's number has: what is above it in a row is the rest of the hash.
 */
static void sort_forms(struct lexicon *lex, const struct forms *f)
{
    size_t slots = 1024;
    uint32_t sum = 0, mask;

    while (slots < lex->n_words)
        slots *= 2;
    lex->near_mask = slots - 1;
    mask = (uint32_t)lex->near_mask;
    lex->n_near = f->n;
    lex->near_heads = kw_calloc(slots + 1, sizeof(*lex->near_heads));
    lex->near_forms = kw_calloc(f->n, sizeof(*lex->near_forms));
    for (size_t i = 0; i < f->n; i++)
        lex->near_heads[f->items[i].hash & mask]++;
    for (size_t k = 0; k <= slots; k++) {
        sum += lex->near_heads[k];
        lex->near_heads[k] = sum;
    }
    for (size_t i = 0; i < f->n; i++) {
        const struct form *form = &f->items[i];

        lex->near_forms[--lex->near_heads[form->hash & mask]] =
            (form->hash & ~mask) | form->word;
    }
}

struct search {
    const struct lexicon *lex;
    struct runes meant;
    uint32_t word; /* the nearest so far */
    int cost;
    int rival; /* the nearest of another meaning */
    int tries;
    bool phrases; /* only words of phrases, and of the meaning of self */
    uint32_t self;
    uint16_t most; /* phrases of the best so far */
    int lang;      /* or -1 */
    int ours;      /* the nearest of another meaning that would be filed */
    const struct concept_set *expected; /* or NULL */
    bool alone; /* words that are not expected are not looked at */
    bool native;
    bool card;     /* only words of the card are looked at */
    bool whole;    /* words that only phrases have are not looked at */
    uint32_t *all; /* or NULL: all words of phrases that are near */
    size_t n_all, most_all;
    int most_cost; /* of those */
};

/* Of a number word; 0 of others. */
static double value_of(const struct lexicon *lex, uint32_t word)
{
    return lex->more[lex->nodes[lex->words[word].root].more].value;
}

/* Two numbers are as unlike as any two words: "deyx" is two, or ten. */
static bool same_meaning(const struct lexicon *lex, uint32_t a, uint32_t b)
{
    uint16_t x;

    if (a == b)
        return true;
    x = lexicon_symbol_of(lex, a); /* 0: words that only go on a phrase */
    return x != 0 && x == lexicon_symbol_of(lex, b) &&
           value_of(lex, a) == value_of(lex, b);
}

/* In a phrase: a word of the same meaning, or of none for one of none. */
static bool may_stand_for(const struct lexicon *lex, uint32_t a, uint32_t b)
{
    return same_meaning(lex, a, b) ||
           (lex->words[a].root == 0 && lex->words[b].root == 0);
}

static uint32_t classes_of(const struct lexicon *lex, uint32_t word)
{
    return lex->classes[lexicon_symbol_of(lex, word)];
}

/* Is the word only of languages that the text is not in? */
static bool is_foreign(const struct search *s, uint32_t word)
{
    const struct lexicon *lex = s->lex;
    uint32_t langs = lex->nodes[lex->words[word].root].langs;

    return s->lang >= 0 && langs != 0 &&
           !(langs & (1u << s->lang | lex->common));
}

static bool is_expected(const struct search *s, uint32_t word)
{
    const struct lexicon *lex = s->lex;
    const struct concept_set *set = &lex->sets[lexicon_symbol_of(lex, word)];

    return concept_set_meets(set, s->expected);
}

/* Not worth a distance: too unlike, or not asked for. */
static bool is_out(const struct search *s, uint32_t word, const struct runes *r)
{
    if (s->all != NULL)
        return is_foreign(s, word);
    if (s->card)
        return false;
    if (s->expected != NULL)
        return (s->alone && !is_expected(s, word)) ||
               (s->native && is_foreign(s, word));
    return r->at[0] != s->meant.at[0] && (r->n < 6 || s->meant.n < 6) &&
           !slip_sounds_like(r->at[0], s->meant.at[0]);
}

/* The nearest words of two meanings, of all and of those that count. */
static void rank(struct search *s, uint32_t word, int cost)
{
    bool counts = (classes_of(s->lex, word) & FILED_CLASSES) != 0;

    if (s->phrases) {
        s->word = word;
        s->most = s->lex->words[word].phrases;
    } else if (cost < s->cost) {
        if (s->word != 0 && !same_meaning(s->lex, s->word, word)) {
            s->rival = least(s->rival, s->cost);
            if (classes_of(s->lex, s->word) & FILED_CLASSES)
                s->ours = least(s->ours, s->cost);
        }
        s->word = word;
        s->cost = cost;
    } else if (!same_meaning(s->lex, s->word, word)) {
        s->rival = least(s->rival, cost);
        if (counts)
            s->ours = least(s->ours, cost);
    }
}

static void keep(struct search *s, uint32_t word)
{
    for (size_t i = 0; i < s->n_all; i++) {
        if (s->all[i] == word)
            return;
    }
    if (s->n_all < s->most_all)
        s->all[s->n_all++] = word;
}

static void weigh(struct search *s, uint32_t word)
{
    const struct lexicon_word *w = &s->lex->words[word];
    struct runes r;
    int cost, most = slack(w->runes < s->meant.n ? w->runes : s->meant.n);

    if (s->card) {
        if (s->lang < 0 ? w->card == 0 : !(w->card >> s->lang & 1))
            return;
        most = COST_LETTER;
    }
    if (s->expected != NULL)
        most = most < COST_FAR ? COST_FAR : most + 1;
    else if (!s->phrases && !s->card)
        most++; /* the nearest must stand out */
    if (s->phrases &&
        (word == s->self || !may_stand_for(s->lex, s->self, word)))
        return;
    if ((s->whole && w->root == 0) || (s->all != NULL && w->phrases == 0))
        return;
    if (word == s->word || s->tries++ >= TRIES_MOST ||
        w->runes + 3 < s->meant.n || s->meant.n + 3 < w->runes ||
        !slip_decode(s->lex->store + w->at, w->len, &r) || r.n == 0 ||
        is_out(s, word, &r))
        return;
    slip_weigh_extras(&r);
    if (s->all != NULL)
        most = s->most_cost;
    else if (!s->phrases && s->cost + 1 < most)
        most = s->cost + 1; /* what is farther than that is no rival */
    cost = slip_distance(s->lex, &s->meant, &r, most);
    if (is_foreign(s, word))
        cost += COST_FOREIGN;
    if (cost <= most && s->all != NULL)
        keep(s, word);
    else if (cost <= most)
        rank(s, word, cost);
}

static void look(struct search *s, uint32_t hash)
{
    const struct lexicon *lex = s->lex;
    const uint32_t mask = (uint32_t)lex->near_mask;
    const uint32_t *head = &lex->near_heads[hash & mask];

    for (uint32_t i = head[0]; i < head[1]; i++) {
        uint32_t form = lex->near_forms[i];

        if (((form ^ hash) & ~mask) == 0 &&
            (!s->phrases || lex->words[form & mask].phrases > s->most))
            weigh(s, form & mask);
    }
}

static void look_all(struct search *s)
{
    uint32_t bones = hash_bones(&s->meant), forms[RUNES_MOST + 1];

    slip_weigh_extras(&s->meant);
    hash_forms(&s->meant, forms);
    for (int i = 0; i <= s->meant.n; i++)
        look(s, forms[i]);
    if (bones != 0)
        look(s, bones);
}

uint32_t slip_find(const struct lexicon *lex, const char *word, size_t len,
                   int lang)
{
    struct search s = {.lex = lex,
                       .cost = COST_MUCH,
                       .rival = COST_MUCH,
                       .ours = COST_MUCH,
                       .lang = lang};

    if (len < RUNES_LEAST || len >= LEXICON_WORD_CAP ||
        !slip_decode(word, len, &s.meant) || s.meant.n < RUNES_LEAST)
        return 0;
    s.whole = lexicon_find(lex, word, len) != 0;
    look_all(&s);
    if (s.word != 0 && (classes_of(lex, s.word) & FILED_CLASSES) &&
        s.ours <= s.cost + 1)
        return 0;
    if (s.word != 0 && s.cost > COST_SOUND &&
        (classes_of(lex, s.word) & 1u << CLASS_ALIEN))
        return 0; /* "sola" is no "cola": that would unsay a trouble */
    if (s.cost >= COST_FAR && (classes_of(lex, s.word) & 1u << CLASS_SIGN))
        return 0; /* Swahili "aliyekuja" came, "aliyekufa" died */
    return s.rival > s.cost && s.cost <= slack(s.meant.n) ? s.word : 0;
}

size_t slip_find_in_phrases(const struct lexicon *lex, const char *word,
                            size_t len, int lang, bool far, uint32_t *out,
                            size_t most)
{
    struct search s = {.lex = lex, .lang = lang, .all = out, .most_all = most};

    s.most_cost = far ? COST_FAR : COST_CHEAP;
    if (len + 1 < RUNES_LEAST || len >= LEXICON_WORD_CAP ||
        !slip_decode(word, len, &s.meant))
        return 0;
    look_all(&s);
    return s.n_all;
}

bool slip_expected_same(const struct slip_expected *a,
                        const struct slip_expected *b)
{
    return concept_set_same(&a->concepts, &b->concepts) && a->lang == b->lang &&
           a->alone == b->alone && a->native == b->native &&
           a->apart == b->apart && a->most == b->most;
}

static bool search_expected(struct search *s, const char *word, size_t len,
                            const struct slip_expected *e)
{
    s->cost = s->rival = s->ours = COST_MUCH;
    s->lang = e->lang;
    s->expected = &e->concepts;
    s->alone = e->alone;
    s->native = e->native;
    if (len + 1 < RUNES_LEAST || len >= LEXICON_WORD_CAP ||
        !slip_decode(word, len, &s->meant) || s->meant.n + 1 < RUNES_LEAST)
        return false;
    look_all(s);
    return s->word != 0;
}

uint32_t slip_find_expected(const struct lexicon *lex, const char *word,
                            size_t len, const struct slip_expected *e)
{
    struct search s = {.lex = lex};

    return search_expected(&s, word, len, e) && s.rival > s.cost &&
                   (!e->apart || s.ours > s.cost + 1) && is_expected(&s, s.word)
               ? s.word
               : 0;
}

bool slip_is_near(const struct lexicon *lex, const char *word, size_t len,
                  const struct slip_expected *e)
{
    struct search s = {.lex = lex};

    return search_expected(&s, word, len, e) && s.cost <= e->most;
}

uint32_t slip_find_card(const struct lexicon *lex, const char *word, size_t len,
                        int lang)
{
    struct search s = {.lex = lex,
                       .cost = COST_MUCH,
                       .rival = COST_MUCH,
                       .ours = COST_MUCH,
                       .lang = lang,
                       .card = true};

    if (len + 1 < RUNES_LEAST || len >= LEXICON_WORD_CAP ||
        !slip_decode(word, len, &s.meant) || s.meant.n + 1 < RUNES_LEAST)
        return 0;
    look_all(&s);
    return s.rival > s.cost ? s.word : 0;
}

/* The most phrases that a word of each meaning is in; [0]: of no meaning. */
static uint16_t *most_phrases(const struct lexicon *lex)
{
    uint16_t *most = kw_calloc(lex->n_sets, sizeof(*most));

    for (uint32_t w = 1; w < lex->n_words; w++) {
        uint16_t symbol = lexicon_symbol_of(lex, w);

        if ((symbol != 0 || lex->words[w].root == 0) &&
            lex->words[w].phrases > most[symbol])
            most[symbol] = lex->words[w].phrases;
    }
    return most;
}

/* The word of phrases that a misspelt one, listed alone, stands for. */
static void find_canon(struct lexicon *lex, uint32_t word)
{
    struct search s = {.lex = lex,
                       .cost = COST_MUCH,
                       .rival = COST_MUCH,
                       .phrases = true,
                       .self = word,
                       .lang = -1};
    struct lexicon_word *w = &lex->words[word];

    s.most = w->phrases;
    if (!slip_decode(lex->store + w->at, w->len, &s.meant))
        return;
    look_all(&s);
    w->canon = s.word & (LEXICON_ROWS_MOST - 1);
}

static void find_canons(struct lexicon *lex)
{
    uint16_t *most = most_phrases(lex);

    for (uint32_t i = 1; i < lex->n_words; i++) {
        const struct lexicon_word *w = &lex->words[i];

        if (w->runes >= RUNES_LEAST && w->listed &&
            w->phrases < most[lexicon_symbol_of(lex, i)])
            find_canon(lex, i);
    }
    kw_free(most);
}

/* Those in phrases come last of what is alike: see sort_forms(). */
void slip_prepare(struct lexicon *lex)
{
    struct forms f = {0};

    slip_prepare_costs(lex);
    for (int phrases = 1; phrases >= 0; phrases--) {
        for (uint32_t w = 1; w < lex->n_words; w++) {
            if ((lex->words[w].phrases > 0) == phrases)
                add_forms(&f, lex, w);
        }
    }
    sort_forms(lex, &f);
    kw_free(f.items);
    find_canons(lex);
}
