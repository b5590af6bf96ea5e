/* words.c - see words.h. */
#include "reader/words.h"
#include "base/number.h"
#include "reader/fold.h"

#include <stdio.h>
#include <string.h>
#include <utf8proc.h>

struct parse {
    const char *file;
    int line;
    const struct words_sink *sink;
    struct fault_list *faults;
    struct fold *fold;
    bool has_language;
    enum concept concept; /* of the present key; CONCEPT_NONE: pass over */
    bool plain;           /* language:, draft: - free text */
    bool spelling;        /* spelling: - rules */
    bool card;            /* card: - words that stand elsewhere too */
    double value;
    int given; /* words that the present entry has given */
};

#define ENTRY_CAP  2000 /* octets of an entry */
#define WORD_CAP   400  /* of a word or phrase */
#define GIVES_MOST 2000 /* words that one entry may give */

static const char *trim(const char *s, size_t *len)
{
    while (*len > 0 && (*s == ' ' || *s == '\t')) {
        s++;
        (*len)--;
    }
    while (*len > 0 &&
           (s[*len - 1] == ' ' || s[*len - 1] == '\t' || s[*len - 1] == '\r'))
        (*len)--;
    return s;
}

/* Is the line valid UTF-8? */
static bool is_utf8(const char *s, size_t len)
{
    size_t at = 0;

    while (at < len) {
        utf8proc_int32_t c;
        ssize_t n = 1;

        if ((unsigned char)s[at] >= 0x80)
            n = utf8proc_iterate((const utf8proc_uint8_t *)s + at,
                                 (ssize_t)(len - at), &c);
        if (n <= 0)
            return false;
        at += (size_t)n;
    }
    return true;
}

/* Letters and digits stay, all else becomes a single gap. Returns its end. */
static size_t squeeze(char *s, size_t len)
{
    size_t n = 0;

    for (size_t i = 0; i < len; i++) {
        if (fold_is_letter(s[i]) || fold_is_digit(s[i]))
            s[n++] = s[i];
        else if (n > 0 && s[n - 1] != ' ')
            s[n++] = ' ';
    }
    while (n > 0 && s[n - 1] == ' ')
        n--;
    s[n] = '\0';
    return n;
}

/* A word is of letters or of digits: that is how texts are cut. */
static bool is_mixed(const char *s)
{
    for (size_t i = 1; s[i] != '\0'; i++) {
        if (s[i] != ' ' && s[i - 1] != ' ' &&
            fold_is_letter(s[i]) != fold_is_letter(s[i - 1]))
            return true;
    }
    return false;
}

/*
 * Most entries are plain letters and single gaps, as fold and squeeze would
 * leave them. Copies such a one and returns its length; else 0.
 */
static size_t copy_plain(char *to, const char *s, size_t len)
{
    bool gap = true;

    if (len > WORD_CAP)
        return 0;
    for (size_t i = 0; i < len; i++) {
        if (s[i] == ' ' ? gap : s[i] < 'a' || s[i] > 'z')
            return 0;
        gap = s[i] == ' ';
        to[i] = s[i];
    }
    if (gap)
        return 0;
    to[len] = '\0';
    return len;
}

/* To whom the present key's words go. */
static void hand_over(struct parse *p, const struct words_entry *e)
{
    if (!p->card)
        p->sink->entry(p->sink->to, e);
    else if (p->sink->card != NULL)
        p->sink->card(p->sink->to, e);
}

/* One word or phrase, without choices. */
static void take_word(struct parse *p, const char *s, size_t len, bool shared,
                      bool given)
{
    struct words_entry e = {p->concept, p->value, NULL,   0,
                            shared,     given,    p->line};

    if ((e.len = copy_plain(p->fold->text, s, len)) > 0) {
        e.text = p->fold->text;
        hand_over(p, &e);
        return;
    }
    fold_text(p->fold, s, len, WORD_CAP);
    e.len = squeeze(p->fold->text, p->fold->len);
    if (e.len == 0) {
        fault_add(p->faults, p->file, p->line,
                  "an entry without a word; write words between the commas");
        return;
    }
    if (is_mixed(p->fold->text)) {
        fault_add(p->faults, p->file, p->line,
                  "\"%.*s\" joins letters and digits, which a text is cut "
                  "between; write them apart",
                  (int)len, s);
        return;
    }
    e.text = p->fold->text;
    hand_over(p, &e);
}

/* The first choice of s in place of its brackets, then the next, and so on. */
static void take_choices(struct parse *p, const char *s, size_t len,
                         bool shared)
{
    const char *open = memchr(s, '(', len), *close = NULL, *from;
    char one[ENTRY_CAP];

    if (open != NULL)
        close = memchr(open, ')', len - (size_t)(open - s));
    if (close == NULL) {
        if (p->given++ < GIVES_MOST)
            take_word(p, s, len, shared, true);
        return;
    }
    for (from = open + 1; from <= close && p->given <= GIVES_MOST;) {
        const char *to = memchr(from, '/', (size_t)(close - from));
        size_t head = (size_t)(open - s), n,
               tail = len - (size_t)(close + 1 - s);

        if (to == NULL)
            to = close;
        n = (size_t)(to - from);
        memcpy(one, s, head);
        memcpy(one + head, from, n);
        memcpy(one + head + n, close + 1, tail);
        take_choices(p, one, head + n + tail, shared);
        from = to + 1;
    }
}

/* Do the brackets of an entry close, and none stand within another? */
static bool is_closed(const char *s, size_t len)
{
    bool open = false;

    for (size_t i = 0; i < len; i++) {
        if ((s[i] == '(' && open) || (s[i] == ')' && !open))
            return false;
        if (s[i] == '(' || s[i] == ')')
            open = !open;
    }
    return !open;
}

