/*
 * concat.c - a table of unfinished texts, searched from end to end: it is
 * small by its bound. A finished text stays as a tombstone for a while so
 * that a late repeat of a part begins nothing new.
 *
 *   OPEN --last part--> READY --concat_next--> DONE --CONCAT_DONE_S--> gone
 *     \--too old, or room needed--> READY
 */
#include "carrier/concat.h"

#include <string.h>

#define MISSING "[...]"

enum state { FREE, OPEN, READY, DONE };

struct piece {
    char *text; /* NULL: not come */
    size_t len;
    uint32_t sum;
    int64_t mark;
};

struct entry {
    enum state state;
    char from[CONCAT_NAME_CAP], to[CONCAT_NAME_CAP];
    uint16_t ref;
    bool wide;
    uint8_t total, have;
    int64_t at_s, done_s;
    struct piece *pieces; /* total of them */
};

struct concat {
    struct entry entries[CONCAT_TEXTS_MOST];
    size_t octets, texts;
};

/* FNV-1a, 32 bits: tells contents apart, against no one's ill will. */
static uint32_t add_sum(uint32_t sum, const void *data, size_t len)
{
    const uint8_t *p = data;

    for (size_t i = 0; i < len; i++)
        sum = (sum ^ p[i]) * 16777619u;
    return sum;
}

struct concat *concat_new(void)
{
    return kw_calloc(1, sizeof(struct concat));
}

static void drop_texts(struct concat *c, struct entry *e)
{
    for (int i = 0; e->pieces != NULL && i < e->total; i++) {
        if (e->pieces[i].text != NULL)
            c->octets -= e->pieces[i].len;
        kw_free(e->pieces[i].text);
        e->pieces[i].text = NULL;
    }
}

static void drop(struct concat *c, struct entry *e)
{
    if (e->state == OPEN || e->state == READY)
        c->texts--;
    drop_texts(c, e);
    kw_free(e->pieces);
    *e = (struct entry){0};
}

void concat_free(struct concat *c)
{
    if (c == NULL)
        return;
    for (size_t i = 0; i < KW_COUNT(c->entries); i++)
        drop(c, &c->entries[i]);
    kw_free(c);
}

static bool same_key(const struct entry *e, const struct concat_part *p)
{
    return e->state != FREE && e->ref == p->ref && e->wide == p->wide &&
           e->total == p->total && strcmp(e->from, p->from) == 0 &&
           strcmp(e->to, p->to) == 0;
}

static bool has_piece(const struct entry *e, const struct concat_part *p,
                      uint32_t sum)
{
    const struct piece *k = &e->pieces[p->seq - 1];

    return k->len == p->len && k->sum == sum &&
           (e->state == DONE ? k->mark != 0 : k->text != NULL);
}

/*
 * The entry this part belongs to: one that has it already (*repeat), else an
 * open one with its place free, else NULL.
 */
static struct entry *find(struct concat *c, const struct concat_part *p,
                          uint32_t sum, bool *repeat)
{
    struct entry *open = NULL;

    *repeat = false;
    for (size_t i = 0; i < KW_COUNT(c->entries); i++) {
        struct entry *e = &c->entries[i];

        if (!same_key(e, p))
            continue;
        if (e->state == OPEN && p->at_s - e->at_s >= CONCAT_WAIT_S)
            e->state = READY; /* too old to be joined with this one */
        if (e->state == DONE && p->at_s - e->done_s >= CONCAT_DONE_S) {
            drop(c, e);
        } else if (has_piece(e, p, sum)) {
            *repeat = true;
            return e;
        } else if (e->state == OPEN && e->pieces[p->seq - 1].text == NULL) {
            open = e;
        }
    }
    return open;
}

/* The one to give up when room is needed: a tombstone first, then the oldest
 * open one becomes ready. NULL: nothing can be freed now. */
static struct entry *oldest(struct concat *c, enum state state)
{
    struct entry *old = NULL;

    for (size_t i = 0; i < KW_COUNT(c->entries); i++) {
        struct entry *e = &c->entries[i];

        if (e->state == state && (old == NULL || e->at_s < old->at_s))
            old = e;
    }
    return old;
}

static struct entry *make_entry(struct concat *c, const struct concat_part *p)
{
    struct entry *e = NULL;

    for (size_t i = 0; e == NULL && i < KW_COUNT(c->entries); i++) {
        if (c->entries[i].state == FREE)
            e = &c->entries[i];
    }
    if (e == NULL) {
        e = oldest(c, DONE);
        if (e == NULL)
            return NULL;
        drop(c, e);
    }
    kw_copy(e->from, sizeof(e->from), p->from, strlen(p->from));
    kw_copy(e->to, sizeof(e->to), p->to, strlen(p->to));
    e->state = OPEN;
    e->ref = p->ref;
    e->wide = p->wide;
    e->total = p->total;
    e->at_s = p->at_s;
    e->pieces = kw_calloc(p->total, sizeof(*e->pieces));
    c->texts++;
    return e;
}

