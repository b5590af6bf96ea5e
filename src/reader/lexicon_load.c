/*
 * lexicon_load.c - the words files into the tables of lexicon.h. Of the file
 * that is being read each node that it names has the set of concepts it may
 * stand for; once the file is in, the sets become symbols.
 */
#include "base/file.h"
#include "reader/lexicon.h"
#include "reader/slip.h"
#include "reader/words.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#define WORDS_FILE_MOST (4u << 20)
#define FILE_CAP        1024

struct sense { /* of one node in one language */
    struct concept_set set;
    uint32_t node;
    int line;      /* where it was first said */
    bool shared;   /* with a star */
    bool answered; /* a second concept came */
    bool given;    /* by brackets */
    bool starred;  /* of spellings: the first entry had a star */
    bool torn;     /* of spellings with different meanings: means nothing */
};

struct load {
    struct lexicon *lex;
    struct fault_list *faults;
    struct sense *senses; /* of the present file; [0] is none */
    size_t n_senses, senses_cap;
    uint32_t *sense_of; /* by node, 0 when it has none */
    size_t sense_of_cap;
    uint32_t *path; /* the words of the present entry */
    size_t n_path, path_cap;
    const char *file;
    int lang;                /* index of the present file */
    struct concept_set said; /* concepts with a word, of the present file */
    /* by word: the one for all its spellings, and that of phrases; 0 unknown */
    uint32_t (*spelt)[2];
    size_t spelt_cap;
};

/* Grows a table so that it has a row i; new rows are zero. */
static void reach(void *rows, size_t *cap, size_t i, size_t row)
{
    size_t had = *cap;

    if (i < had)
        return;
    kw_grow(rows, cap, i + 1, row);
    memset(*(char **)rows + had * row, 0, (*cap - had) * row);
}

/* Of a node in the present file, empty at first; until the next call. */
static struct sense *sense(struct load *l, uint32_t node)
{
    uint32_t *i;

    reach(&l->sense_of, &l->sense_of_cap, node, sizeof(*l->sense_of));
    i = &l->sense_of[node];
    if (*i == 0) {
        if (l->n_senses >= l->senses_cap)
            kw_grow(&l->senses, &l->senses_cap, l->n_senses + 1,
                    sizeof(*l->senses));
        *i = (uint32_t)l->n_senses++;
        l->senses[*i] = (struct sense){.node = node};
    }
    return &l->senses[*i];
}

