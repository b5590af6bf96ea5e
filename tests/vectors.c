#include "vectors.h"
#include "base/file.h"

#include <check.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

void vectors_open(struct vectors *v, const char *name)
{
    const char *source = getenv("KW_SOURCE");
    char path[4096];

    *v = (struct vectors){0};
    ck_assert_ptr_nonnull(source);
    snprintf(path, sizeof(path), "%s/tests/reference/%s", source, name);
    ck_assert_msg(file_read(path, 1 << 24, &v->data, &v->len) == 0,
                  "%s cannot be read", path);
    csv_open(&v->csv, v->data, v->len);
    ck_assert_int_eq(csv_next(&v->csv), 1);
    for (size_t i = 0; i < v->csv.n_fields; i++)
        v->names[v->n_names++] = kw_strdup(v->csv.fields[i]);
}

bool vectors_next(struct vectors *v)
{
    int got = csv_next(&v->csv);

    ck_assert_int_ge(got, 0);
    v->rows += got == 1;
    return got == 1;
}

void vectors_close(struct vectors *v)
{
    for (size_t i = 0; i < v->n_names; i++)
        kw_free(v->names[i]);
    csv_release(&v->csv);
    kw_free(v->data);
}

const char *vectors_get(const struct vectors *v, const char *column)
{
    for (size_t i = 0; i < v->n_names; i++) {
        if (strcmp(v->names[i], column) == 0) {
            ck_assert_uint_lt(i, v->csv.n_fields);
            return v->csv.fields[i];
        }
    }
    ck_abort_msg("no column '%s'", column);
    return "";
}

long vectors_int(const struct vectors *v, const char *column)
{
    const char *field = vectors_get(v, column);
    char *end;
    long n = strtol(field, &end, 10);

    ck_assert_msg(*field != '\0' && *end == '\0', "'%s' is no number", field);
    return n;
}

char *vectors_text(const struct vectors *v, const char *column, size_t *len)
{
    const char *field = vectors_get(v, column);
    size_t n = strlen(field);
    char *quoted = kw_malloc(n + 3), *text;
    json_t *j;

    snprintf(quoted, n + 3, "\"%s\"", field);
    j = json_loads(quoted, JSON_DECODE_ANY | JSON_ALLOW_NUL, NULL);
    ck_assert_msg(j != NULL, "line %d: %s", v->csv.line, quoted);
    *len = json_string_length(j);
    text = kw_strndup(json_string_value(j), *len);
    json_decref(j);
    kw_free(quoted);
    return text;
}

size_t vectors_hex(const char *hex, uint8_t *dst, size_t cap)
{
    size_t n = strlen(hex) / 2;

    ck_assert_uint_le(n, cap);
    ck_assert_uint_eq(strlen(hex) % 2, 0);
    for (size_t i = 0; i < n; i++) {
        unsigned v;

        ck_assert_int_eq(sscanf(hex + 2 * i, "%2x", &v), 1);
        dst[i] = (uint8_t)v;
    }
    return n;
}
