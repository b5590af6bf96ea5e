#ifndef KW_BUF_H
#define KW_BUF_H
/*
 * buf.h - text that grows up to a cap set at the start. An error sticks:
 * later calls do nothing, and one check at the end tells.
 */
#include "base/kw.h"
#include <stdarg.h>

struct kw_buf {
    char *data;  /* always NUL-terminated once something was put */
    size_t len;  /* octets without the NUL */
    size_t room; /* allocated */
    size_t cap;  /* len never exceeds it */
    int err;     /* 0 or KW_EFULL; sticks */
};

/* cap: the most octets it may hold. The storage is released by the caller. */
void kw_buf_init(struct kw_buf *b, size_t cap);
void kw_buf_release(struct kw_buf *b); /* safe on a zeroed struct */
void kw_buf_clear(struct kw_buf *b);   /* empties, forgets the error */

void kw_buf_put(struct kw_buf *b, const char *data, size_t len);
void kw_buf_puts(struct kw_buf *b, const char *s);
void kw_buf_putc(struct kw_buf *b, char c);
void kw_buf_printf(struct kw_buf *b, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
void kw_buf_vprintf(struct kw_buf *b, const char *fmt, va_list ap)
    __attribute__((format(printf, 2, 0)));

/* The text so far, "" when nothing was put; borrowed until the next put. */
const char *kw_buf_text(const struct kw_buf *b);
/* The text, owned by the caller (kw_free); the buffer is empty afterwards. */
char *kw_buf_take(struct kw_buf *b);
#endif
