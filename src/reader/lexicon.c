/* lexicon.c - see lexicon.h: the tables. lexicon_load.c fills them. */
#include "reader/lexicon.h"

#include <string.h>

/* Begins the word that stands for all spellings of one, alone or in phrases */
#define SPELLING_MARK   '\x01'
#define SPELLING_PHRASE '\x11'
/* Room at first, for files like those shipped; pages not used cost nothing. */
#define WORD_SLOTS (1u << 17)
#define STEP_SLOTS (1u << 18)

static size_t step_hash(uint32_t node, uint32_t word)
{
    uint64_t key = (uint64_t)node << 32 | word;

    return (size_t)(key * UINT64_C(0x9E3779B97F4A7C15) >> 36);
}

/* The slot of a word, or the empty one where it would be. */
static size_t word_slot(const struct lexicon *lex, uint32_t hash,
                        const char *word, size_t len)
{
    const uint32_t mask = (uint32_t)lex->word_mask;
    size_t at = hash & mask;

    for (; lex->word_slots[at] != 0; at = (at + 1) & mask) {
        const struct lexicon_word *w;

        if (((lex->word_slots[at] ^ hash) & ~mask) != 0)
            continue;
        w = &lex->words[lex->word_slots[at] & mask];
        if (w->len == len && memcmp(lex->store + w->at, word, len) == 0)
            break;
    }
    return at;
}

static size_t step_slot(const struct lexicon *lex, uint32_t node, uint32_t word)
{
    size_t at = step_hash(node, word) & lex->step_mask;

    while (lex->steps[at] != 0) {
        const struct lexicon_path *p = &lex->paths[lex->steps[at]];

        if (p->parent == node && p->word == word)
            break;
        at = (at + 1) & lex->step_mask;
    }
    return at;
}

uint32_t lexicon_find_hash(const struct lexicon *lex, const char *word,
                           size_t len, uint32_t hash)
{
    return lex->word_slots[word_slot(lex, hash, word, len)] &
           (uint32_t)lex->word_mask;
}

uint32_t lexicon_find(const struct lexicon *lex, const char *word, size_t len)
{
    return lexicon_find_hash(lex, word, len, lexicon_hash(word, len));
}

/* A word that no text can have: the mark, then the word by the rules. */
size_t lexicon_spell(const struct lexicon *lex, int lang, const char *word,
                     size_t len, bool in_phrase, char key[LEXICON_WORD_CAP])
{
    size_t n;

    if (lang < 0 || lex->spelling[lang] == NULL)
        return 0;
    key[0] = (char)((in_phrase ? SPELLING_PHRASE : SPELLING_MARK) + lang);
    n = spelling_key(lex->spelling[lang], word, len, in_phrase, key + 1,
                     LEXICON_WORD_CAP - 1);
    return n == 0 ? 0 : n + 1;
}

uint32_t lexicon_find_spelling(const struct lexicon *lex, int lang,
                               const char *word, size_t len, bool in_phrase)
{
    char key[LEXICON_WORD_CAP];
    size_t n = lexicon_spell(lex, lang, word, len, in_phrase, key);

    return n == 0 ? 0 : lexicon_find(lex, key, n);
}

uint32_t lexicon_step(const struct lexicon *lex, uint32_t node, uint32_t word)
{
    uint32_t from, n;

    if (node == 1)
        return lex->words[word].root;
    from = lex->nodes[node].edges;
    n = lex->nodes[node + 1].edges - from;
    while (n > 1) { /* the last one whose word is not beyond */
        uint32_t half = n / 2;

        from += lex->edges[from + half].word <= word ? half : 0;
        n -= half;
    }
    return n == 1 && lex->edges[from].word == word ? lex->edges[from].to : 0;
}

/* ---- while loading ---- */

static void words_rehash(struct lexicon *lex, size_t slots)
{
    kw_free(lex->word_slots);
    lex->word_slots = kw_calloc(slots, sizeof(*lex->word_slots));
    lex->word_mask = slots - 1;
    for (uint32_t i = 1; i < lex->n_words; i++) {
        const struct lexicon_word *w = &lex->words[i];
        uint32_t hash = lexicon_hash(lex->store + w->at, w->len);
        size_t at = hash & lex->word_mask;

        while (lex->word_slots[at] != 0)
            at = (at + 1) & lex->word_mask;
        lex->word_slots[at] = (hash & ~(uint32_t)lex->word_mask) | i;
    }
}

/* Steps from the root are kept with their words, not here. */
static void steps_rehash(struct lexicon *lex, size_t slots)
{
    kw_free(lex->steps);
    lex->steps = kw_calloc(slots, sizeof(*lex->steps));
    lex->step_mask = slots - 1;
    for (uint32_t i = 2; i < lex->n_nodes; i++) {
        const struct lexicon_path *p = &lex->paths[i];

        if (p->parent != 1)
            lex->steps[step_slot(lex, p->parent, p->word)] = i;
    }
}

