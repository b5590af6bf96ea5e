/*
 * answer.c - which replies a meaning leads to, and in which order they share
 * the room of one: what can hurt comes first, and what does not fit behind
 * it is left out.
 */
#include "desk/keys.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>

#include "watch/flowrule.h"

struct answer { /* one on its way */
    const struct replies *r;
    const struct reply_case *c;
    const struct reader_meaning *m;
    struct reply_slots slots;
    struct kw_buf *out;
    char serial[SERIAL_CAP + 4], other[SERIAL_CAP + 4], group[SERIAL_CAP];
    unsigned kinds; /* bits of enum reader_kind not yet answered */
};

#define KIND(k)      (1u << READER_##k)
#define KINDS_UNSAFE (KIND(CRACK) | KIND(LEAK) | KIND(BROKEN))

/* ---- the serial that is to be read again ---- */

/* Letters and digits alone, upper case. Number of them; 0 when too many. */
static size_t bare(const char *s, char dst[SERIAL_CAP])
{
    size_t n = 0;

    for (; *s != '\0'; s++) {
        if (!isalnum((unsigned char)*s))
            continue;
        if (n + 1 >= SERIAL_CAP)
            return 0;
        dst[n++] = (char)toupper((unsigned char)*s);
    }
    dst[n] = '\0';
    return n;
}

static int group_of(const struct serial_layout *l, size_t at)
{
    if ((int)at < l->batch_chars)
        return 0;
    return (int)at < l->batch_chars + l->pot_chars ? 1 : 2;
}

/* The group of all differences, -1 when they lie in several or are many. */
static int group_apart(const struct serial_layout *l, const char *a,
                       const char *b, size_t n)
{
    int group = -1, apart = 0;

    for (size_t i = 0; i < n; i++) {
        if (a[i] == b[i])
            continue;
        if (++apart > 2 || (group >= 0 && group != group_of(l, i)))
            return -1;
        group = group_of(l, i);
    }
    return group;
}

