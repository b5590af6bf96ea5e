/*
 * lexicon.c - see lexicon.h. While loading, each node keeps the set of
 * concepts of each language; once a file is in, they become symbols.
 */
#include "reader/lexicon.h"
#include "base/file.h"
#include "reader/slip.h"
#include "reader/words.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#define WORDS_FILE_MOST (4u << 20)
#define FILE_CAP        1024
/* Begins the word that stands for all spellings of one, alone or in phrases */
#define SPELLING_MARK   '\x01'
#define SPELLING_PHRASE '\x11'

struct sense { /* of one node in one language */
    struct concept_set set;
    int line;      /* where it was first said */
    bool shared;   /* with a star */
    bool answered; /* a second concept came */
    bool given;    /* by brackets */
    bool torn;     /* of spellings with different meanings: means nothing */
};

struct load {
    struct lexicon *lex;
    struct fault_list *faults;
    struct sense *senses; /* by node, of the present file */
    size_t senses_cap;
    const char *file;
    int lang;                /* index of the present file */
    struct concept_set said; /* concepts with a word, of the present file */
    /* by word: the one for all its spellings, and that of phrases; 0 unknown */
    uint32_t (*spelt)[2];
    size_t spelt_cap;
};

uint32_t lexicon_hash(const char *s, size_t len)
{
    uint32_t h = 2166136261u; /* FNV-1a, finished as in MurmurHash3 */

    for (size_t i = 0; i < len; i++)
        h = (h ^ (unsigned char)s[i]) * 16777619u;
    h ^= h >> 16;
    h *= 0x85EBCA6Bu;
    return h ^ h >> 13;
}

static uint64_t step_key(uint32_t node, uint32_t word)
{
    return (uint64_t)node << 32 | word;
}

static size_t step_hash(uint64_t key)
{
    key *= UINT64_C(0x9E3779B97F4A7C15);
    return (size_t)(key >> 20);
}

uint32_t lexicon_find(const struct lexicon *lex, const char *word, size_t len)
{
    uint32_t hash = lexicon_hash(word, len);
    size_t at = hash & lex->word_mask;

    while (lex->word_slots[at] != 0) {
        const struct lexicon_word *w = &lex->words[lex->word_slots[at]];

        if (w->hash == hash && w->len == len &&
            memcmp(lex->store + w->at, word, len) == 0)
            return lex->word_slots[at];
        at = (at + 1) & lex->word_mask;
    }
    return 0;
}

/* A word that no text can have: the mark, then the word by the rules. */
static size_t spelling_word(const struct lexicon *lex, int lang,
                            const char *word, size_t len, bool in_phrase,
                            char key[LEXICON_WORD_CAP])
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
    size_t n = spelling_word(lex, lang, word, len, in_phrase, key);

    return n == 0 ? 0 : lexicon_find(lex, key, n);
}

uint32_t lexicon_step(const struct lexicon *lex, uint32_t node, uint32_t word)
{
    uint64_t key = step_key(node, word);
    size_t at;

    if (node == 1)
        return lex->words[word].root;
    if (!lex->nodes[node].goes_on)
        return 0;
    at = step_hash(key) & lex->step_mask;
    while (lex->steps[at].to != 0) {
        if (lex->steps[at].key == key)
            return lex->steps[at].to;
        at = (at + 1) & lex->step_mask;
    }
    return 0;
}

static void words_rehash(struct lexicon *lex, size_t slots)
{
    kw_free(lex->word_slots);
    lex->word_slots = kw_calloc(slots, sizeof(*lex->word_slots));
    lex->word_mask = slots - 1;
    for (uint32_t i = 1; i < lex->n_words; i++) {
        size_t at = lex->words[i].hash & lex->word_mask;

        while (lex->word_slots[at] != 0)
            at = (at + 1) & lex->word_mask;
        lex->word_slots[at] = i;
    }
}

static void steps_rehash(struct lexicon *lex, size_t slots)
{
    struct lexicon_slot *old = lex->steps;
    size_t old_slots = old != NULL ? lex->step_mask + 1 : 0;

    lex->steps = kw_calloc(slots, sizeof(*lex->steps));
    lex->step_mask = slots - 1;
    for (size_t i = 0; i < old_slots; i++) {
        size_t at = step_hash(old[i].key) & lex->step_mask;

        if (old[i].to == 0)
            continue;
        while (lex->steps[at].to != 0)
            at = (at + 1) & lex->step_mask;
        lex->steps[at] = old[i];
    }
    kw_free(old);
}

static size_t count_runes(const char *s, size_t len)
{
    size_t n = 0;

    for (size_t i = 0; i < len; i++)
        n += ((unsigned char)s[i] & 0xC0) != 0x80;
    return n;
}

