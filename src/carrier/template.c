#include "carrier/template.h"

#include <ctype.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>
#include <utf8proc.h>

static const char *const words[] = {"to", "to_digits", "text", "id", "from"};

/* Length of the {word} at s, 0 when there is none; *index its number or -1. */
static size_t word_at(const char *s, int *index)
{
    size_t len;

    if (s[0] != '{')
        return 0;
    len = strspn(s + 1, "abcdefghijklmnopqrstuvwxyz_");
    if (len == 0 || s[1 + len] != '}')
        return 0;
    *index = -1;
    for (size_t i = 0; i < KW_COUNT(words); i++) {
        if (strlen(words[i]) == len && memcmp(words[i], s + 1, len) == 0)
            *index = (int)i;
    }
    return len + 2;
}

enum template_place template_place_of(const char *type)
{
    size_t len;

    if (type == NULL)
        return TEMPLATE_FORM;
    type += strspn(type, " \t");
    len = strcspn(type, "; \t");
    if (len == 33 &&
        strncasecmp(type, "application/x-www-form-urlencoded", len) == 0)
        return TEMPLATE_FORM;
    if (len >= 5 && (strncasecmp(type + len - 5, "/json", 5) == 0 ||
                     strncasecmp(type + len - 5, "+json", 5) == 0))
        return TEMPLATE_JSON;
    if (len >= 4 && (strncasecmp(type + len - 4, "/xml", 4) == 0 ||
                     strncasecmp(type + len - 4, "+xml", 4) == 0))
        return TEMPLATE_XML;
    return TEMPLATE_PLAIN;
}

int template_check(const char *t, char *bad, size_t cap)
{
    while (*t != '\0') {
        int index;
        size_t len = word_at(t, &index);

        if (len > 0 && index < 0) {
            snprintf(bad, cap, "%.*s", (int)len, t);
            return KW_EINVAL;
        }
        t += len > 0 ? len : 1;
    }
    return 0;
}

bool template_uses(const char *t, const char *word)
{
    for (; t != NULL && *t != '\0'; t++) {
        int index;

        if (word_at(t, &index) > 0 && index >= 0 &&
            strcmp(words[index], word) == 0)
            return true;
    }
    return false;
}

static void escape_percent(const char *s, size_t n, struct kw_buf *out)
{
    for (size_t i = 0; i < n; i++) {
        unsigned char c = (unsigned char)s[i];

        if (c < 128 && (isalnum(c) || strchr("-._~", c) != NULL) && c != 0)
            kw_buf_putc(out, (char)c);
        else
            kw_buf_printf(out, "%%%02X", c);
    }
}

static void escape_json(const char *s, size_t n, struct kw_buf *out)
{
    for (size_t i = 0; i < n;) {
        utf8proc_int32_t cp;
        utf8proc_ssize_t len = utf8proc_iterate((const utf8proc_uint8_t *)s + i,
                                                (utf8proc_ssize_t)(n - i), &cp);

        if (len <= 0) {
            kw_buf_puts(out, "\\ufffd");
            i++;
            continue;
        }
        if (cp == '"' || cp == '\\')
            kw_buf_printf(out, "\\%c", (char)cp);
        else if (cp < 0x20 || cp == 0x7f)
            kw_buf_printf(out, "\\u%04x", (unsigned)cp);
        else
            kw_buf_put(out, s + i, (size_t)len);
        i += (size_t)len;
    }
}

static void escape_xml(const char *s, size_t n, struct kw_buf *out)
{
    for (size_t i = 0; i < n; i++) {
        unsigned char c = (unsigned char)s[i];

        if (strchr("&<>\"'", c) != NULL && c != 0)
            kw_buf_printf(out, "&#%u;", c);
        else if (c >= 0x20 || c == '\n' || c == '\t')
            kw_buf_putc(out, (char)c); /* XML 1.0 has no other controls */
    }
}

void template_escape(enum template_place place, const char *s, size_t n,
                     struct kw_buf *out)
{
    switch (place) {
    case TEMPLATE_ADDRESS:
    case TEMPLATE_FORM:
        escape_percent(s, n, out);
        break;
    case TEMPLATE_JSON:
        escape_json(s, n, out);
        break;
    case TEMPLATE_XML:
        escape_xml(s, n, out);
        break;
    case TEMPLATE_HEADER:
        for (size_t i = 0; i < n; i++) {
            if ((unsigned char)s[i] >= 0x20 && s[i] != 0x7f)
                kw_buf_putc(out, s[i]);
        }
        break;
    case TEMPLATE_PLAIN:
        kw_buf_put(out, s, n);
        break;
    }
}

static void put_word(int index, enum template_place place,
                     const struct template_slots *s, struct kw_buf *out)
{
    char id[24];
    const char *value = "";

    snprintf(id, sizeof(id), "%lld", (long long)s->id);
    switch (index) {
    case 0:
        value = s->to;
        break;
    case 1:
        value = s->to[0] == '+' ? s->to + 1 : s->to;
        break;
    case 2:
        value = s->text;
        break;
    case 3:
        value = id;
        break;
    case 4:
        value = s->from != NULL ? s->from : "";
        break;
    }
    template_escape(place, value, strlen(value), out);
}

void template_expand(const char *t, enum template_place place,
                     const struct template_slots *s, struct kw_buf *out)
{
    while (*t != '\0') {
        int index;
        size_t len = word_at(t, &index);

        if (len > 0 && index >= 0) {
            put_word(index, place, s, out);
            t += len;
        } else {
            kw_buf_putc(out, *t++);
        }
    }
}