/* Makes the oldest open ones come out until the bounds are kept. */
static void keep_bounds(struct concat *c)
{
    size_t octets = c->octets, texts = c->texts;
    struct entry *e;

    for (size_t i = 0; i < KW_COUNT(c->entries); i++) {
        if (c->entries[i].state == READY) {
            texts--;
            for (int k = 0; k < c->entries[i].total; k++)
                octets -= c->entries[i].pieces[k].text != NULL
                              ? c->entries[i].pieces[k].len
                              : 0;
        }
    }
    /* One place is kept free for the next. */
    while ((texts >= CONCAT_TEXTS_MOST || octets > CONCAT_OCTETS_MOST) &&
           (e = oldest(c, OPEN)) != NULL) {
        e->state = READY;
        texts--;
        for (int k = 0; k < e->total; k++)
            octets -= e->pieces[k].text != NULL ? e->pieces[k].len : 0;
    }
}

int concat_put(struct concat *c, const struct concat_part *p)
{
    uint32_t sum;
    struct piece *k;
    struct entry *e;
    bool repeat;

    if (p->total == 0 || p->seq == 0 || p->seq > p->total ||
        strlen(p->from) >= CONCAT_NAME_CAP ||
        strlen(p->to) >= CONCAT_NAME_CAP || p->len > CONCAT_PART_CAP)
        return KW_EINVAL;
    sum = add_sum(2166136261u, p->text, p->len);
    e = find(c, p, sum, &repeat);
    if (repeat)
        return CONCAT_REPEAT;
    if (e == NULL)
        e = make_entry(c, p);
    if (e == NULL)
        return KW_EFULL;
    k = &e->pieces[p->seq - 1];
    k->text = kw_strndup(p->text, p->len);
    k->len = p->len;
    k->sum = sum;
    k->mark = p->mark;
    c->octets += p->len;
    if (++e->have == e->total)
        e->state = READY;
    keep_bounds(c);
    return e->state == READY ? CONCAT_WHOLE : CONCAT_KEPT;
}

static void come_out(struct concat *c, struct entry *e, int64_t now_s,
                     struct concat_text *out)
{
    struct kw_buf text;
    bool missing = false;

    *out = (struct concat_text){
        .at_s = e->at_s, .ref = e->ref, .total = e->total, .sum = 2166136261u};
    memcpy(out->from, e->from, sizeof(out->from));
    memcpy(out->to, e->to, sizeof(out->to));
    kw_buf_init(&text, CONCAT_TEXT_CAP);
    for (int i = 0; i < e->total; i++) {
        struct piece *k = &e->pieces[i];

        if (k->text != NULL) {
            kw_buf_put(&text, k->text, k->len);
            out->sum = add_sum(out->sum, &k->sum, sizeof(k->sum));
            out->marks[out->parts++] = k->mark;
            missing = false;
        } else if (!missing) {
            kw_buf_puts(&text, MISSING);
            missing = true;
        }
        k->mark = k->text != NULL; /* of the tombstone: this one came */
    }
    out->len = text.len;
    kw_buf_text(&text);
    out->text = kw_buf_take(&text);
    drop_texts(c, e);
    c->texts--;
    e->state = DONE;
    e->done_s = now_s;
}

bool concat_next(struct concat *c, int64_t now_s, struct concat_text *out)
{
    struct entry *e = oldest(c, READY);

    if (e == NULL) {
        e = oldest(c, OPEN);
        if (e == NULL || now_s - e->at_s < CONCAT_WAIT_S)
            return false;
    }
    come_out(c, e, now_s, out);
    return true;
}

void concat_text_release(struct concat_text *t)
{
    kw_free(t->text);
    *t = (struct concat_text){0};
}

int64_t concat_due(const struct concat *c)
{
    int64_t due = 0;

    for (size_t i = 0; i < KW_COUNT(c->entries); i++) {
        const struct entry *e = &c->entries[i];
        int64_t at = e->state == READY ? 1 : e->at_s + CONCAT_WAIT_S;

        if ((e->state == OPEN || e->state == READY) && (due == 0 || at < due))
            due = at;
    }
    return due;
}

size_t concat_texts(const struct concat *c)
{
    return c->texts;
}

size_t concat_octets(const struct concat *c)
{
    return c->octets;
}

static void each_piece(const struct entry *e,
                       void (*f)(void *arg, const struct concat_part *p),
                       void *arg)
{
    for (int i = 0; i < e->total; i++) {
        struct concat_part p = {.from = e->from,
                                .to = e->to,
                                .ref = e->ref,
                                .wide = e->wide,
                                .total = e->total,
                                .seq = (uint8_t)(i + 1),
                                .text = e->pieces[i].text,
                                .len = e->pieces[i].len,
                                .at_s = e->at_s,
                                .mark = e->pieces[i].mark};

        if (p.text != NULL)
            f(arg, &p);
    }
}

void concat_each(const struct concat *c,
                 void (*f)(void *arg, const struct concat_part *p), void *arg)
{
    for (size_t i = 0; i < KW_COUNT(c->entries); i++) {
        const struct entry *e = &c->entries[i];

        if (e->state == OPEN || e->state == READY)
            each_piece(e, f, arg);
    }
}