static uint32_t word_make(struct lexicon *lex, const char *word, size_t len)
{
    uint32_t w = lexicon_find(lex, word, len);

    if (w != 0)
        return w;
    if ((lex->n_words + 1) * 2 > lex->word_mask)
        words_rehash(lex, (lex->word_mask + 1) * 2);
    kw_grow(&lex->words, &lex->words_cap, lex->n_words + 1,
            sizeof(*lex->words));
    kw_grow(&lex->store, &lex->store_cap, lex->store_len + len, 1);
    memcpy(lex->store + lex->store_len, word, len);
    w = (uint32_t)lex->n_words++;
    lex->words[w] =
        (struct lexicon_word){.hash = lexicon_hash(word, len),
                              .at = (uint32_t)lex->store_len,
                              .len = (uint8_t)len,
                              .runes = (uint8_t)count_runes(word, len)};
    lex->store_len += len;
    for (size_t at = lex->words[w].hash & lex->word_mask;;
         at = (at + 1) & lex->word_mask) {
        if (lex->word_slots[at] == 0) {
            lex->word_slots[at] = w;
            return w;
        }
    }
}

static uint32_t node_make(struct load *l)
{
    struct lexicon *lex = l->lex;

    kw_grow(&lex->nodes, &lex->nodes_cap, lex->n_nodes + 1,
            sizeof(*lex->nodes));
    kw_grow(&l->senses, &l->senses_cap, lex->n_nodes + 1, sizeof(*l->senses));
    memset(&lex->nodes[lex->n_nodes], 0, sizeof(*lex->nodes));
    memset(&l->senses[lex->n_nodes], 0, sizeof(*l->senses));
    lex->nodes[lex->n_nodes].named = -1;
    return (uint32_t)lex->n_nodes++;
}

static uint32_t step_make(struct load *l, uint32_t node, uint32_t word)
{
    struct lexicon *lex = l->lex;
    uint32_t to = lexicon_step(lex, node, word);
    uint64_t key = step_key(node, word);
    size_t at;

    if (to != 0)
        return to;
    if ((lex->n_steps + 1) * 2 > lex->step_mask)
        steps_rehash(lex, (lex->step_mask + 1) * 2);
    to = node_make(l);
    at = step_hash(key) & lex->step_mask;
    while (lex->steps[at].to != 0)
        at = (at + 1) & lex->step_mask;
    lex->steps[at] = (struct lexicon_slot){key, to};
    lex->n_steps++;
    lex->nodes[node].goes_on = true;
    if (node == 1)
        lex->words[word].root = to;
    return to;
}

/* The node of an entry's words; 0 when a word is too long. */
static uint32_t path_make(struct load *l, const char *text, bool given)
{
    uint32_t node = 1, word;
    bool behind = false;

    while (*text != '\0') {
        size_t n = 0;

        while (text[n] != '\0' && text[n] != ' ')
            n++;
        if (n >= LEXICON_WORD_CAP)
            return 0;
        word = word_make(l->lex, text, n);
        l->lex->words[word].listed |= !given;
        node = step_make(l, node, word);
        text += n;
        while (*text == ' ')
            text++;
        if (behind || *text != '\0')
            l->lex->words[word].phrases++;
        behind = true;
    }
    return node;
}

/* The first concept of a set, for messages. */
static const char *first_name(const struct concept_set *set)
{
    for (int c = 1; c < CONCEPT_COUNT; c++) {
        if (concept_set_has(set, (enum concept)c))
            return concept_name((enum concept)c);
    }
    return "";
}

/* Says what is wrong with a word that stands twice in one file. */
static void check_twice(struct load *l, struct sense *s,
                        const struct words_entry *e)
{
    if (concept_set_has(&s->set, e->concept)) {
        fault_add(l->faults, l->file, e->line,
                  "'%s' stands twice under '%s', first in line %d; leave one",
                  e->text, concept_name(e->concept), s->line);
    } else if (!e->shared || !s->shared) {
        fault_add(l->faults, l->file, e->line,
                  "'%s' stands under '%s' and, in line %d, under '%s'; leave "
                  "one, or write *%s in both places if it means both",
                  e->text, concept_name(e->concept), s->line,
                  first_name(&s->set), e->text);
    }
    s->answered = true;
}

/* The word for all spellings of a word of the present file; 0 for none. */
static uint32_t spelt_make(struct load *l, uint32_t word, bool in_phrase)
{
    char key[LEXICON_WORD_CAP], own[LEXICON_WORD_CAP];
    struct lexicon_word *w = &l->lex->words[word];
    size_t n, had = l->spelt_cap;

    if (word >= had) {
        kw_grow(&l->spelt, &l->spelt_cap, word + 1, sizeof(*l->spelt));
        memset(l->spelt + had, 0, (l->spelt_cap - had) * sizeof(*l->spelt));
    }
    if (l->spelt[word][in_phrase] == 0) {
        memcpy(own, l->lex->store + w->at, w->len); /* the store may move */
        n = spelling_word(l->lex, l->lang, own, w->len, in_phrase, key);
        if (n != 0)
            l->spelt[word][in_phrase] = word_make(l->lex, key, n);
    }
    return l->spelt[word][in_phrase];
}