/* The node of an entry's words, which l->path keeps; 0: a word is too long. */
static uint32_t make_path(struct load *l, const char *text, size_t len,
                          bool given)
{
    const char *end = text + len;
    uint32_t node = 1;

    l->n_path = 0;
    while (text < end) {
        const char *gap = memchr(text, ' ', (size_t)(end - text));
        size_t n = (size_t)((gap != NULL ? gap : end) - text);
        struct lexicon_word *w;

        if (n >= LEXICON_WORD_CAP)
            return 0;
        if (l->n_path == l->path_cap)
            kw_grow(&l->path, &l->path_cap, l->n_path + 1, sizeof(*l->path));
        l->path[l->n_path] = lexicon_make_word(l->lex, text, n);
        w = &l->lex->words[l->path[l->n_path++]];
        w->listed |= !given;
        node = lexicon_make_step(l->lex, node, l->path[l->n_path - 1]);
        if (n < len) /* not the whole entry */
            w->phrases++;
        text += n + 1;
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
static uint32_t make_spelt(struct load *l, uint32_t word, bool in_phrase)
{
    char key[LEXICON_WORD_CAP];
    const struct lexicon_word *w = &l->lex->words[word];
    uint32_t *spelt;
    size_t n;

    reach(&l->spelt, &l->spelt_cap, word, sizeof(*l->spelt));
    spelt = &l->spelt[word][in_phrase];
    if (*spelt == 0) {
        n = lexicon_spell(l->lex, l->lang, l->lex->store + w->at, w->len,
                          in_phrase, key);
        if (n != 0)
            *spelt = lexicon_make_word(l->lex, key, n);
    }
    return *spelt;
}

/* The same entry by the rules of spelling, for those who write it otherwise. */
static void add_spelling(struct load *l, const struct words_entry *e)
{
    struct sense *s;
    uint32_t node = 1;
    bool differs = false;

    if (l->lex->spelling[l->lang] == NULL)
        return;
    for (size_t i = 0; i < l->n_path; i++) {
        uint32_t word = make_spelt(l, l->path[i], l->n_path > 1);

        if (word == 0)
            return;
        node = lexicon_make_step(l->lex, node, word);
    }
    if (e->concept == CONCEPT_NUMBER) {
        struct lexicon_more *m = lexicon_make_more(l->lex, node);

        differs = m->value != e->value;
        m->value = e->value;
    }
    s = sense(l, node);
    if (concept_set_is_empty(&s->set))
        s->starred = e->shared;
    else /* what has a star in both places means both, however it is spelt */
        s->torn |= (!concept_set_has(&s->set, e->concept) &&
                    !(s->starred && e->shared)) ||
                   differs;
    concept_set_add(&s->set, e->concept);
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
    uint32_t node = make_path(l, e->text, e->len, e->given);
    struct sense *s;

    if (node == 0) {
        fault_add(l->faults, l->file, e->line, "'%.*s…' is too long a word",
                  (int)kw_whole(e->text, e->len, WORDS_SHOWN), e->text);
        return;
    }
    s = sense(l, node);
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
        lexicon_make_more(l->lex, node)->value = e->value;
    if (e->concept == CONCEPT_LANG_NAME)
        lexicon_make_more(l->lex, node)->named = (int16_t)l->lang;
    add_spelling(l, e);
}

/* A word of the card; whether it has a meaning is seen when all are in. */
static void add_card(void *to, const struct words_entry *e)
{
    struct load *l = to;
    uint32_t word = lexicon_find(l->lex, e->text, e->len);
    uint32_t node = word == 0 ? 0 : l->lex->words[word].root;

    if (node == 0 || node >= l->sense_of_cap || l->sense_of[node] == 0) {
        fault_add(l->faults, l->file, e->line,
                  "'%s' of the card stands under no concept above; write it "
                  "there first",
                  e->text);
        return;
    }
    l->lex->words[word].card |= (uint16_t)(1u << l->lang);
}

static void add_rule(void *to, const struct words_rule *r)
{
    struct load *l = to;
    struct spelling **s = &l->lex->spelling[l->lang];

    if (*s == NULL)
        *s = kw_calloc(1, sizeof(**s));
    l->lex->spells |= 1u << l->lang;
    if (spelling_add(*s, r) < 0)
        fault_add(l->faults, l->file, r->line,
                  "'%s' is one rule of spelling too many, or takes nothing; "
                  "the most is %d",
                  r->from, SPELLING_RULES_MOST - 1);
}

/* Stars that no second place answers. */
static void check_stars(struct load *l)
{
    for (size_t i = 1; i < l->n_senses; i++) {
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
    for (size_t i = 1; i < l->n_senses; i++) {
        const struct sense *s = &l->senses[i];
        struct lexicon_node *n = &l->lex->nodes[s->node];
        uint16_t symbol;

        l->sense_of[s->node] = 0;
        if (concept_set_is_empty(&s->set) || s->torn)
            continue;
        symbol = lexicon_symbol(l->lex, &s->set);
        if (n->langs != 0 || n->more != 0)
            lexicon_make_more(l->lex, s->node)->symbol[l->lang] = symbol;
        if (n->langs == 0)
            n->all = symbol;
        n->langs |= (uint16_t)(1u << l->lang);
    }
    l->n_senses = 1;
}

static void load_file(struct load *l, const char *path, const char *tag)
{
    struct words_sink sink = {add_entry, add_rule, add_card, l};
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
        uint32_t node = make_path(l, tag, strlen(tag), true);

        concept_set_add(&sense(l, node)->set, CONCEPT_LANG_NAME);
        lexicon_make_more(l->lex, node)->named = (int16_t)l->lang;
        check_complete(l);
    }
    check_stars(l);
    keep_senses(l);
    kw_free(data);
}

int lexicon_is_words_file(const struct dirent *e)
{
    size_t n = strlen(e->d_name);

    return n > 6 && e->d_name[0] != '.' &&
           strcmp(e->d_name + n - 6, ".words") == 0;
}

static int load_folder(struct load *l, const char *folder)
{
    struct dirent **entries;
    int n = scandir(folder, &entries, lexicon_is_words_file, alphasort);
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

/* Have the rows had room for all numbers? */
static bool rows_fit(const struct lexicon *lex)
{
    return lex->n_words < LEXICON_ROWS_MOST &&
           lex->n_nodes < LEXICON_ROWS_MOST &&
           lex->store_len < LEXICON_ROWS_MOST;
}

int lexicon_load(const char *folder, struct fault_list *faults,
                 struct lexicon **out)
{
    struct load l = {.faults = faults, .n_senses = 1};
    size_t before = faults->n + faults->dropped;
    int err;

    *out = NULL;
    l.lex = kw_calloc(1, sizeof(*l.lex));
    lexicon_init(l.lex);
    if ((err = load_folder(&l, folder)) == 0) {
        if (!rows_fit(l.lex))
            fault_add(faults, folder, 0,
                      "more than %u words or phrases; give fewer by brackets",
                      LEXICON_ROWS_MOST - 1);
        lexicon_join_sets(l.lex);
        lexicon_shrink(l.lex);
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
    kw_free(l.sense_of);
    kw_free(l.path);
    kw_free(l.spelt);
    if (err < 0) {
        lexicon_free(l.lex);
        return err;
    }
    *out = l.lex;
    return 0;
}
