#ifndef KW_KW_H
#define KW_KW_H
/*
 * kw.h - what every room shares: error codes and memory.
 * Functions that can fail return 0 or one of these negative codes.
 */
#include <stddef.h>
#include <stdbool.h>
#include <stdint.h>

enum kw_err {
    KW_OK = 0,
    KW_EINVAL = -1,   /* the caller's or sender's input is not acceptable */
    KW_ERANGE = -2,   /* a number is not finite or out of its range */
    KW_EDUP = -3,     /* already there; nothing was changed */
    KW_ENOENT = -4,   /* no such thing */
    KW_EIO = -5,      /* file, disk or network; see the log or the fault */
    KW_ELEDGER = -6,  /* the ledger refused; see the log */
    KW_EFULL = -7,    /* a stated limit is reached */
    KW_EVERSION = -8, /* written by a newer version of the program */
    KW_ESYNTAX = -9,  /* a file's contents are wrong; see the fault list */
    KW_EAGAIN = -10   /* not now; try again */
};

/* A few words for a code, for logs; static storage. */
const char *kw_err_text(int err);

/*
 * Memory that is never NULL: without memory the program says so and ends,
 * and a restart loses nothing that was acknowledged. Sizes that come from
 * outside must be capped by the caller first. Freed with kw_free (= free).
 */
void *kw_malloc(size_t size);
void *kw_calloc(size_t n, size_t size);
void *kw_realloc_array(void *old, size_t n, size_t size);
char *kw_strdup(const char *s);
char *kw_strndup(const char *s, size_t len);
void kw_free(void *p);

/*
 * Copies len octets of src and a NUL into dst of capacity cap.
 * Returns 0, or KW_EFULL when it does not fit (dst is then "").
 */
int kw_copy(char *dst, size_t cap, const char *src, size_t len);

/* How many of the first most octets of s (len) hold whole characters of UTF-8:
 * a text that is cut short is not cut inside a letter. */
size_t kw_whole(const char *s, size_t len, size_t most);

/* Grows *items to hold at least need of item_size octets each. */
void kw_grow(void *items, size_t *cap, size_t need, size_t item_size);

#define KW_COUNT(a) (sizeof(a) / sizeof((a)[0]))
#endif