/* The same entry by the rules of spelling, for those who write it otherwise. */
static void add_spelling(struct load *l, const struct words_entry *e)
{
    const char *s = e->text;
    bool in_phrase = strchr(s, ' ') != NULL;
    struct sense *sense;
    uint32_t node = 1;

    if (l->lex->spelling[l->lang] == NULL)
        return;
    while (*s != '\0') {
        size_t len = strcspn(s, " ");
        uint32_t word = spelt_make(l, lexicon_find(l->lex, s, len), in_phrase);

        if (word == 0)
            return;
        node = step_make(l, node, word);
        s += len;
        s += strspn(s, " ");
    }
    sense = &l->senses[node];
    sense->torn |= !concept_set_is_empty(&sense->set) &&
                   (!concept_set_has(&sense->set, e->concept) ||
                    (e->concept == CONCEPT_NUMBER &&
                     l->lex->nodes[node].value != e->value));
    concept_set_add(&sense->set, e->concept);
    if (e->concept == CONCEPT_NUMBER)
        l->lex->nodes[node].value = e->value;
}

/* A word given by brackets gives way; true when there is nothing to add. */
static bool give_way(struct sense *s, const struct words_entry *e)
{
    if (concept_set_is_empty(&s->set) || (!e->given && !s->given))
        return false;
    if (concept_set_has(&s->set, e->concept) || !s->given) {
        s->given &= e->given;
        return true;
    }
    if (e->given)
        return false;
    s->set = (struct concept_set){{0}};
    return false;
}

static void add_entry(void *to, const struct words_entry *e)
{
    struct load *l = to;
    uint32_t node = path_make(l, e->text, e->given);
    struct sense *s;

    if (node == 0) {
        fault_add(l->faults, l->file, e->line, "'%.30s…' is too long a word",
                  e->text);
        return;
    }
    s = &l->senses[node];
    if (give_way(s, e))
        return;
    if (!concept_set_is_empty(&s->set)) {
        check_twice(l, s, e);
    } else {
        s->line = e->line;
        s->shared = e->shared;
        s->given = e->given;
    }
    concept_set_add(&s->set, e->concept);
    concept_set_add(&l->said, e->concept);
    if (e->concept == CONCEPT_NUMBER)
        l->lex->nodes[node].value = e->value;
    if (e->concept == CONCEPT_LANG_NAME)
        l->lex->nodes[node].named = (int16_t)l->lang;
    add_spelling(l, e);
}

static void add_rule(void *to, const struct words_rule *r)
{
    struct load *l = to;
    struct spelling **s = &l->lex->spelling[l->lang];

    if (*s == NULL)
        *s = kw_calloc(1, sizeof(**s));
    if (spelling_add(*s, r) < 0)
        fault_add(l->faults, l->file, r->line,
                  "'%s' is one rule of spelling too many, or takes nothing; "
                  "the most is %d",
                  r->from, SPELLING_RULES_MOST - 1);
}

/* Stars that no second place answers. */
static void check_stars(struct load *l)
{
    for (size_t i = 0; i < l->lex->n_nodes; i++) {
        const struct sense *s = &l->senses[i];

        if (s->shared && !s->answered)
            fault_add(l->faults, l->file, s->line,
                      "an entry under '%s' has a star but stands only here; "
                      "take the star away or add the other place",
                      first_name(&s->set));
    }
}

/* Every observation, sign and unit must be sayable in every language. */
static void check_complete(struct load *l)
{
    for (int c = 1; c < CONCEPT_COUNT; c++) {
        enum concept_class class = concept_class_of((enum concept)c);

        if (class != CLASS_SEEN && class != CLASS_SIGN && class != CLASS_UNIT &&
            class != CLASS_ORDER && c != CONCEPT_TAP && c != CONCEPT_LID &&
            c != CONCEPT_BUCKET && c != CONCEPT_ILL && c != CONCEPT_NO &&
            c != CONCEPT_HELP && c != CONCEPT_BEFORE && c != CONCEPT_OLD &&
            c != CONCEPT_OF_THEM)
            continue;
        if (!concept_set_has(&l->said, (enum concept)c))
            fault_add(l->faults, l->file, 0,
                      "no word stands for '%s'; add a line '%s: word, word'",
                      concept_name((enum concept)c),
                      concept_name((enum concept)c));
    }
}