/* "aa>a": in a word of this language, the one is written for the other. */
static void take_rule(struct parse *p, const char *s, size_t len)
{
    const char *mark;
    struct words_rule r = {.line = p->line};

    s = trim(s, &len);
    if (len == 3 && s[2] == '=') { /* a pair, whole */
        memcpy(r.from, s, len);
        if (p->sink->rule != NULL)
            p->sink->rule(p->sink->to, &r);
        return;
    }
    mark = memchr(s, '>', len);
    if (mark == NULL || mark == s ||
        kw_copy(r.from, sizeof(r.from), s, (size_t)(mark - s)) < 0 ||
        kw_copy(r.into, sizeof(r.into), mark + 1,
                len - (size_t)(mark + 1 - s)) < 0) {
        fault_add(p->faults, p->file, p->line,
                  "'%.*s' is no rule of spelling; write from>into, such as "
                  "aa>a, of %d octets each at most, or mb= for a pair",
                  (int)kw_whole(s, len, WORDS_SHOWN), s, WORDS_RULE_CAP - 1);
        return;
    }
    if (p->sink->rule != NULL)
        p->sink->rule(p->sink->to, &r);
}

static void take_entry(struct parse *p, const char *s, size_t len)
{
    bool shared = false;

    s = trim(s, &len);
    if (len > 0 && *s == '*') {
        shared = true;
        len--;
        s = trim(s + 1, &len);
    }
    if (p->spelling) {
        take_rule(p, s, len);
        return;
    }
    if (memchr(s, '(', len) == NULL && memchr(s, ')', len) == NULL) {
        take_word(p, s, len, shared, false);
        return;
    }
    if (len >= ENTRY_CAP || !is_closed(s, len)) {
        fault_add(p->faults, p->file, p->line,
                  "'%.*s' has a bracket that does not close, one within "
                  "another, or is too long; write (this/that)",
                  (int)kw_whole(s, len, WORDS_SHOWN), s);
        return;
    }
    p->given = 0;
    take_choices(p, s, len, shared);
    if (p->given > GIVES_MOST)
        fault_add(p->faults, p->file, p->line,
                  "'%.*s' gives more than %d words; write it as two",
                  (int)kw_whole(s, len, WORDS_SHOWN), s, GIVES_MOST);
}

static void take_entries(struct parse *p, const char *s, size_t len)
{
    const char *end, *comma;

    if (p->plain || (p->concept == CONCEPT_NONE && !p->spelling && !p->card))
        return;
    s = trim(s, &len);
    while (len > 0 && s[len - 1] == ',') /* goes on in the next line */
        len--;
    if (len == 0)
        return;
    for (end = s + len; s <= end; s = comma + 1) {
        if ((comma = memchr(s, ',', (size_t)(end - s))) == NULL)
            comma = end;
        take_entry(p, s, (size_t)(comma - s));
    }
}

static void take_key(struct parse *p, const char *key, size_t len)
{
    p->plain = len == 8 && memcmp(key, "language", 8) == 0 && !p->has_language;
    if (p->plain) {
        p->has_language = true;
        return;
    }
    if (len == 5 && memcmp(key, "draft", 5) == 0) {
        p->plain = true;
        return;
    }
    p->spelling = len == 8 && memcmp(key, "spelling", 8) == 0;
    p->card = len == 4 && memcmp(key, "card", 4) == 0;
    p->concept = concept_from_name(key, len);
    if (p->spelling || p->card)
    p->concept = CONCEPT_NONE;
    else if (kw_parse_double(key, len, 0, 1000, &p->value) == 0) p->concept =
        CONCEPT_NUMBER;
    else if (p->concept == CONCEPT_NONE ||
             concept_class_of(p->concept) == CLASS_MARK)
    {
        fault_add(p->faults, p->file, p->line,
                  "there is no concept '%.*s' that words can stand for; "
                  "docs/words.md lists them",
                  (int)kw_whole(key, len, WORDS_SHOWN), key);
        p->concept = CONCEPT_NONE;
    }
    if (!p->has_language) {
        fault_add(p->faults, p->file, p->line,
                  "the first line must name the language; write "
                  "'language: English' above");
        p->has_language = true;
    }
}

static void take_line(struct parse *p, const char *s, size_t len)
{
    const char *hash = memchr(s, '#', len), *colon;
    bool goes_on = len > 0 && (*s == ' ' || *s == '\t');

    if (hash != NULL)
        len = (size_t)(hash - s);
    s = trim(s, &len);
    if (len == 0)
        return;
    if (!is_utf8(s, len)) {
        fault_add(p->faults, p->file, p->line,
                  "not UTF-8; save the file in that encoding");
        return;
    }
    if (goes_on) {
        take_entries(p, s, len);
        return;
    }
    colon = memchr(s, ':', len);
    if (colon == NULL) {
        fault_add(p->faults, p->file, p->line,
                  "no colon; write 'concept: word, word', or begin the line "
                  "with a gap to go on with the one before");
        return;
    }
    take_key(p, s, (size_t)(colon - s));
    take_entries(p, colon + 1, len - (size_t)(colon + 1 - s));
}

void words_parse(const char *file, const char *data, size_t len,
                 const struct words_sink *sink, struct fault_list *faults)
{
    struct parse p = {.file = file, .sink = sink, .faults = faults};
    const char *end = data + len, *line;

    fold_prepare();
    p.fold = kw_malloc(sizeof(*p.fold));
    for (; data <= end; data = line + 1) {
        if ((line = memchr(data, '\n', (size_t)(end - data))) == NULL)
            line = end;
        p.line++;
        take_line(&p, data, (size_t)(line - data));
    }
    if (!p.has_language)
        fault_add(faults, file, 1,
                  "an empty file; begin with 'language: English'");
    kw_free(p.fold);
}
