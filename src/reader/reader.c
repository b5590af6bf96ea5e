/* reader.c - text in, meaning out: the rooms of the reader in their order. */
#include "reader/reader.h"
#include "base/buf.h"
#include "reader/meaning.h"
#include "reader/reader_image.h"
#include "reader/wording.h"

#include <string.h>

struct reader {
    struct lexicon *lex;
    struct grammar *grammar;
    struct image *image; /* of which both borrow, or NULL */
    struct serial_layout layout;
    struct reader_limits limits;
    size_t langs[LEXICON_LANGS]; /* files that are languages of their own */
    size_t n_langs;
};

struct reader_scratch {
    struct cut cut;
    struct meaning_gathered said;
    struct grammar_scratch *grammar;
    struct wording_memo *memo;
    struct wording wording;      /* of the last text */
    bool recalled;               /* what it says was remembered, not read */
    enum reader_outcome outcome; /* of the last text, to explain */
    enum reader_why why;
    const char *doubt;
};

static int load_tables(const char *folder, struct fault_list *faults,
                       struct reader_tables *t)
{
    int err = lexicon_load(folder, faults, &t->lex);

    if (err == 0)
        err = grammar_load(folder, t->lex, faults, &t->grammar);
    if (err < 0)
        reader_tables_release(t);
    return err;
}

struct reader *reader_of_tables(const struct reader_tables *t,
                                const struct serial_layout *layout,
                                const struct reader_limits *limits)
{
    struct reader *r = kw_calloc(1, sizeof(*r));

    fold_prepare();
    r->lex = t->lex;
    r->grammar = t->grammar;
    r->image = t->image;
    r->layout = *layout;
    r->limits = *limits;
    for (size_t i = 0; i < r->lex->n_langs; i++) {
        if (!(r->lex->common >> i & 1))
            r->langs[r->n_langs++] = i;
    }
    return r;
}

int reader_open(const char *folder, const struct serial_layout *layout,
                const struct reader_limits *limits, struct fault_list *faults,
                struct reader **out)
{
    struct reader_tables t = {0};
    int err;

    *out = NULL;
    fold_prepare();
    if ((err = load_tables(folder, faults, &t)) == 0)
        *out = reader_of_tables(&t, layout, limits);
    return err;
}

int reader_open_quick(const char *folder, const char *image,
                      const struct serial_layout *layout,
                      const struct reader_limits *limits,
                      struct fault_list *faults, const char **why,
                      struct reader **out)
{
    struct reader_tables t;

    *out = NULL;
    *why = reader_image_open(folder, image, &t);
    if (*why != NULL)
        return reader_open(folder, layout, limits, faults, out);
    *out = reader_of_tables(&t, layout, limits);
    return 0;
}

void reader_close(struct reader *r)
{
    if (r == NULL)
        return;
    grammar_free(r->grammar);
    lexicon_free(r->lex);
    image_close(r->image);
    kw_free(r);
}

struct reader_scratch *reader_scratch_new(const struct reader *r)
{
    struct reader_scratch *s = kw_calloc(1, sizeof(*s));

    s->grammar = grammar_scratch_new(r->grammar);
    if (s->grammar == NULL) {
        kw_free(s);
        return NULL;
    }
    s->memo = wording_memo_new();
    return s;
}

void reader_scratch_free(struct reader_scratch *s)
{
    if (s == NULL)
        return;
    grammar_scratch_free(s->grammar);
    wording_memo_free(s->memo);
    kw_free(s);
}

static int lang_index(const struct reader *r, const char *tag)
{
    for (size_t i = 0; tag != NULL && i < r->lex->n_langs; i++) {
        if (strcmp(r->lex->tags[i], tag) == 0)
            return (int)i;
    }
    return -1;
}

/* Orders of people, without a report: nothing is filed by the reader. */
static void close_order(struct reader_meaning *out)
{
    out->outcome = READER_NOT_REPORT;
    if (out->command == READER_HELP) {
        out->outcome = READER_ASKED;
        out->why = READER_WHY_NO_TROUBLE;
    } else if (out->command == READER_GAVE || out->command == READER_MOVED ||
               out->command == READER_SWAPPED) {
        out->outcome = READER_FILED;
    }
}

/* "Thanks", "ok, good day": nothing that wants an answer. */
static bool is_courtesy(const struct lexicon *lex, const struct cut *c)
{
    bool any = false;

    for (size_t i = 1; i + 1 < c->n; i++) {
        const struct concept_set *s = &lex->sets[c->tokens[i].symbol];
        bool yes = concept_set_has(s, CONCEPT_YES);
        bool nice = concept_set_has(s, CONCEPT_POLITE) ||
                    (yes && concept_set_has(s, CONCEPT_FINE));

        if (!nice && !yes && !concept_set_has(s, CONCEPT_NO) &&
            !concept_set_has(s, CONCEPT_FILLER) &&
            !concept_set_has(s, CONCEPT_VERY) &&
            !concept_set_has(s, CONCEPT_FINE) &&
            c->tokens[i].symbol != CONCEPT_PAUSE)
            return false;
        any |= nice;
    }
    return any;
}

/* The text that was folded. */
static void read_folded(const struct reader *r, struct reader_scratch *s,
                        int lang, const struct reader_hint *hint,
                        struct reader_meaning *out)
{
    struct meaning_case m = {r->lex, &r->limits, hint, &s->cut, &s->said};

