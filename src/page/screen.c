/* screen.c - widths, wrapping and cleaning of text for a terminal. */
#include "page/screen.h"

#include <stdio.h>
#include <string.h>
#include <utf8proc.h>

#define LINE_CAP 65536 /* octets of one paragraph; a text is far shorter */

/* Signs of our own pages, spelt for a terminal without UTF-8. */
static const struct {
    int32_t code;
    const char *ascii;
} spelt[] = {
    {0x2026, ".."}, {0x00b0, "deg"}, {0x2013, "-"},  {0x2014, "-"},
    {0x00d7, "x"},  {0x2265, ">="},  {0x2264, "<="}, {0x00b1, "+-"},
    {0x00b5, "u"},  {0x00b7, "."},   {0x2192, "->"}, {0x2500, "-"},
    {0x2550, "="},  {0x2502, "|"},   {0x2018, "'"},  {0x2019, "'"},
    {0x201c, "\""}, {0x201d, "\""},  {0xfffd, "?"},
};

/* The next code point; -1 for broken UTF-8 (one octet is passed over). */
static int32_t next_code(const char *s, size_t len, size_t *at)
{
    utf8proc_int32_t code;
    utf8proc_ssize_t n = utf8proc_iterate((const utf8proc_uint8_t *)s + *at,
                                          (utf8proc_ssize_t)(len - *at), &code);

    if (n <= 0) {
        *at += 1;
        return -1;
    }
    *at += (size_t)n;
    return code;
}

static bool is_mark(int32_t code)
{
    utf8proc_category_t c = utf8proc_category(code);

    return c == UTF8PROC_CATEGORY_MN || c == UTF8PROC_CATEGORY_MC ||
           c == UTF8PROC_CATEGORY_ME;
}

/* What a terminal may be given of it: itself, a space, or U+FFFD. */
static int32_t tame(int32_t code)
{
    if (code == '\n' || code == '\r' || code == '\t' || code == 0x2028 ||
        code == 0x2029)
        return ' ';
    if (code == 0x200c || code == 0x200d) /* Indic scripts need joiners */
        return code;
    if (code < 0)
        return 0xfffd;
    switch (utf8proc_category(code)) {
    case UTF8PROC_CATEGORY_CC:
    case UTF8PROC_CATEGORY_CF:
    case UTF8PROC_CATEGORY_CS:
    case UTF8PROC_CATEGORY_CO:
    case UTF8PROC_CATEGORY_CN:
        return 0xfffd;
    default:
        return code;
    }
}

static void put_ascii(int32_t code, struct kw_buf *out)
{
    utf8proc_int32_t parts[32];
    int last = UTF8PROC_BOUNDCLASS_START;
    utf8proc_ssize_t n;
    bool any = false;

    for (size_t i = 0; i < KW_COUNT(spelt); i++) {
        if (spelt[i].code == code) {
            kw_buf_puts(out, spelt[i].ascii);
            return;
        }
    }
    n = utf8proc_decompose_char(code, parts, KW_COUNT(parts),
                                UTF8PROC_DECOMPOSE | UTF8PROC_COMPAT, &last);
    for (utf8proc_ssize_t i = 0; i < n && i < (int)KW_COUNT(parts); i++) {
        if (parts[i] >= ' ' && parts[i] < 0x7f) {
            kw_buf_putc(out, (char)parts[i]);
            any = true;
        }
    }
    if (!any && !is_mark(code) && code != 0x200c && code != 0x200d)
        kw_buf_putc(out, '?');
}

void screen_clean(const char *s, size_t len, bool plain, struct kw_buf *out)
{
    size_t at = 0;

    while (at < len) {
        int32_t code = tame(next_code(s, len, &at));
        utf8proc_uint8_t octets[4];

        if (code < 0x80)
            kw_buf_putc(out, (char)code);
        else if (plain)
            put_ascii(code, out);
        else
            kw_buf_put(out, (const char *)octets,
                       (size_t)utf8proc_encode_char(code, octets));
    }
}

int screen_columns(const char *s, size_t len)
{
    size_t at = 0;
    int columns = 0;

    while (at < len) {
        int32_t code = next_code(s, len, &at);

        columns += code < 0 ? 1 : utf8proc_charwidth(code);
    }
    return columns;
}