/* What the words of the present file mean; then the next one may be read. */
static void keep_senses(struct load *l)
{
    for (size_t i = 2; i < l->lex->n_nodes; i++) {
        struct sense *s = &l->senses[i];

        if (!concept_set_is_empty(&s->set) && !s->torn) {
            l->lex->nodes[i].langs |= 1u << l->lang;
            l->lex->nodes[i].symbol[l->lang] = lexicon_symbol(l->lex, &s->set);
        }
        memset(s, 0, sizeof(*s));
    }
}

static void load_file(struct load *l, const char *path, const char *tag)
{
    struct words_sink sink = {add_entry, add_rule, l};
    struct words_entry own = {CONCEPT_LANG_NAME, 0, tag, true, false, 0};
    char *data;
    size_t len;
    int err = file_read(path, WORDS_FILE_MOST, &data, &len);

    if (err < 0) {
        fault_add(l->faults, path, 0, "cannot be read: %s",
                  err == KW_EFULL ? "larger than 4 MiB" : strerror(errno));
        return;
    }
    l->file = path;
    l->said = (struct concept_set){{0}};
    kw_free(l->spelt);
    l->spelt = NULL;
    l->spelt_cap = 0;
    words_parse(path, data, len, &sink, l->faults);
    if (strcmp(tag, "mul") == 0) {
        l->lex->common |= 1u << l->lang;
    } else {
        uint32_t node = path_make(l, tag, true);
        struct sense *s = &l->senses[node];

        concept_set_add(&s->set, own.concept);
        l->lex->nodes[node].named = (int16_t)l->lang;
        check_complete(l);
    }
    check_stars(l);
    keep_senses(l);
    kw_free(data);
}

static int is_words_file(const struct dirent *e)
{
    size_t n = strlen(e->d_name);

    return n > 6 && e->d_name[0] != '.' &&
           strcmp(e->d_name + n - 6, ".words") == 0;
}

static int load_folder(struct load *l, const char *folder)
{
    struct dirent **entries;
    int n = scandir(folder, &entries, is_words_file, alphasort);
    char path[FILE_CAP], tag[LEXICON_TAG_CAP];

    if (n < 0) {
        fault_add(l->faults, folder, 0, "cannot be opened: %s",
                  strerror(errno));
        return KW_EIO;
    }
    for (int i = 0; i < n; i++) {
        const char *name = entries[i]->d_name;

        if (l->lex->n_langs == LEXICON_LANGS ||
            file_join(path, sizeof(path), folder, name) < 0 ||
            kw_copy(tag, sizeof(tag), name, strlen(name) - 6) < 0) {
            fault_add(l->faults, folder, 0,
                      "'%s' is one file too many, or too long a tag", name);
        } else {
            l->lang = (int)l->lex->n_langs++;
            kw_copy(l->lex->tags[l->lang], LEXICON_TAG_CAP, tag, strlen(tag));
            load_file(l, path, tag);
        }
        free(entries[i]);
    }
    free(entries);
    if (l->lex->n_langs == 0)
        fault_add(l->faults, folder, 0,
                  "holds no *.words file; is it the right folder?");
    return 0;
}

int lexicon_load(const char *folder, struct fault_list *faults,
                 struct lexicon **out)
{
    struct load l = {.faults = faults};
    size_t before = faults->n + faults->dropped;
    int err;

    *out = NULL;
    l.lex = kw_calloc(1, sizeof(*l.lex));
    l.lex->n_words = 1;
    kw_grow(&l.lex->words, &l.lex->words_cap, 1, sizeof(*l.lex->words));
    memset(l.lex->words, 0, sizeof(*l.lex->words));
    words_rehash(l.lex, 4096);
    steps_rehash(l.lex, 4096);
    node_make(&l);
    node_make(&l);
    lexicon_prepare_sets(l.lex);
    if ((err = load_folder(&l, folder)) == 0) {
        lexicon_join_sets(l.lex);
        slip_prepare(l.lex);
        if (l.lex->sets_full)
            fault_add(faults, folder, 0,
                      "more than %d combinations of meanings; give words "
                      "with a star fewer of them",
                      UINT16_MAX);
        if (faults->n + faults->dropped > before)
            err = KW_ESYNTAX;
    }
    kw_free(l.senses);
    kw_free(l.spelt);
    if (err < 0) {
        lexicon_free(l.lex);
        return err;
    }
    *out = l.lex;
    return 0;
}

void lexicon_free(struct lexicon *lex)
{
    if (lex == NULL)
        return;
    for (size_t i = 0; i < LEXICON_LANGS; i++)
        kw_free(lex->spelling[i]);
    kw_free(lex->store);
    kw_free(lex->words);
    kw_free(lex->word_slots);
    kw_free(lex->nodes);
    kw_free(lex->steps);
    kw_free(lex->sets);
    kw_free(lex->classes);
    kw_free(lex->near_forms);
    kw_free(lex->near_heads);
    kw_free(lex);
}