/* Bits of the groups in which one slip could have been made. */
static unsigned groups_of_slip(const struct serial_layout *l, const char *s,
                               size_t n)
{
    static const char chars[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
    size_t n_chars = l->check == SERIAL_MOD_37_36 ? 36 : 10;
    char tried[SERIAL_CAP];
    unsigned groups = 0;

    for (size_t i = 0; i < n; i++) {
        memcpy(tried, s, n + 1);
        for (size_t c = 0; c < n_chars; c++) {
            tried[i] = chars[c];
            if (serial_verify(l, tried, n) == 0)
                groups |= 1u << group_of(l, i);
        }
        if (i + 1 == n)
            break;
        memcpy(tried, s, n + 1);
        tried[i] = s[i + 1], tried[i + 1] = s[i];
        if (serial_verify(l, tried, n) == 0)
            groups |= 1u << group_of(l, i) | 1u << group_of(l, i + 1);
    }
    return groups;
}

void reply_wrong_group(const struct serial_layout *layout, const char *wrong,
                       const char *own, char *dst, size_t cap)
{
    int from[4] = {0, layout->batch_chars,
                   layout->batch_chars + layout->pot_chars,
                   serial_chars(layout)};
    char s[SERIAL_CAP];
    size_t n = bare(wrong, s);
    int group = -1;

    dst[0] = '\0';
    if ((int)n != from[3] || layout->check == SERIAL_NO_CHECK)
        return;
    if (own != NULL && strlen(own) == n)
        group = group_apart(layout, s, own, n);
    if (group < 0) {
        unsigned groups = groups_of_slip(layout, s, n);

        for (int i = 0; i < 3; i++) {
            if (groups == 1u << i)
                group = i;
        }
    }
    if (group >= 0)
        kw_copy(dst, cap, s + from[group],
                (size_t)(from[group + 1] - from[group]));
}

/* ---- small parts ---- */

/* A serial to show how one looks. */
static void example_serial(const struct serial_layout *l, char *dst, size_t cap)
{
    char batch[SERIAL_CAP] = "0214000000", pot[SERIAL_CAP] = "0730000000";
    char serial[SERIAL_CAP];

    if (l->batch_chars > 10 || l->pot_chars > 10 || l->batch_chars < 0 ||
        l->pot_chars < 0)
        return;
    batch[l->batch_chars] = '\0';
    pot[l->pot_chars] = '\0';
    if (serial_make(l, batch, pot, serial) == 0)
        serial_format(l, serial, dst, cap);
}

static int write_key(struct answer *a, const char *key)
{
    return reply_write(a->r, a->c->lang, key, &a->slots, a->out);
}

static int add_key(struct answer *a, const char *key)
{
    return reply_add(a->r, a->c->lang, key, &a->slots, a->out);
}

static unsigned kinds_of(const struct reader_meaning *m)
{
    unsigned kinds = 0;

    for (size_t i = 0; i < m->n_obs; i++)
        kinds |= 1u << m->obs[i].kind;
    return kinds;
}

/* Adds "{words} noted too" for the kinds that are left. */
static void add_noted(struct answer *a)
{
    struct reader_obs left[READER_OBS_MOST];
    struct kw_buf words;
    size_t n = 0;

    for (size_t i = 0; i < a->m->n_obs; i++) {
        if (a->kinds & (1u << a->m->obs[i].kind))
            left[n++] = a->m->obs[i];
    }
    if (n == 0)
        return;
    kw_buf_init(&words, 256);
    reply_kinds(a->r, a->c->lang, left, n, &words);
    a->slots.words = kw_buf_text(&words);
    add_key(a, "too-noted");
    a->slots.words = NULL;
    kw_buf_release(&words);
}

static bool unsafe(const struct answer *a)
{
    int v = a->c->flow_verdict;

    return (a->kinds & KINDS_UNSAFE) || v == FLOW_STOP ||
           ((a->kinds & KIND(FAST)) && v < 0);
}

/* ---- filed ---- */

static const char *slow_key(const struct answer *a)
{
    switch (a->c->flow_verdict) {
    case FLOW_FINE:
        return a->kinds & KIND(SLOW) ? "slow-fine" : "fast-fine";
    case FLOW_SCRUB:
        return "scrub";
    case FLOW_REPLACE:
        return "replace";
    case FLOW_STOP:
        return "fast";
    default:
        return a->kinds & KIND(SCRUBBED) ? "slow-scrubbed" : "slow";
    }
}

static int write_part(struct answer *a)
{
    struct kw_buf words;
    struct reader_obs parts[READER_OBS_MOST];
    size_t n = 0;
    int err;

    for (size_t i = 0; i < a->m->n_obs; i++) {
        if (a->m->obs[i].kind == READER_PART)
            parts[n++] = a->m->obs[i];
    }
    kw_buf_init(&words, 256);
    reply_kinds(a->r, a->c->lang, parts, n, &words);
    a->slots.words = kw_buf_text(&words);
    err = write_key(a, "part");
    a->slots.words = NULL;
    kw_buf_release(&words);
    return err;
}

/* The first words: of the most serious kind. Takes it off a->kinds. */
static int write_first(struct answer *a)
{
    unsigned flow = KIND(SLOW) | KIND(FAST);
    /* Of these the answer would tell how to go on with the pot. */
    unsigned at_rest = flow | KIND(FINE) | KIND(SCRUBBED) | KIND(PART);
    static const struct {
        unsigned kind;
        const char *key;
    } rest[] = {{KIND(UNUSED), "unused"},
                {KIND(FINE), "fine"},
                {KIND(SCRUBBED), "scrubbed"}};

    /* Behind a short one there is always room for who is ill. */
    if (a->kinds & KINDS_UNSAFE) {
        a->kinds &= ~(KINDS_UNSAFE | KIND(FAST));
        return write_key(a, a->kinds & KIND(ILL) ? "too-unsafe" : "unsafe");
    }
    if (unsafe(a)) {
        a->kinds &= ~(flow | KIND(FINE));
        return write_key(a, a->kinds & KIND(ILL) ? "too-unsafe" : "fast");
    }
    if (a->c->recalled) {
        a->kinds &= ~(at_rest | KIND(UNUSED));
        return write_key(a, a->kinds & KIND(ILL) ? "too-unsafe" : "recalled");
    }
    if (a->c->failed && (a->kinds & at_rest)) {
        a->kinds &= ~at_rest;
        return write_key(a, "unsafe-still");
    }
    if (a->kinds & flow) {
        const char *key = slow_key(a);

        a->kinds &= ~(flow | KIND(SCRUBBED) | KIND(FINE));
        return write_key(a, key);
    }
    if (a->kinds & KIND(ILL)) {
        a->kinds &= ~KIND(ILL);
        return write_key(a, "ill");
    }
    if (a->kinds & KIND(PART)) {
        a->kinds &= ~KIND(PART);
        return write_part(a);
    }
    for (size_t i = 0; i < KW_COUNT(rest); i++) {
        if (a->kinds & rest[i].kind) {
            a->kinds &= ~(rest[i].kind | KIND(SCRUBBED) | KIND(FINE));
            return write_key(a, rest[i].key);
        }
    }
    return write_key(a, "noted");
}

static void add_rest(struct answer *a)
{
    if ((a->kinds & KIND(ILL)) && add_key(a, "too-ill") == 0)
        a->kinds &= ~KIND(ILL);
    if ((a->kinds & KIND(SLOW)) && add_key(a, "too-slow") == 0)
        a->kinds &= ~KIND(SLOW);
    add_noted(a);
}

static int filed_danger(struct answer *a)
{
    int err;

    a->kinds &= ~KIND(ILL);
    if (unsafe(a) || a->c->failed || a->c->recalled) {
        if ((err = write_key(a, "danger-short")) < 0)
            return err;
        a->kinds &= ~(KINDS_UNSAFE | KIND(FAST));
        add_key(a, "too-unsafe"); /* both are at most half the room */
    } else if ((err = write_key(
                    a, a->m->danger == READER_DEAD ? "death" : "danger")) < 0) {
        return err;
    }
    add_rest(a);
    return 0;
}

static int filed(struct answer *a)
{
    int err;

    if (a->m->danger != 0)
        return filed_danger(a);
    if ((err = write_first(a)) < 0)
        return err;
    add_rest(a);
    return 0;
}

/* ---- asked ---- */

static const char *check_key(struct answer *a)
{
    char s[SERIAL_CAP];
    size_t n = bare(a->m->serial_wrong, s);
    int whole = serial_chars(a->c->layout);

    reply_wrong_group(a->c->layout, a->m->serial_wrong, a->c->own, a->group,
                      sizeof(a->group));
    if (a->group[0] != '\0') {
        a->slots.group = a->group;
        return "ask-group";
    }
    if (n > 0 && (int)n != whole) {
        a->slots.count = (int)n;
        a->slots.total = whole;
        return "ask-length";
    }
    return "ask-number";
}

static const char *pot_key(struct answer *a)
{
    if (a->c->own == NULL || a->c->own_too == NULL)
        return "ask-pot";
    serial_format(a->c->layout, a->c->own, a->serial, sizeof(a->serial));
    serial_format(a->c->layout, a->c->own_too, a->other, sizeof(a->other));
    a->slots.other = a->other;
    return "ask-which";
}

static const char *question_key(struct answer *a)
{
    if (a->c->ask != NULL)
        return a->c->ask;
    switch (a->m->why) {
    case READER_WHY_CHECK:
        return check_key(a);
    case READER_WHY_TWO_POTS:
        serial_format(a->c->layout, a->m->serial_other, a->other,
                      sizeof(a->other));
        a->slots.other = a->other;
        return a->m->serial[0] && a->m->serial_other[0] ? "ask-two" : "ask-pot";
    case READER_WHY_NO_POT:
        return pot_key(a);
    case READER_WHY_CONTRARY:
        return "ask-contrary";
    case READER_WHY_IMPOSSIBLE:
        return "ask-impossible";
    case READER_WHY_NO_TIME:
        return "ask-time";
    case READER_WHY_NO_AMOUNT:
        return a->m->command == READER_TESTED ? "tested-what" : "ask-amount";
    case READER_WHY_LEVEL:
        return "ask-level";
    case READER_WHY_COUNTS:
        return "ask-counts";
    case READER_WHY_NO_PART:
        return "ask-part";
    case READER_WHY_NO_TROUBLE:
        return a->m->serial[0] || a->c->own ? "ask-trouble" : "ask-unclear";
    case READER_WHY_UNSURE:
        return "ask-sure";
    default:
        return "ask-unclear";
    }
}

/* Behind a question: what not to do before it is answered. */
static void add_warning(struct answer *a)
{
    if (a->c->recalled && add_key(a, "too-unsafe") == 0)
        return;
    if (unsafe(a) || a->m->unsafe_said || a->c->recalled)
        add_key(a, "till-then");
}

static int asked(struct answer *a, bool question_only)
{
    const char *key = question_key(a);
    struct kw_buf words, said;
    int err;

    kw_buf_init(&words, 256);
    kw_buf_init(&said, 256);
    if (strcmp(key, "ask-sure") == 0 &&
        !reply_said(a->r, a->c->lang, a->m->obs, a->m->n_obs, &said))
        key = "ask-unclear";
    a->slots.said = kw_buf_text(&said);
    reply_kinds(a->r, a->c->lang, a->m->obs, a->m->n_obs, &words);
    if (words.len == 0 && strcmp(key, "ask-contrary") == 0)
        key = "ask-both";
    a->slots.words = kw_buf_text(&words);
    if (question_only || a->m->danger == 0) {
        err = write_key(a, key);
        if (err == 0 && !question_only)
            add_warning(a);
    } else if ((err = write_key(a, "danger-short")) == 0) {
        add_warning(a);
        if (add_key(a, key) < 0)
            add_key(a, "too-asked");
    }
    kw_buf_release(&said);
    kw_buf_release(&words);
    return err;
}

/* ---- commands that need no ledger ---- */

static int languages(struct answer *a)
{
    const struct replies *r = a->r;
    struct kw_buf words;
    int err;

    kw_buf_init(&words, 64 * 16);
    for (size_t i = 0; i < replies_langs(r); i++) {
        kw_buf_puts(&words, words.len ? " " : "");
        kw_buf_puts(&words, replies_tag(r, i));
    }
    a->slots.words = kw_buf_text(&words);
    err = write_key(a, "languages");
    kw_buf_release(&words);
    return err;
}

static const char *help_for(const struct answer *a, const char *at_home)
{
    return a->c->leads ? "help-lead" : a->c->works ? "help-work" : at_home;
}

static int command(struct answer *a)
{
    switch (a->m->command) {
    case READER_HELP:
        return write_key(a, help_for(a, "help"));
    case READER_STOP:
        return write_key(a, "stopped");
    case READER_START:
        return write_key(a, "started");
    case READER_YES:
    case READER_NO:
        return write_key(a, "no-question");
    case READER_LANGUAGE:
        if (!replies_has_lang(a->r, a->m->word))
            return languages(a);
        a->slots.words = reply_lang_find(a->r, a->m->word)->name;
        return reply_write(a->r, a->m->word, "language", &a->slots, a->out);
    default:
        return 0; /* the desk answers */
    }
}

static void begin(struct answer *a, const struct replies *r,
                  const struct reply_case *c, struct kw_buf *out)
{
    const struct reader_meaning *m = c->meaning;
    const char *shown = m->serial[0] ? m->serial : c->own;

    *a = (struct answer){.r = r, .c = c, .m = m, .out = out};
    a->kinds = kinds_of(m);
    if (shown != NULL)
        serial_format(c->layout, shown, a->serial, sizeof(a->serial));
    else
        example_serial(c->layout, a->serial, sizeof(a->serial));
    a->slots = (struct reply_slots){
        .serial = a->serial, .clinic = c->clinic, .litres = c->litres};
}

int reply_for_case(const struct replies *r, const struct reply_case *c,
                   struct kw_buf *out)
{
    struct answer a;

    begin(&a, r, c, out);
    if (c->ask == NULL && a.m->command == READER_HELP && a.m->danger == 0)
        return command(&a);
    if (c->ask != NULL || a.m->outcome == READER_ASKED)
        return asked(&a, false);
    if (a.m->n_obs > 0 && a.m->outcome == READER_FILED)
        return filed(&a);
    if (a.m->danger != 0)
        return write_key(&a, a.m->danger == READER_DEAD ? "death" : "danger");
    if (a.m->command != READER_NO_COMMAND)
        return command(&a);
    return write_key(&a, help_for(&a, "how-to"));
}

int reply_question(const struct replies *r, const struct reply_case *c,
                   struct kw_buf *out)
{
    struct answer a;

    begin(&a, r, c, out);
    return asked(&a, true);
}

int reply_for_meaning(const struct replies *r,
                      const struct serial_layout *layout,
                      const struct reader_meaning *m, const char *lang,
                      const char *clinic, int flow_verdict, struct kw_buf *out)
{
    struct reply_case c = {.layout = layout,
                           .meaning = m,
                           .lang = lang,
                           .clinic = clinic,
                           .flow_verdict = flow_verdict};

    return reply_for_case(r, &c, out);
}
