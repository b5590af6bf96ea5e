/* phrases.c - see phrases.h. */
#include "ledger/phrases.h"

#include "ledger/engine.h"

#include <stdio.h>
#include <string.h>

#define MARK '#' /* stands for a figure */

static bool digit(char c)
{
    return c >= '0' && c <= '9';
}

/* How long the figure at s is: "0214-073-19", "1.2", "7"; 0 none. */
static size_t figure(const char *s)
{
    size_t n = 0;

    while (digit(s[n]) ||
           (n > 0 && s[n] != '\0' && strchr("-.,:/", s[n]) && digit(s[n + 1])))
        n++;
    return n;
}

/* False when a mark stands in the text itself, or it is overlong. */
static bool split(const char *body, char words[LEDGER_BODY_CAP],
                  char figures[LEDGER_BODY_CAP])
{
    size_t w = 0, f = 0;

    if (strlen(body) >= LEDGER_BODY_CAP / 2) /* a mark and a blank for one */
        return false;
    while (*body != '\0') {
        size_t n;

        if (*body == MARK)
            return false;
        if (!digit(*body)) {
            words[w++] = *body++;
            continue;
        }
        n = figure(body);
        words[w++] = MARK;
        if (f > 0)
            figures[f++] = ' ';
        memcpy(figures + f, body, n);
        f += n;
        body += n;
    }
    words[w] = figures[f] = '\0';
    return true;
}

static int find(struct ledger *lg, const char *words, int64_t *id)
{
    struct query q;
    int err;

    query_open(&q, lg, "SELECT id FROM phrases WHERE words = $1");
    query_text(&q, words);
    if ((err = query_one(&q)) < 0)
        return err;
    *id = query_get_i64(&q, 0);
    query_close(&q);
    return 0;
}

/* KW_EFULL when there are as many as may be. */
static int add(struct ledger *lg, const char *words, int64_t *id)
{
    struct query q;
    int err;

    query_open(&q, lg, "SELECT coalesce(max(id), 0) FROM phrases");
    if ((err = query_one(&q)) < 0)
        return err;
    *id = query_get_i64(&q, 0);
    query_close(&q);
    if (*id >= PHRASES_MOST)
        return KW_EFULL;
    query_open(&q, lg, "INSERT INTO phrases (words) VALUES ($1)");
    query_text(&q, words);
    return query_insert(&q, id);
}

int phrase_take(struct ledger *lg, const char *body, struct phrase *out)
{
    char words[LEDGER_BODY_CAP];
    struct kept_phrase *kept;
    int err;

    out->id = 0;
    if (!split(body, words, out->figures)) {
        snprintf(out->figures, sizeof(out->figures), "%s", body);
        return 0;
    }
    kept = kept_phrase(&lg->kept, words);
    if (kept->id != 0 && strcmp(kept->words, words) == 0) {
        out->id = kept->id;
        return 0;
    }
    err = find(lg, words, &out->id);
    if (err == KW_ENOENT)
        err = add(lg, words, &out->id);
    if (err == 0 && engine_in_transaction(lg))
        kept_phrase_put(kept, words, out->id);
    if (err == KW_EFULL) {
        out->id = 0;
        snprintf(out->figures, sizeof(out->figures), "%s", body);
        err = 0;
    }
    return err;
}

void phrase_say(struct query *q, int words_col, int body_col, char *dst,
                size_t cap)
{
    const char *words = query_get_text(q, words_col);
    const char *figures = query_get_text(q, body_col);
    size_t at = 0;

    if (query_is_null(q, body_col) || words[0] == '\0') {
        query_copy(q, body_col, dst, cap);
        return;
    }
    for (; *words != '\0'; words++) {
        size_t n = *words == MARK ? strcspn(figures, " ") : 1;
        const char *from = *words == MARK ? figures : words;

        if (at + n >= cap)
            break;
        memcpy(dst + at, from, n);
        at += n;
        if (*words == MARK)
            figures += n + (figures[n] == ' ');
    }
    dst[at] = '\0';
}
