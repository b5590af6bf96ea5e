#include "carrier/utf8.h"

#include <utf8proc.h>

uint32_t utf8_next(const char *text, size_t len, size_t *at)
{
    utf8proc_int32_t cp;
    utf8proc_ssize_t n;

    if ((unsigned char)text[*at] < 0x80)
        return (unsigned char)text[(*at)++];
    n = utf8proc_iterate((const utf8proc_uint8_t *)text + *at,
                         (utf8proc_ssize_t)(len - *at), &cp);

    if (n <= 0) {
        (*at)++;
        return 0xfffd;
    }
    *at += (size_t)n;
    return (uint32_t)cp;
}

void utf8_put(struct kw_buf *out, uint32_t code_point)
{
    utf8proc_uint8_t dst[4];
    utf8proc_ssize_t n =
        utf8proc_encode_char((utf8proc_int32_t)code_point, dst);

    if (n > 0)
        kw_buf_put(out, (const char *)dst, (size_t)n);
}

bool utf8_joins(uint32_t code_point)
{
    if (code_point < 0x300) /* the first combining mark */
        return false;
    switch (utf8proc_category((utf8proc_int32_t)code_point)) {
    case UTF8PROC_CATEGORY_MN:
    case UTF8PROC_CATEGORY_MC:
    case UTF8PROC_CATEGORY_ME:
        return true;
    default:
        return code_point == 0x200d; /* zero width joiner */
    }
}
