/* load_texts.c - texts that came while the line was away: all of them, from
 * all files, go the way of a text in the order of time. */
#include "command/load.h"

#include "desk/desk.h"

#include <openssl/sha.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TEXT_AT, TEXT_FROM, TEXT_TEXT, TEXT_ID };

#define CARRIER   "notebook"
#define REF_BYTES 16 /* of the hash that stands for an id */

/* Without an id: made of all that was said, so that it comes out again. */
static char *make_ref(struct load *l, const struct load_sheet *s)
{
    const struct load_cell *c = s->cells;
    unsigned char hash[SHA256_DIGEST_LENGTH];
    char hex[2 * REF_BYTES + 1];
    struct kw_buf all;
    char *ref;
    int *nth;

    kw_buf_init(&all, LOAD_TEXT_MOST + 4096);
    kw_buf_printf(&all, "%lld\n%s\n", (long long)c[TEXT_AT].at_s,
                  c[TEXT_FROM].text);
    kw_buf_put(&all, c[TEXT_TEXT].text, c[TEXT_TEXT].len);
    SHA256((const unsigned char *)kw_buf_text(&all), all.len, hash);
    for (size_t i = 0; i < REF_BYTES; i++)
        snprintf(hex + 2 * i, 3, "%02x", hash[i]);
    nth = load_map_at(&l->seen[LOAD_TEXTS], hex, strlen(hex));
    ++*nth;
    kw_buf_clear(&all);
    kw_buf_printf(&all, "%s-%d", hex, *nth);
    ref = kw_buf_take(&all);
    return ref;
}

int load_row_text(struct load *l, struct load_sheet *s,
                  enum ledger_change *what)
{
    const struct load_cell *c = s->cells;
    char id[LEDGER_NAME_CAP + 4];

    *what = LEDGER_SAME;
    if (c[TEXT_TEXT].len > LOAD_TEXT_MOST)
        return load_fault(l, s, "the text is longer than %d octets",
                          LOAD_TEXT_MOST);
    if (c[TEXT_ID].given) {
        snprintf(id, sizeof(id), "id %s", c[TEXT_ID].text);
        if (load_once(l, s, id) < 0)
            return KW_ESYNTAX;
    }
    kw_grow(&l->texts, &l->texts_cap, l->n_texts + 1, sizeof(*l->texts));
    l->texts[l->n_texts] = (struct load_text){
        .at_s = c[TEXT_AT].at_s,
        .order = l->n_texts,
        .from = kw_strdup(c[TEXT_FROM].text),
        .text = kw_strndup(c[TEXT_TEXT].text, c[TEXT_TEXT].len),
        .len = c[TEXT_TEXT].len,
        .ref = c[TEXT_ID].given ? kw_strdup(c[TEXT_ID].text) : make_ref(l, s),
        .sheet = s,
        .line = s->csv.line,
    };
    l->n_texts++;
    return 0;
}

static int by_time(const void *a, const void *b)
{
    const struct load_text *x = a, *y = b;

    if (x->at_s != y->at_s)
        return x->at_s < y->at_s ? -1 : 1;
    return x->order < y->order ? -1 : 1;
}

static int file_one(struct load *l, struct desk *d, const struct load_text *t)
{
    struct desk_text in = {.carrier = CARRIER,
                           .ref = t->ref,
                           .from = t->from,
                           .text = t->text,
                           .len = t->len,
                           .at_s = t->at_s,
                           .quiet = true};
    struct desk_answer out = {0};
    int err = desk_take(d, l->lg, &in, &out);

    l->scan |= err == 0 && out.scan;
    if (err == 0)
        load_count(l, t->sheet, t->line, out.repeat ? LEDGER_SAME : LEDGER_NEW,
                   t->from);
    return err;
}

int load_texts_file(struct load *l)
{
    struct desk *d;
    int err;

    if (l->n_texts == 0)
        return 0;
    err = desk_open(l->conf, &l->faults, &d);
    if (err < 0)
        return KW_ESYNTAX;
    qsort(l->texts, l->n_texts, sizeof(*l->texts), by_time);
    for (size_t i = 0; i < l->n_texts && err == 0; i++) {
        err = file_one(l, d, &l->texts[i]);
        load_progress(l, "texts filed", (int64_t)i + 1);
    }
    desk_close(d);
    return err;
}

void load_texts_release(struct load *l)
{
    for (size_t i = 0; i < l->n_texts; i++) {
        kw_free(l->texts[i].from);
        kw_free(l->texts[i].text);
        kw_free(l->texts[i].ref);
    }
    kw_free(l->texts);
}
