/*
 * fuzz_screen.c - what households wrote, put on a terminal. The first octet
 * chooses the width and whether ASCII alone is meant.
 */
#include "page/screen.h"
#include "page/table.h"

#include <assert.h>
#include <string.h>
#include <utf8proc.h>

#define MOST 2048 /* octets; a table's cell holds no more */

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Whole UTF-8 without control characters; in plain nothing but ASCII. */
static void check_clean(const char *text, size_t len, bool plain)
{
    for (size_t at = 0; at < len;) {
        utf8proc_int32_t code;
        utf8proc_ssize_t n =
            utf8proc_iterate((const utf8proc_uint8_t *)text + at,
                             (utf8proc_ssize_t)(len - at), &code);

        assert(n > 0);
        assert(utf8proc_category(code) != UTF8PROC_CATEGORY_CC);
        assert(!plain || code < 0x7f);
        at += (size_t)n;
    }
}

/* Pieces come to an end, none is empty, and together they are all of it. */
static void check_fit(const char *text, size_t len, int width)
{
    size_t at = 0, pieces = 0;

    while (at < len) {
        size_t n = screen_fit(text + at, len - at, width);

        assert(n > 0 || text[at] == ' ');
        at += n > 0 ? n : 1;
        assert(++pieces <= len);
    }
    assert(at == len);
}

static void check_lines(const char *text, int width)
{
    while (*text != '\0') {
        size_t len = strcspn(text, "\n");

        assert(text[len] == '\n');
        assert(screen_columns(text, len) <= width);
        text += len + 1;
    }
}

static void put_table(const struct screen *s, const char *text)
{
    static const struct table_column columns[] = {
        {"a", false, 6}, {"b", true, 0}, {"c", false, 4}};
    struct table t;

    table_init(&t, s, columns, KW_COUNT(columns));
    table_cell(&t, "%s", text);
    table_cell(&t, "%d", 7);
    table_cell(&t, "%s", text);
    table_put(&t, s, 2);
    table_release(&t);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct screen s;
    struct kw_buf clean, out;
    char *text;

    if (size == 0)
        return 0;
    size = size > MOST ? MOST : size;
    s = (struct screen){.out = &out,
                        .width = SCREEN_LEAST + data[0] % 60,
                        .plain = (data[0] & 0x80) != 0};
    kw_buf_init(&clean, 8 * size + 8);
    kw_buf_init(&out, 1 << 24);
    screen_clean((const char *)data + 1, size - 1, s.plain, &clean);
    assert(clean.err == 0);
    check_clean(kw_buf_text(&clean), clean.len, s.plain);
    check_fit(kw_buf_text(&clean), clean.len, 1 + data[0] % 20);
    text = kw_strndup((const char *)data + 1, size - 1);
    screen_text(&s, 2, "%s", text);
    screen_field(&s, "label", "%s", text);
    put_table(&s, text);
    assert(out.err == 0);
    check_lines(kw_buf_text(&out), s.width);
    kw_free(text);
    kw_buf_release(&clean);
    kw_buf_release(&out);
    return 0;
}
