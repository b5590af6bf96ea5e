/* setting.c - one key at a time: its default, its value, its bounds. */
#include "base/setting.h"
#include "base/clock.h"
#include "base/config.h"
#include "base/file.h"
#include "base/number.h"

#include <errno.h>
#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

void setting_put_text(void *base, size_t at, char *text)
{
    char **field = (char **)(void *)((char *)base + at);

    kw_free(*field);
    *field = text;
}

/* "07:00" to minutes of the day, "off" to -1. */
static int parse_daytime(const char *s, int *out)
{
    int64_t h, m;

    if (strcmp(s, "off") == 0) {
        *out = -1;
        return 0;
    }
    if (strlen(s) != 5 || s[2] != ':' || kw_parse_i64(s, 2, 0, 23, &h) < 0 ||
        kw_parse_i64(s + 3, 2, 0, 59, &m) < 0)
        return KW_EINVAL;
    *out = (int)(h * 60 + m);
    return 0;
}

static char *resolve_path(const struct setting_load *l, const char *path)
{
    char whole[8192];

    if (path[0] == '/' || l->folder[0] == '\0')
        return kw_strdup(path);
    if (file_join(whole, sizeof(whole), l->folder, path) < 0)
        return kw_strdup(path);
    return kw_strdup(whole);
}

/* A row's default; the table is ours, so it is well written. */
static void preset(const struct setting *r, void *base)
{
    char *at = (char *)base + r->at;
    int64_t i = 0;

    if (r->preset == NULL)
        return;
    switch (r->kind) {
    case TEXT:
    case PATH:
    case ZONE:
    case SECRET:
        setting_put_text(base, r->at, kw_strdup(r->preset));
        break;
    case INTEGER:
        kw_parse_i64(r->preset, strlen(r->preset), INT_MIN, INT_MAX, &i);
        *(int *)(void *)at = (int)i;
        break;
    case REAL:
        kw_parse_double(r->preset, strlen(r->preset), -HUGE_VAL, HUGE_VAL,
                        (double *)(void *)at);
        break;
    case SWITCH:
        *(bool *)(void *)at = strcmp(r->preset, "true") == 0;
        break;
    case DAYTIME:
        parse_daytime(r->preset, (int *)(void *)at);
        break;
    case FORM:
        *(enum config_form *)(void *)at = CONFIG_FORM_ANY;
        break;
    }
}

void setting_preset(const struct setting *rows, size_t n, void *base)
{
    for (size_t i = 0; i < n; i++)
        preset(&rows[i], base);
}

static void take_text(struct setting_load *l, const struct setting *r,
                      const config_setting_t *s, void *base)
{
    const char *v = config_setting_get_string(s);
    int line = config_setting_source_line(s);
    char spaced[80];

    if (v == NULL) {
        SETTING_SAY(l, line, "'%s' is to be text; write %s = \"…\"", r->key,
                    r->key);
        return;
    }
    if (strlen(v) < (size_t)r->min || strlen(v) > (size_t)r->max) {
        SETTING_SAY(l, line, "'%s' has %zu characters; %g to %g are allowed",
                    r->key, strlen(v), r->min, r->max);
        return;
    }
    if (r->words != NULL) {
        snprintf(spaced, sizeof(spaced), " %s ", v);
        if (strstr(r->words, spaced) == NULL) {
            SETTING_SAY(l, line, "'%s' is not a value of '%s'; write one of:%s",
                        v, r->key, r->words);
            return;
        }
    }
    if (r->kind == ZONE && !clock_knows_zone(v)) {
        SETTING_SAY(l, line,
                    "the time zone '%s' is not known; use a name such as "
                    "\"UTC\" or \"Area/City\" from the tz database",
                    v);
        return;
    }
    setting_put_text(base, r->at,
                     r->kind == PATH ? resolve_path(l, v) : kw_strdup(v));
}