static size_t count_runes(const char *s, size_t len)
{
    size_t n = 0;

    for (size_t i = 0; i < len; i++)
        n += ((unsigned char)s[i] & 0xC0) != 0x80;
    return n;
}

uint32_t lexicon_make_word(struct lexicon *lex, const char *word, size_t len)
{
    uint32_t hash = lexicon_hash(word, len), w;
    size_t slot = word_slot(lex, hash, word, len);

    if (lex->word_slots[slot] != 0)
        return lex->word_slots[slot] & (uint32_t)lex->word_mask;
    if ((lex->n_words + 1) * 2 > lex->word_mask) {
        words_rehash(lex, (lex->word_mask + 1) * 2);
        slot = word_slot(lex, hash, word, len);
    }
    if (lex->n_words == lex->words_cap)
        kw_grow(&lex->words, &lex->words_cap, lex->n_words + 1,
                sizeof(*lex->words));
    if (lex->store_len + len > lex->store_cap)
        kw_grow(&lex->store, &lex->store_cap, lex->store_len + len, 1);
    memcpy(lex->store + lex->store_len, word, len);
    w = (uint32_t)lex->n_words++;
    lex->words[w] =
        (struct lexicon_word){.at = lex->store_len & (LEXICON_ROWS_MOST - 1),
                              .len = (uint8_t)len,
                              .runes = count_runes(word, len) & 0x7F};
    lex->store_len += len;
    lex->word_slots[slot] = (hash & ~(uint32_t)lex->word_mask) | w;
    return w;
}

static uint32_t make_node(struct lexicon *lex, uint32_t parent, uint32_t word)
{
    if (lex->n_nodes == lex->nodes_cap)
        kw_grow(&lex->nodes, &lex->nodes_cap, lex->n_nodes + 1,
                sizeof(*lex->nodes));
    kw_grow(&lex->paths, &lex->paths_cap, lex->n_nodes + 1,
            sizeof(*lex->paths));
    lex->nodes[lex->n_nodes] = (struct lexicon_node){0};
    lex->paths[lex->n_nodes] = (struct lexicon_path){parent, word};
    return (uint32_t)lex->n_nodes++;
}

uint32_t lexicon_make_step(struct lexicon *lex, uint32_t node, uint32_t word)
{
    uint32_t to;
    size_t slot;

    if (node == 1) {
        if (lex->words[word].root == 0)
            lex->words[word].root =
                make_node(lex, 1, word) & (LEXICON_ROWS_MOST - 1);
        return lex->words[word].root;
    }
    slot = step_slot(lex, node, word);
    if (lex->steps[slot] != 0)
        return lex->steps[slot];
    if ((lex->n_nodes + 1) * 4 > (lex->step_mask + 1) * 3) {
        steps_rehash(lex, (lex->step_mask + 1) * 2);
        slot = step_slot(lex, node, word);
    }
    to = make_node(lex, node, word);
    lex->steps[slot] = to;
    return to;
}

struct lexicon_more *lexicon_make_more(struct lexicon *lex, uint32_t node)
{
    struct lexicon_node *n = &lex->nodes[node];
    struct lexicon_more *m;

    if (n->more == 0) {
        kw_grow(&lex->more, &lex->more_cap, lex->n_more + 1,
                sizeof(*lex->more));
        m = &lex->more[lex->n_more];
        *m = (struct lexicon_more){.named = -1};
        if (n->langs != 0)
            m->symbol[__builtin_ctz(n->langs)] = n->all;
        n->more = (uint32_t)lex->n_more++;
    }
    return &lex->more[n->more];
}

void lexicon_init(struct lexicon *lex)
{
    lex->n_words = 1;
    kw_grow(&lex->words, &lex->words_cap, 1, sizeof(*lex->words));
    lex->words[0] = (struct lexicon_word){0};
    words_rehash(lex, WORD_SLOTS);
    steps_rehash(lex, STEP_SLOTS);
    make_node(lex, 0, 0);
    make_node(lex, 0, 0);
    lexicon_make_more(lex, 0);
    lexicon_prepare_sets(lex);
}

void lexicon_free(struct lexicon *lex)
{
    if (lex == NULL)
        return;
    if (lex->borrowed) {
        kw_free(lex);
        return;
    }
    for (size_t i = 0; i < LEXICON_LANGS; i++)
        kw_free(lex->spelling[i]);
    kw_free(lex->store);
    kw_free(lex->words);
    kw_free(lex->word_slots);
    kw_free(lex->nodes);
    kw_free(lex->edges);
    kw_free(lex->paths);
    kw_free(lex->steps);
    kw_free(lex->more);
    kw_free(lex->sets);
    kw_free(lex->classes);
    kw_free(lex->near_forms);
    kw_free(lex->near_heads);
    kw_free(lex);
}