size_t screen_fit(const char *s, size_t len, int columns)
{
    size_t at = 0, grapheme = 0, space = 0;
    int taken = 0, state = 0;
    int32_t before = -1;

    while (at < len) {
        size_t start = at;
        int32_t code = next_code(s, len, &at);

        if (before >= 0 && code >= 0 &&
            utf8proc_grapheme_break_stateful(before, code, &state))
            grapheme = start;
        if (code == ' ' && taken <= columns)
            space = start;
        taken += code < 0 ? 1 : utf8proc_charwidth(code);
        if (taken > columns && code != ' ' && grapheme > 0)
            return space > 0 ? space : grapheme;
        before = code;
    }
    return len;
}

static void put_repeat(struct kw_buf *out, const char *what, int n)
{
    for (int i = 0; i < n; i++)
        kw_buf_puts(out, what);
}

/* Wraps cleaned text; the first line stands behind what was put already. */
static void put_wrapped(const struct screen *s, int indent, const char *text,
                        size_t len)
{
    int room = s->width - indent;

    for (bool first = true; len > 0 || first; first = false) {
        size_t n = screen_fit(text, len, room < 1 ? 1 : room);
        size_t shown = n;

        while (shown > 0 && text[shown - 1] == ' ')
            shown--;
        if (!first)
            put_repeat(s->out, " ", indent);
        kw_buf_put(s->out, text, shown);
        kw_buf_putc(s->out, '\n');
        while (n < len && text[n] == ' ')
            n++;
        text += n;
        len -= n;
    }
}

/* The formatted text, cleaned; released by the caller. */
static void compose(const struct screen *s, struct kw_buf *clean,
                    const char *fmt, va_list ap)
{
    struct kw_buf raw;

    kw_buf_init(&raw, LINE_CAP);
    kw_buf_init(clean, LINE_CAP * 4);
    kw_buf_vprintf(&raw, fmt, ap);
    screen_clean(kw_buf_text(&raw), raw.len, s->plain, clean);
    kw_buf_release(&raw);
}

void screen_title(const struct screen *s, const char *fmt, ...)
{
    struct kw_buf text;
    va_list ap;
    int columns;

    va_start(ap, fmt);
    compose(s, &text, fmt, ap);
    va_end(ap);
    columns = screen_columns(kw_buf_text(&text), text.len);
    put_wrapped(s, 0, kw_buf_text(&text), text.len);
    put_repeat(s->out, s->plain ? "=" : "═",
               columns < s->width ? columns : s->width);
    kw_buf_putc(s->out, '\n');
    kw_buf_release(&text);
}

void screen_section(const struct screen *s, const char *name,
                    const char *meaning)
{
    kw_buf_putc(s->out, '\n');
    screen_text(s, 0, "%s", name);
    if (meaning != NULL)
        screen_text(s, 2, "%s", meaning);
}

void screen_text(const struct screen *s, int indent, const char *fmt, ...)
{
    struct kw_buf text;
    va_list ap;

    va_start(ap, fmt);
    compose(s, &text, fmt, ap);
    va_end(ap);
    put_repeat(s->out, " ", indent);
    put_wrapped(s, indent, kw_buf_text(&text), text.len);
    kw_buf_release(&text);
}

void screen_item(const struct screen *s, int indent, const char *fmt, ...)
{
    struct kw_buf text;
    va_list ap;

    va_start(ap, fmt);
    compose(s, &text, fmt, ap);
    va_end(ap);
    put_repeat(s->out, " ", indent);
    kw_buf_puts(s->out, "- ");
    put_wrapped(s, indent + 2, kw_buf_text(&text), text.len);
    kw_buf_release(&text);
}

void screen_field(const struct screen *s, const char *label, const char *fmt,
                  ...)
{
    struct kw_buf text;
    va_list ap;
    int gap = SCREEN_LABEL - screen_columns(label, strlen(label));

    va_start(ap, fmt);
    compose(s, &text, fmt, ap);
    va_end(ap);
    put_repeat(s->out, " ", 2);
    screen_clean(label, strlen(label), s->plain, s->out);
    put_repeat(s->out, " ", gap > 1 ? gap : 1);
    put_wrapped(s, 2 + SCREEN_LABEL, kw_buf_text(&text), text.len);
    kw_buf_release(&text);
}

void screen_phone(const char *number, bool whole, char *dst, size_t cap)
{
    size_t len = strlen(number);

    if (whole)
        snprintf(dst, cap, "%s", number);
    else if (len >= 11 && number[0] == '+')
        snprintf(dst, cap, "%.4s…%s", number, number + len - 4);
    else if (len == 0)
        snprintf(dst, cap, "-");
    else
        snprintf(dst, cap, "…%s", number + len - (len < 4 ? 1 : 2));
}
