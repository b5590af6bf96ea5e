/* svg.c - see svg.h. */
#include "page/svg.h"

#include "page/screen.h"

#include <string.h>

static void escape(struct kw_buf *out, const char *s, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if (s[i] == '&')
            kw_buf_puts(out, "&amp;");
        else if (s[i] == '<')
            kw_buf_puts(out, "&lt;");
        else if (s[i] == '>')
            kw_buf_puts(out, "&gt;");
        else
            kw_buf_putc(out, s[i]);
    }
}

void svg_words(struct kw_buf *out, const char *s, int columns)
{
    struct kw_buf clean;
    size_t len;

    kw_buf_init(&clean, 4096);
    screen_clean(s, strlen(s), false, &clean);
    len = clean.len;
    if (columns > 0 && screen_columns(kw_buf_text(&clean), len) > columns)
        len = screen_fit(kw_buf_text(&clean), len, columns - 1);
    escape(out, kw_buf_text(&clean), len);
    if (len < clean.len)
        kw_buf_puts(out, "…");
    kw_buf_release(&clean);
}
