#include "carrier/repeats.h"
#include "base/number.h"

#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DIGEST_OCTETS 16
#define LAST_MS       60000 /* before the end of an earlier run */
#define PREFIX        "sm-"

struct entry {
    char ref[REPEATS_REF_CAP];    /* "sm-DIGEST-MS"; "" free */
    int64_t came_ms, answered_ms; /* answered 0: not yet */
    bool doubtful;                /* it may come again */
};

struct repeats {
    struct entry entries[REPEATS_KEPT];
    unsigned next; /* counts all; the place is the remainder */
};

struct repeats *repeats_new(void)
{
    return kw_calloc(1, sizeof(struct repeats));
}

void repeats_free(struct repeats *r)
{
    kw_free(r);
}

static void add(EVP_MD_CTX *ctx, const void *data, size_t len)
{
    uint64_t n = len;

    EVP_DigestUpdate(ctx, &n, sizeof(n));
    EVP_DigestUpdate(ctx, data, len);
}

/* "sm-" and the digest in hexadecimal: what is the same for a repeat. */
static void make_key(const struct repeats_text *t, char key[REPEATS_REF_CAP])
{
    unsigned char digest[EVP_MAX_MD_SIZE] = {0};
    EVP_MD_CTX *ctx = EVP_MD_CTX_new();
    size_t n = strlen(PREFIX);

    if (ctx == NULL || EVP_DigestInit_ex(ctx, EVP_sha256(), NULL) != 1)
        abort(); /* without memory; a restart loses nothing */
    add(ctx, t->from, strlen(t->from));
    add(ctx, t->to, strlen(t->to));
    add(ctx, &t->kind, sizeof(t->kind));
    add(ctx, t->octets != NULL ? t->octets : "", t->len);
    EVP_DigestFinal_ex(ctx, digest, NULL);
    EVP_MD_CTX_free(ctx);
    memcpy(key, PREFIX, n + 1);
    for (size_t i = 0; i < DIGEST_OCTETS; i++)
        snprintf(key + n + 2 * i, 3, "%02x", digest[i]);
}

/* Whether this delivery is the text of that entry once more. */
static bool is_repeat(struct entry *e, int64_t now_ms)
{
    if (e->answered_ms == 0 && !e->doubtful)
        return true;
    if (e->doubtful) {
        e->doubtful = false; /* once; then it is answered again */
        e->came_ms = now_ms;
        e->answered_ms = 0;
        return true;
    }
    return now_ms - e->came_ms < REPEATS_ECHO_MS;
}

unsigned repeats_ref(struct repeats *r, const struct repeats_text *t,
                     int64_t now_ms, char ref[REPEATS_REF_CAP])
{
    char key[REPEATS_REF_CAP];
    size_t n;
    struct entry *e;

    make_key(t, key);
    n = strlen(key);
    for (unsigned back = 1; back <= REPEATS_KEPT && back <= r->next; back++) {
        e = &r->entries[(r->next - back) % REPEATS_KEPT];
        if (strncmp(e->ref, key, n) != 0)
            continue;
        if (is_repeat(e, now_ms)) {
            memcpy(ref, e->ref, sizeof(e->ref));
            return r->next - back;
        }
        break; /* only the latest can come again */
    }
    e = &r->entries[r->next % REPEATS_KEPT];
    *e = (struct entry){.came_ms = now_ms};
    snprintf(e->ref, sizeof(e->ref), "%.40s-%lld", key, (long long)now_ms);
    memcpy(ref, e->ref, sizeof(e->ref));
    return r->next++;
}

void repeats_answered(struct repeats *r, unsigned number, int64_t now_ms,
                      bool sent)
{
    struct entry *e = &r->entries[number % REPEATS_KEPT];

    if (r->next - number > REPEATS_KEPT)
        return;
    e->answered_ms = now_ms;
    e->doubtful = !sent || now_ms - e->came_ms > REPEATS_LATE_MS;
}

void repeats_lost(struct repeats *r, int64_t now_ms)
{
    for (unsigned i = 0; i < REPEATS_KEPT; i++) {
        struct entry *e = &r->entries[i];

        if (e->answered_ms != 0 && now_ms - e->answered_ms < REPEATS_SURE_MS)
            e->doubtful = true;
    }
}

void repeats_remember(struct repeats *r, const char *ref)
{
    struct entry *e = &r->entries[r->next % REPEATS_KEPT];
    const char *ms = strrchr(ref, '-');
    int64_t came;

    if (strncmp(ref, PREFIX, strlen(PREFIX)) != 0 ||
        strlen(ref) >= REPEATS_REF_CAP || ms == NULL ||
        kw_parse_i64(ms + 1, strlen(ms + 1), 0, INT64_MAX, &came) < 0)
        return;
    *e = (struct entry){.came_ms = came, .answered_ms = came};
    memcpy(e->ref, ref, strlen(ref) + 1);
    r->next++;
}

void repeats_remembered(struct repeats *r)
{
    int64_t newest = 0;

    for (unsigned i = 0; i < REPEATS_KEPT; i++) {
        if (r->entries[i].came_ms > newest)
            newest = r->entries[i].came_ms;
    }
    for (unsigned i = 0; i < REPEATS_KEPT; i++) {
        struct entry *e = &r->entries[i];

        e->doubtful = e->ref[0] != '\0' && newest - e->came_ms <= LAST_MS;
    }
}
