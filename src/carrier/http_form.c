#include "carrier/http_form.h"

#include "base/clock.h"
#include "base/number.h"

#include <jansson.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

static int wrong(struct http_form *f, const char *what)
{
    snprintf(f->wrong, sizeof(f->wrong), "%s", what);
    return KW_EINVAL;
}

static int hex_digit(unsigned char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    c |= 0x20;
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

/* Decodes s into dst, which has room for len octets; returns how many. */
static size_t decode(const char *s, size_t len, char *dst)
{
    size_t n = 0;

    for (size_t i = 0; i < len; i++) {
        int high, low;

        if (s[i] == '%' && len - i > 2 &&
            (high = hex_digit((unsigned char)s[i + 1])) >= 0 &&
            (low = hex_digit((unsigned char)s[i + 2])) >= 0) {
            dst[n++] = (char)(high << 4 | low);
            i += 2;
        } else {
            dst[n++] = s[i] == '+' ? ' ' : s[i];
        }
    }
    return n;
}

static int parse_pair(struct http_form *f, const char *s, size_t len,
                      char *store)
{
    const char *equals = memchr(s, '=', len);
    size_t name_len = equals != NULL ? (size_t)(equals - s) : len;
    struct http_form_pair *p;

    if (len == 0)
        return 0;
    if (f->n == HTTP_FORM_FIELDS_MOST)
        return wrong(f, "more than 64 fields");
    p = &f->pairs[f->n++];
    p->name = store;
    p->name_len = decode(s, name_len, store);
    p->value = store + p->name_len;
    p->len = 0;
    if (equals != NULL)
        p->len = decode(equals + 1, len - name_len - 1, store + p->name_len);
    return 0;
}

static int parse_urlencoded(struct http_form *f, const char *body, size_t len)
{
    size_t at = 0;

    f->store = kw_malloc(len + 1);
    while (at < len) {
        const char *end = memchr(body + at, '&', len - at);
        size_t n = end != NULL ? (size_t)(end - body) - at : len - at;
        int err = parse_pair(f, body + at, n, f->store + at);

        if (err < 0)
            return err;
        at += n + 1;
    }
    return 0;
}

static int parse_json(struct http_form *f, const char *body, size_t len)
{
    json_error_t e;
    json_t *root =
        json_loadb(body, len, JSON_REJECT_DUPLICATES | JSON_ALLOW_NUL, &e);

    if (root == NULL) {
        /* Position only: the library's words can hold some of the text. */
        snprintf(f->wrong, sizeof(f->wrong),
                 "the body is not JSON from line %d, column %d on", e.line,
                 e.column);
        return KW_EINVAL;
    }
    f->json = root;
    if (!json_is_object(root))
        return wrong(f, "the body is JSON, but no object {…} with fields");
    return 0;
}

int http_form_parse(struct http_form *f, enum http_form_kind kind,
                    const char *body, size_t len)
{
    *f = (struct http_form){0};
    if (kind == HTTP_FORM_JSON)
        return parse_json(f, body, len);
    return parse_urlencoded(f, body, len);
}

void http_form_release(struct http_form *f)
{
    kw_free(f->store);
    json_decref(f->json);
    *f = (struct http_form){0};
}

/* The member or element of that name; NULL when there is none. */
static const json_t *json_step(const json_t *at, const char *name, size_t len)
{
    int64_t i;

    if (json_is_object(at))
        return json_object_getn(at, name, len);
    if (json_is_array(at) && kw_parse_i64(name, len, 0, INT32_MAX, &i) == 0)
        return json_array_get(at, (size_t)i);
    return NULL;
}

static const json_t *json_find(const json_t *root, const char *name)
{
    const json_t *at = json_object_get(root, name);

    if (at != NULL)
        return at;
    for (at = root; at != NULL;) {
        size_t len = strcspn(name, ".");

        at = json_step(at, name, len);
        if (name[len] == '\0')
            break;
        name += len + 1;
    }
    return at;
}

static int get_json(const struct http_form *f, const char *name,
                    struct http_form_value *out)
{
    const json_t *v = json_find(f->json, name);

    if (v == NULL || json_is_null(v))
        return KW_ENOENT;
    if (json_is_string(v)) {
        out->data = json_string_value(v);
        out->len = json_string_length(v);
        return 0;
    }
    if (!json_is_integer(v))
        return KW_EINVAL;
    out->len = (size_t)snprintf(out->scratch, sizeof(out->scratch),
                                "%" JSON_INTEGER_FORMAT, json_integer_value(v));
    out->data = out->scratch;
    return 0;
}

int http_form_get(const struct http_form *f, const char *name,
                  struct http_form_value *out)
{
    size_t len = strlen(name);
    const struct http_form_pair *found = NULL;

    if (f->json != NULL)
        return get_json(f, name, out);
    for (size_t i = 0; i < f->n; i++) {
        const struct http_form_pair *p = &f->pairs[i];

        if (p->name_len != len || memcmp(p->name, name, len) != 0)
            continue;
        if (found != NULL && (found->len != p->len ||
                              memcmp(found->value, p->value, p->len) != 0))
            return KW_EDUP;
        found = p;
    }
    if (found == NULL)
        return KW_ENOENT;
    out->data = found->value;
    out->len = found->len;
    return 0;
}

/* Whether the media type ends in a suffix such as "+json". */
static bool has_suffix(const char *type, size_t len, const char *suffix)
{
    size_t n = strlen(suffix);

    return len > n && strncasecmp(type + len - n, suffix, n) == 0;
}

static bool is_type(const char *type, size_t len, const char *name)
{
    return len == strlen(name) && strncasecmp(type, name, len) == 0;
}

enum http_form_type http_form_type_of(const char *type)
{
    size_t len;

    if (type == NULL)
        return HTTP_TYPE_NONE;
    type += strspn(type, " \t");
    len = strcspn(type, "; \t");
    if (len == 0)
        return HTTP_TYPE_NONE;
    if (is_type(type, len, "application/x-www-form-urlencoded"))
        return HTTP_TYPE_FORM;
    if (is_type(type, len, "application/json") ||
        is_type(type, len, "text/json") || has_suffix(type, len, "+json"))
        return HTTP_TYPE_JSON;
    return HTTP_TYPE_OTHER;
}

/* The weight of one element of an Accept header, in thousandths. */
static int weight(const char *params, size_t len)
{
    for (size_t i = 0; i + 2 < len; i++) {
        double q;
        size_t n = 0;

        if (params[i] != ';')
            continue;
        for (i++; i + 2 < len && (params[i] == ' ' || params[i] == '\t');)
            i++;
        if ((params[i] | 0x20) != 'q' || params[i + 1] != '=')
            continue;
        while (i + 2 + n < len && strchr("0123456789.", params[i + 2 + n]))
            n++;
        if (kw_parse_double(params + i + 2, n, 0, 1, &q) == 0)
            return (int)(q * 1000 + 0.5);
    }
    return 1000;
}

/*
 * RFC 9110, 12.5.1, for two types only: the weight of the most specific
 * range that covers each; on a tie JSON.
 */
bool http_accept_plain(const char *accept)
{
    int plain[3] = {-1, -1, -1}, json[3] = {-1, -1, -1};
    int p = 0, j = 0;

    if (accept == NULL)
        return false;
    while (*accept != '\0') {
        size_t len = strcspn(accept, ",");
        size_t lead = strspn(accept, " \t");
        const char *type = accept + lead;
        size_t n = lead < len ? len - lead : 0;
        size_t name = strcspn(type, "; \t,");
        int q = n > 0 ? weight(type, n) : 0;

        if (is_type(type, name, "text/plain"))
            plain[0] = q;
        else if (is_type(type, name, "text/*"))
            plain[1] = q;
        else if (is_type(type, name, "application/json"))
            json[0] = q;
        else if (is_type(type, name, "application/*"))
            json[1] = q;
        else if (is_type(type, name, "*/*"))
            plain[2] = json[2] = q;
        accept += len + (accept[len] == ',');
    }
    for (int i = 2; i >= 0; i--) {
        p = plain[i] >= 0 ? plain[i] : p;
        j = json[i] >= 0 ? json[i] : j;
    }
    return p > j;
}

/* "+02:00", "+0200", "Z" or nothing; false when it is something else. */
static bool zone_offset(const char *s, size_t len, int *offset_s)
{
    int64_t h, m;
    size_t colon = len == 6 && s[3] == ':' ? 1 : 0;

    *offset_s = 0;
    if (len == 1 && (s[0] == 'Z' || s[0] == 'z'))
        return true;
    if (len != 5 + colon || (s[0] != '+' && s[0] != '-' && s[0] != ' '))
        return false;
    if (kw_parse_i64(s + 1, 2, 0, 14, &h) < 0 ||
        kw_parse_i64(s + 3 + colon, 2, 0, 59, &m) < 0)
        return false;
    *offset_s = (int)(h * 3600 + m * 60) * (s[0] == '-' ? -1 : 1);
    return true;
}

int64_t http_form_time(const char *s, size_t len)
{
    char utc[CLOCK_TEXT_CAP];
    int64_t v;
    size_t at = 19;
    int offset_s;

    if (kw_parse_i64(s, len, 1, INT64_MAX, &v) == 0) {
        if (v > 100000000000) /* after the year 5138: milliseconds */
            v /= 1000;
        return v < 100000000000 ? v : 0;
    }
    if (len < 20 || len > 40 || (s[10] != 'T' && s[10] != 't' && s[10] != ' '))
        return 0;
    if (s[at] == '.' || s[at] == ',') {
        for (at++; at < len && s[at] >= '0' && s[at] <= '9';)
            at++;
    }
    if (!zone_offset(s + at, len - at, &offset_s))
        return 0;
    memcpy(utc, s, 19);
    utc[10] = 'T';
    memcpy(utc + 19, "Z", 2);
    if (clock_parse(utc, 20, &v) < 0)
        return 0;
    return v - offset_s;
}
