#include "base/kw.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    int err;
    const char *text;
} err_texts[] = {
    {KW_OK, "done"},
    {KW_EINVAL, "not acceptable"},
    {KW_ERANGE, "out of range"},
    {KW_EDUP, "already there"},
    {KW_ENOENT, "no such thing"},
    {KW_EIO, "input or output failed"},
    {KW_ELEDGER, "the ledger refused"},
    {KW_EFULL, "a limit is reached"},
    {KW_EVERSION, "made by a newer version"},
    {KW_ESYNTAX, "not well written"},
    {KW_EAGAIN, "not now"},
};

const char *kw_err_text(int err)
{
    for (size_t i = 0; i < KW_COUNT(err_texts); i++) {
        if (err_texts[i].err == err)
            return err_texts[i].text;
    }
    return "unknown error";
}

static void *or_die(void *p, size_t size)
{
    if (p == NULL && size > 0) {
        fprintf(stderr, "kilnword: out of memory asking for %zu octets\n",
                size);
        abort();
    }
    return p;
}

void *kw_malloc(size_t size)
{
    size = size ? size : 1;
    return or_die(malloc(size), size);
}

void *kw_calloc(size_t n, size_t size)
{
    n = n ? n : 1;
    size = size ? size : 1;
    return or_die(calloc(n, size), size);
}

void *kw_realloc_array(void *old, size_t n, size_t size)
{
    size_t total;

    if (__builtin_mul_overflow(n, size, &total))
        or_die(NULL, SIZE_MAX);
    total = total ? total : 1;
    return or_die(realloc(old, total), total);
}

char *kw_strndup(const char *s, size_t len)
{
    char *copy = kw_malloc(len + 1);

    memcpy(copy, s, len);
    copy[len] = '\0';
    return copy;
}

char *kw_strdup(const char *s)
{
    return kw_strndup(s, strlen(s));
}

void kw_free(void *p)
{
    free(p);
}

int kw_copy(char *dst, size_t cap, const char *src, size_t len)
{
    if (cap == 0)
        return KW_EFULL;
    if (len >= cap) {
        dst[0] = '\0';
        return KW_EFULL;
    }
    memcpy(dst, src, len);
    dst[len] = '\0';
    return 0;
}

size_t kw_whole(const char *s, size_t len, size_t most)
{
    if (len <= most)
        return len;
    while (most > 0 && ((unsigned char)s[most] & 0xc0) == 0x80)
        most--;
    return most;
}

void kw_grow(void *items, size_t *cap, size_t need, size_t item_size)
{
    void **p = items;
    size_t n = *cap ? *cap : 8;

    if (need <= *cap)
        return;
    while (n < need) {
        if (__builtin_mul_overflow(n, (size_t)2, &n))
            or_die(NULL, SIZE_MAX);
    }
    *p = kw_realloc_array(*p, n, item_size);
    *cap = n;
}
