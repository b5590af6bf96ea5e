#include "carrier/spool_text.h"

#include "carrier/http_form.h"

#include <string.h>
#include <strings.h>

/* One line without its end; *next is where the following one begins. */
static size_t line_length(const char *data, size_t len, size_t *next)
{
    const char *end = memchr(data, '\n', len);
    size_t n = end != NULL ? (size_t)(end - data) : len;

    *next = end != NULL ? n + 1 : n;
    if (n > 0 && data[n - 1] == '\r')
        n--;
    return n;
}

static bool is_name(const char *line, size_t len, const char *name)
{
    return len == strlen(name) && strncasecmp(line, name, len) == 0;
}

static int copy_value(char *dst, const char *value, size_t len,
                      const char **wrong)
{
    if (memchr(value, '\0', len) != NULL ||
        kw_copy(dst, SPOOL_HEADER_CAP, value, len) < 0) {
        *wrong = "a header is longer than 127 octets or has a NUL in it";
        return KW_ESYNTAX;
    }
    return 0;
}

static int take_header(struct spool_text *t, const char *line, size_t len,
                       const char **wrong)
{
    const char *colon = memchr(line, ':', len);
    size_t name_len, at;

    if (colon == NULL) {
        *wrong = "a header line has no colon; write \"From: NUMBER\", then a "
                 "blank line, then the text";
        return KW_ESYNTAX;
    }
    name_len = (size_t)(colon - line);
    for (at = name_len + 1; at < len && (line[at] == ' ' || line[at] == '\t');)
        at++;
    while (len > at && (line[len - 1] == ' ' || line[len - 1] == '\t'))
        len--;
    if (is_name(line, name_len, "From"))
        return copy_value(t->from, line + at, len - at, wrong);
    if (is_name(line, name_len, "To"))
        return copy_value(t->to, line + at, len - at, wrong);
    if (is_name(line, name_len, "Sent")) {
        t->sent_s = http_form_time(line + at, len - at);
        if (t->sent_s == 0) {
            *wrong = "\"Sent\" is no time; write it as 2026-03-01T08:00:00Z";
            return KW_ESYNTAX;
        }
    }
    return 0;
}

int spool_text_parse(const char *data, size_t len, struct spool_text *out,
                     const char **wrong)
{
    size_t at = 0;
    bool blank = false;

    *out = (struct spool_text){0};
    while (at < len && !blank) {
        size_t next;
        size_t n = line_length(data + at, len - at, &next);
        int err;

        blank = n == 0;
        if (!blank && (err = take_header(out, data + at, n, wrong)) < 0)
            return err;
        at += next;
    }
    if (!blank) {
        *wrong = "there is no blank line between the headers and the text";
        return KW_ESYNTAX;
    }
    if (out->from[0] == '\0') {
        *wrong = "there is no \"From: NUMBER\" line";
        return KW_ESYNTAX;
    }
    out->text = data + at;
    out->len = len - at;
    if (out->len > 0 && out->text[out->len - 1] == '\n')
        out->len--;
    if (out->len > 0 && out->text[out->len - 1] == '\r')
        out->len--;
    return 0;
}
