/*
 * fuzz_httpform.c - bodies of any octets. The first octet chooses form or
 * JSON; the rest is the body, and also a spool file, a header, a time.
 */
#include "carrier/http_auth.h"
#include "carrier/http_form.h"
#include "carrier/spool_text.h"
#include "carrier/template.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void try_body(enum http_form_kind kind, const char *body, size_t len)
{
    static const char *const names[] = {"from", "text", "id", "a.0.b", ""};
    struct http_form f;
    struct http_form_value v;

    if (http_form_parse(&f, kind, body, len) == 0) {
        for (size_t i = 0; i < KW_COUNT(names); i++) {
            if (http_form_get(&f, names[i], &v) == 0)
                assert(v.len <= len + sizeof(v.scratch));
        }
    } else {
        assert(f.wrong[0] != '\0');
    }
    http_form_release(&f);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct spool_text t;
    struct http_auth_keys keys = {.key = "key"};
    struct kw_buf b;
    const char *wrong = NULL;
    char *text;

    if (size == 0)
        return 0;
    text = kw_strndup((const char *)data + 1, size - 1);
    try_body(data[0] % 2 ? HTTP_FORM_JSON : HTTP_FORM_URLENCODED,
             (const char *)data + 1, size - 1);
    if (spool_text_parse((const char *)data + 1, size - 1, &t, &wrong) == 0)
        assert(t.len < size && t.from[0] != '\0');
    else
        assert(wrong != NULL);
    http_form_time(text, strlen(text));
    http_accept_plain(text);
    http_form_type_of(text);
    assert(!http_auth_signed(&keys, text, text, strlen(text)));
    kw_buf_init(&b, 6 * size + 1);
    template_escape(TEMPLATE_JSON, (const char *)data, size, &b);
    assert(b.err == 0);
    kw_buf_release(&b);
    kw_free(text);
    return 0;
}