static void take_number(struct setting_load *l, const struct setting *r,
                        const config_setting_t *s, void *base)
{
    int type = config_setting_type(s), line = config_setting_source_line(s);
    double v;

    if (type != CONFIG_TYPE_INT && type != CONFIG_TYPE_INT64 &&
        (type != CONFIG_TYPE_FLOAT || r->kind == INTEGER)) {
        SETTING_SAY(l, line, "'%s' is to be a %snumber without quotes", r->key,
                    r->kind == INTEGER ? "whole " : "");
        return;
    }
    v = type == CONFIG_TYPE_FLOAT ? config_setting_get_float(s)
                                  : (double)config_setting_get_int64(s);
    if (!(v >= r->min && v <= r->max)) {
        SETTING_SAY(l, line, "'%s' is %g; it is to be from %g to %g", r->key, v,
                    r->min, r->max);
        return;
    }
    if (r->kind == INTEGER)
        *(int *)(void *)((char *)base + r->at) = (int)v;
    else
        *(double *)(void *)((char *)base + r->at) = v;
}

/* A secret's file: its contents without the line end. */
static char *read_secret(struct setting_load *l, const char *path, int line)
{
    char *whole = resolve_path(l, path), *data = NULL, *secret = NULL;
    size_t len = 0;

    if (file_read(whole, 4096, &data, &len) < 0) {
        SETTING_SAY(l, line, "the secret's file '%s' cannot be read: %s", whole,
                    strerror(errno));
    } else {
        while (len > 0 && (data[len - 1] == '\n' || data[len - 1] == '\r'))
            len--;
        if (memchr(data, '\0', len) != NULL)
            SETTING_SAY(l, line,
                        "the secret in '%s' holds a NUL octet; use text",
                        whole);
        else
            secret = kw_strndup(data, len);
    }
    kw_free(data);
    kw_free(whole);
    return secret;
}

static void take_secret(struct setting_load *l, const struct setting *r,
                        const config_setting_t *s, void *base, bool from_file)
{
    const char *v = config_setting_get_string(s);
    int line = config_setting_source_line(s);
    char *secret;

    if (v == NULL) {
        SETTING_SAY(l, line, "'%s' is to be text", config_setting_name(s));
        return;
    }
    secret = from_file ? read_secret(l, v, line) : kw_strdup(v);
    if (secret == NULL)
        return;
    if (strlen(secret) < (size_t)r->min || strlen(secret) > (size_t)r->max) {
        SETTING_SAY(
            l, line,
            "the secret '%s' has %zu characters; it is to have %g to %g "
            "(for example: openssl rand -hex 32)",
            r->key, strlen(secret), r->min, r->max);
        kw_free(secret);
        return;
    }
    setting_put_text(base, r->at, secret);
}

static void take_form(struct setting_load *l, const struct setting *r,
                      const config_setting_t *s, void *base)
{
    static const char *const names[] = {"form", "json", "any"};
    const char *v = config_setting_get_string(s);

    for (int i = 0; i < 3; i++) {
        if (v != NULL && strcmp(v, names[i]) == 0) {
            *(enum config_form *)(void *)((char *)base + r->at) =
                (enum config_form)i;
            return;
        }
    }
    SETTING_SAY(l, config_setting_source_line(s),
                "'%s' is to be \"form\", \"json\" or \"any\"", r->key);
}

static void take_row(struct setting_load *l, const struct setting *r,
                     const config_setting_t *s, void *base, bool from_file)
{
    int line = config_setting_source_line(s);
    char *at = (char *)base + r->at;

    switch (r->kind) {
    case TEXT:
    case PATH:
    case ZONE:
        take_text(l, r, s, base);
        break;
    case INTEGER:
    case REAL:
        take_number(l, r, s, base);
        break;
    case SECRET:
        take_secret(l, r, s, base, from_file);
        break;
    case FORM:
        take_form(l, r, s, base);
        break;
    case SWITCH:
        if (config_setting_type(s) != CONFIG_TYPE_BOOL)
            SETTING_SAY(l, line, "'%s' is to be true or false", r->key);
        else
            *(bool *)(void *)at = config_setting_get_bool(s) != 0;
        break;
    case DAYTIME:
        if (config_setting_get_string(s) == NULL ||
            parse_daytime(config_setting_get_string(s), (int *)(void *)at) < 0)
            SETTING_SAY(l, line,
                        "'%s' is to be a time of day such as \"07:00\", or "
                        "\"off\"",
                        r->key);
        break;
    }
}

