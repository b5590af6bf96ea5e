#ifndef KW_HTTP_FORM_H
#define KW_HTTP_FORM_H
/*
 * http_form.h - the fields of a request body, form or JSON. Pure.
 * A form is application/x-www-form-urlencoded (WHATWG URL, 5.1): '+' is a
 * space, %HH an octet; a '%' that begins no such triple stands for itself.
 * Octets are kept as they are: no UTF-8 is asked for, NUL is an octet.
 * JSON (RFC 8259) is one object; a name with dots also finds nested members
 * and array elements ("messages.0.from").
 */
#include "base/kw.h"

#define HTTP_FORM_FIELDS_MOST 64

enum http_form_kind { HTTP_FORM_URLENCODED, HTTP_FORM_JSON };

struct http_form_pair {
    const char *name, *value; /* in store */
    size_t name_len, len;
};

struct http_form {
    struct http_form_pair pairs[HTTP_FORM_FIELDS_MOST];
    size_t n;
    char *store;     /* owned */
    void *json;      /* owned, NULL for a form */
    char wrong[160]; /* what is wrong, after an error */
};

struct http_form_value {
    const char *data; /* in the form, or in scratch; not NUL-terminated */
    size_t len;
    char scratch[32]; /* a JSON number as text */
};

/* body is borrowed for the call. 0, or KW_EINVAL and f->wrong. */
int http_form_parse(struct http_form *f, enum http_form_kind kind,
                    const char *body, size_t len);
/*
 * 0; KW_ENOENT when there is no such field (or a JSON null); KW_EDUP when it
 * stands twice with different values; KW_EINVAL when it is no string or
 * number.
 */
int http_form_get(const struct http_form *f, const char *name,
                  struct http_form_value *out);
void http_form_release(struct http_form *f); /* safe on a zeroed struct */

/* 1 form, 2 JSON, 3 something else, 0 when type is NULL or "". */
enum http_form_type {
    HTTP_TYPE_NONE,
    HTTP_TYPE_FORM,
    HTTP_TYPE_JSON,
    HTTP_TYPE_OTHER
};
enum http_form_type http_form_type_of(const char *content_type);

/* Whether an Accept header (or NULL) would rather have text than JSON. */
bool http_accept_plain(const char *accept);

/*
 * When the far side says a text was sent: seconds or milliseconds since
 * 1970, or RFC 3339 / ISO 8601 with Z or an offset. 0 when it is neither.
 */
int64_t http_form_time(const char *s, size_t len);
#endif