    memset(out, 0, sizeof(*out));
    cut_text(&s->cut, r->lex, &r->layout, lang);
    if (s->cut.lang >= 0)
        kw_copy(out->lang, sizeof(out->lang), r->lex->tags[s->cut.lang],
                strlen(r->lex->tags[s->cut.lang]));
    meaning_gather(r->grammar, s->grammar, r->lex, &s->cut, &s->said);
    if (s->said.is_order)
        meaning_order(&m, out);
    if (out->command == READER_NO_COMMAND || out->command == READER_VISIT)
        meaning_decide(&m, out);
    else if (out->command == READER_TESTED)
        meaning_test(&m, out);
    else
        close_order(out);
    out->courtesy =
        out->outcome == READER_NOT_REPORT && is_courtesy(r->lex, &s->cut);
    s->outcome = out->outcome;
    s->why = out->why;
    s->doubt = out->doubt;
}

void reader_read(const struct reader *r, struct reader_scratch *s,
                 const char *text, size_t len, const struct reader_hint *hint,
                 struct reader_meaning *out)
{
    static const struct reader_hint none;
    int lang;
    bool keep;

    if (hint == NULL)
        hint = &none;
    lang = lang_index(r, hint->lang);
    fold_text(&s->cut.fold, text, len, CUT_OCTETS_MOST);
    keep = wording_take(&s->wording, &s->cut.fold, &r->layout, lang, hint->pot);
    s->recalled = keep && wording_recall(s->memo, &s->wording, &r->layout,
                                         hint->pot, out);
    if (s->recalled)
        return;
    read_folded(r, s, lang, hint, out);
    if (keep)
        wording_keep(s->memo, &s->wording, &s->cut, out);
}

/* A text that was recalled has not been cut: to explain, it is read. */
static void read_recalled(const struct reader *r, struct reader_scratch *s)
{
    const struct wording *w = &s->wording;
    struct reader_hint hint = {.pot = w->pot == WORDING_SAME_POT    ? w->serial
                                      : w->pot == WORDING_OTHER_POT ? ""
                                                                    : NULL};
    struct reader_meaning m;

    read_folded(r, s, w->lang, &hint, &m);
    s->recalled = false;
}

size_t reader_languages(const struct reader *r)
{
    return r->n_langs;
}

const char *reader_language(const struct reader *r, size_t i)
{
    return i < r->n_langs ? r->lex->tags[r->langs[i]] : "";
}

static void explain_token(const struct reader *r, const struct cut *c, size_t i,
                          struct kw_buf *out)
{
    const struct cut_token *t = &c->tokens[i];
    bool first = true;

    kw_buf_printf(out, "  %-16.*s", (int)t->len, c->fold.text + t->at);
    for (int k = 1; k < CONCEPT_COUNT; k++) {
        if (!concept_set_has(&r->lex->sets[t->symbol], (enum concept)k))
            continue;
        kw_buf_printf(out, "%s<%s>", first ? " " : " or ",
                      concept_name((enum concept)k));
        first = false;
    }
    if (t->symbol == CONCEPT_NUMBER)
        kw_buf_printf(out, " %g", t->value);
    if (t->flags & CUT_SLIP && t->word != 0)
        kw_buf_printf(out, "  slip for '%.*s'", r->lex->words[t->word].len,
                      r->lex->store + r->lex->words[t->word].at);
    if (t->flags & CUT_SPLIT)
        kw_buf_puts(out, "  run together");
    kw_buf_putc(out, '\n');
}

static void explain_piece(const struct cut *c, const struct meaning_piece *p,
                          struct kw_buf *out)
{
    size_t from = c->tokens[p->from].at;
    size_t to = p->to > p->from
                    ? (size_t)c->tokens[p->to - 1].at + c->tokens[p->to - 1].len
                    : from;

    kw_buf_printf(out, "  \"%.*s\" is", (int)(to - from), c->fold.text + from);
    for (int k = 0; k < GRAMMAR_RULE_COUNT; k++) {
        if (p->said[k / 64] >> (k % 64) & 1)
            kw_buf_printf(out, " %s", grammar_rule_name((enum grammar_rule)k));
    }
    kw_buf_putc(out, '\n');
}

void reader_explain(const struct reader *r, struct reader_scratch *s,
                    struct kw_buf *out)
{
    const struct cut *c = &s->cut;

    if (s->recalled)
        read_recalled(r, s);
    kw_buf_printf(out, "folded: %.*s\n", (int)c->fold.len, c->fold.text);
    kw_buf_printf(out, "language: %s\n",
                  c->lang >= 0 ? r->lex->tags[c->lang] : "not clear");
    if (c->keypad)
        kw_buf_puts(out, "the form with stars\n");
    kw_buf_puts(out, "cut:\n");
    for (size_t i = 1; i + 1 < c->n; i++)
        explain_token(r, c, i, out);
    kw_buf_puts(out, "matched:\n");
    for (size_t i = 0; i < s->said.n_pieces; i++)
        explain_piece(c, &s->said.pieces[i], out);
    if (s->said.limit)
        kw_buf_puts(out, "a limit was hit: too long, or too much to match\n");
    kw_buf_printf(out, "judged: %s%s%s%s%s\n", reader_outcome_name(s->outcome),
                  s->why != READER_CLEAR ? ", because of " : "",
                  s->why != READER_CLEAR ? reader_why_name(s->why) : "",
                  s->doubt != NULL ? ": " : "",
                  s->doubt != NULL ? s->doubt : "");
}
