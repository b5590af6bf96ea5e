#include "base/buf.h"

#include <stdio.h>
#include <string.h>

void kw_buf_init(struct kw_buf *b, size_t cap)
{
    *b = (struct kw_buf){.cap = cap};
}

void kw_buf_release(struct kw_buf *b)
{
    kw_free(b->data);
    *b = (struct kw_buf){0};
}

void kw_buf_clear(struct kw_buf *b)
{
    b->len = 0;
    b->err = 0;
    if (b->data != NULL)
        b->data[0] = '\0';
}

/* Makes room for len more octets and a NUL; false once an error stands. */
static bool make_room(struct kw_buf *b, size_t len)
{
    if (b->err != 0)
        return false;
    if (len > b->cap || b->len > b->cap - len) {
        b->err = KW_EFULL;
        return false;
    }
    kw_grow(&b->data, &b->room, b->len + len + 1, 1);
    return true;
}

void kw_buf_put(struct kw_buf *b, const char *data, size_t len)
{
    if (!make_room(b, len))
        return;
    if (len > 0)
        memcpy(b->data + b->len, data, len);
    b->len += len;
    b->data[b->len] = '\0';
}

void kw_buf_puts(struct kw_buf *b, const char *s)
{
    kw_buf_put(b, s, strlen(s));
}

void kw_buf_putc(struct kw_buf *b, char c)
{
    kw_buf_put(b, &c, 1);
}

void kw_buf_vprintf(struct kw_buf *b, const char *fmt, va_list ap)
{
    va_list again;
    int n;

    va_copy(again, ap);
    n = vsnprintf(NULL, 0, fmt, again);
    va_end(again);
    if (n < 0) {
        b->err = KW_EFULL;
        return;
    }
    if (!make_room(b, (size_t)n))
        return;
    vsnprintf(b->data + b->len, (size_t)n + 1, fmt, ap);
    b->len += (size_t)n;
}

void kw_buf_printf(struct kw_buf *b, const char *fmt, ...)
{
    va_list ap;

    va_start(ap, fmt);
    kw_buf_vprintf(b, fmt, ap);
    va_end(ap);
}

const char *kw_buf_text(const struct kw_buf *b)
{
    return b->data != NULL ? b->data : "";
}

char *kw_buf_take(struct kw_buf *b)
{
    char *text = b->data != NULL ? b->data : kw_strdup("");

    b->data = NULL;
    b->room = 0;
    b->len = 0;
    return text;
}