/* The row for a key; "x_file" finds the secret x. */
static const struct setting *find_row(const struct setting *rows, size_t n,
                                      const char *key, bool *from_file)
{
    size_t len = strlen(key);

    *from_file = false;
    for (size_t i = 0; i < n; i++) {
        size_t own = strlen(rows[i].key);

        if (strcmp(rows[i].key, key) == 0)
            return &rows[i];
        if (rows[i].kind == SECRET && len == own + 5 &&
            memcmp(rows[i].key, key, own) == 0 &&
            strcmp(key + own, "_file") == 0) {
            *from_file = true;
            return &rows[i];
        }
    }
    return NULL;
}

static void list_keys(const struct setting *rows, size_t n, char *dst,
                      size_t cap)
{
    size_t len = 0;

    for (size_t i = 0; i < n && len < cap; i++) {
        int k =
            snprintf(dst + len, cap - len, "%s%s", i ? ", " : "", rows[i].key);

        if (k < 0)
            break;
        len += (size_t)k;
    }
}

void setting_take(struct setting_load *l, const config_setting_t *group,
                  const struct setting *rows, size_t n, void *base,
                  const char *also)
{
    int count;

    if (!config_setting_is_group(group)) {
        SETTING_SAY(l, config_setting_source_line(group),
                    "'%s' is to be a group; write { key = value; … }",
                    config_setting_name(group) ? config_setting_name(group)
                                               : "it");
        return;
    }
    count = config_setting_length(group);
    for (int i = 0; i < count; i++) {
        const config_setting_t *s = config_setting_get_elem(group, (unsigned)i);
        const char *key = config_setting_name(s);
        bool from_file;
        const struct setting *r = find_row(rows, n, key, &from_file);
        char spaced[80], known[1024] = "";

        if (r != NULL) {
            take_row(l, r, s, base, from_file);
            continue;
        }
        snprintf(spaced, sizeof(spaced), " %s ", key);
        if (also != NULL && strstr(also, spaced) != NULL)
            continue;
        list_keys(rows, n, known, sizeof(known));
        SETTING_SAY(l, config_setting_source_line(s),
                    "the key '%s' is not known here; known are: %s%s%s", key,
                    known, also ? " and" : "", also ? also : "");
    }
}

int setting_list_length(struct setting_load *l, const config_setting_t *list,
                        int most)
{
    if (!config_setting_is_list(list)) {
        SETTING_SAY(l, config_setting_source_line(list),
                    "'%s' is to be a list; write ( { … }, { … } )",
                    config_setting_name(list));
        return -1;
    }
    if (config_setting_length(list) > most) {
        SETTING_SAY(l, config_setting_source_line(list),
                    "'%s' has %d entries; at most %d are allowed",
                    config_setting_name(list), config_setting_length(list),
                    most);
        return -1;
    }
    return config_setting_length(list);
}

void setting_need_text(struct setting_load *l, int line, const char *what,
                       const char *value)
{
    if (value == NULL || value[0] == '\0')
        SETTING_SAY(l, line, "'%s' is missing; write %s = \"…\"", what, what);
}

static bool holds_text(enum setting_kind k)
{
    return k == TEXT || k == PATH || k == ZONE || k == SECRET;
}

void setting_free(const struct setting *rows, size_t n, void *base)
{
    for (size_t i = 0; i < n; i++) {
        if (holds_text(rows[i].kind))
            setting_put_text(base, rows[i].at, NULL);
    }
}
