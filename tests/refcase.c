/* refcase.c - see refcase.h. */
#include "refcase.h"

#include "base/csv.h"
#include "base/file.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct vector {
    char kind[8], name[40];
    double *v;
    size_t n, cap;
};

struct refcase {
    struct vector *vectors;
    size_t n, cap;
};

static struct vector *vector_named(struct refcase *c, const char *kind,
                                   const char *name)
{
    struct vector *v;

    for (size_t i = 0; i < c->n; i++) {
        v = &c->vectors[i];
        if (strcmp(v->kind, kind) == 0 && strcmp(v->name, name) == 0)
            return v;
    }
    kw_grow(&c->vectors, &c->cap, c->n + 1, sizeof(*c->vectors));
    v = &c->vectors[c->n++];
    memset(v, 0, sizeof(*v));
    snprintf(v->kind, sizeof(v->kind), "%s", kind);
    snprintf(v->name, sizeof(v->name), "%s", name);
    return v;
}

static double value_of(const char *text)
{
    char *end;
    double v = strtod(text, &end); /* reads Inf and NaN too */

    return *end == '\0' && end != text ? v : NAN;
}

struct refcase *refcase_open(const char *name)
{
    struct refcase *c = kw_calloc(1, sizeof(*c));
    char path[4096], *data;
    struct csv csv;
    size_t len;
    int got;

    snprintf(path, sizeof(path), "%s/tests/reference/stats/%s.csv",
             getenv("KW_SOURCE"), name);
    ck_assert_msg(file_read(path, 1u << 24, &data, &len) == 0, "there is no %s",
                  path);
    csv_open(&csv, data, len);
    ck_assert_int_eq(csv_next(&csv), 1);
    ck_assert_str_eq(csv.fields[0], "kind");
    while ((got = csv_next(&csv)) == 1) {
        struct vector *v = vector_named(c, csv.fields[0], csv.fields[1]);

        ck_assert_uint_eq(csv.n_fields, 4);
        ck_assert_uint_eq((size_t)atol(csv.fields[2]), v->n + 1);
        kw_grow(&v->v, &v->cap, v->n + 1, sizeof(*v->v));
        v->v[v->n++] = value_of(csv.fields[3]);
    }
    ck_assert_int_eq(got, 0);
    csv_release(&csv);
    kw_free(data);
    return c;
}

void refcase_free(struct refcase *c)
{
    for (size_t i = 0; i < c->n; i++)
        kw_free(c->vectors[i].v);
    kw_free(c->vectors);
    kw_free(c);
}

const double *refcase_vector(const struct refcase *c, const char *kind,
                             const char *name, size_t *n)
{
    *n = 0;
    for (size_t i = 0; i < c->n; i++) {
        const struct vector *v = &c->vectors[i];

        if (strcmp(v->kind, kind) != 0 || strcmp(v->name, name) != 0)
            continue;
        *n = v->n;
        return v->v;
    }
    return NULL;
}

const double *refcase_need(const struct refcase *c, const char *kind,
                           const char *name, size_t *n)
{
    const double *v = refcase_vector(c, kind, name, n);

    ck_assert_msg(v != NULL, "the case has no %s %s", kind, name);
    return v;
}

double refcase_one(const struct refcase *c, const char *kind, const char *name)
{
    size_t n;
    const double *v = refcase_need(c, kind, name, &n);

    ck_assert_uint_eq(n, 1);
    return v[0];
}
