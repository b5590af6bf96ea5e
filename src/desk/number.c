/*
 * number.c - a sender as the network wrote it -> as the ledger keeps it.
 * Source of the form: ITU-T E.164 (02/2005), 6.1 and 6.2: at most 15 digits,
 * country code first; 00 as the international prefix is common practice.
 */
#include "desk/desk.h"

#include <stdio.h>
#include <string.h>
#include <utf8proc.h>

/* The value of a decimal digit of any script, or -1. */
static int digit_value(utf8proc_int32_t cp)
{
    utf8proc_int32_t first = cp;

    if (cp >= '0' && cp <= '9')
        return (int)(cp - '0');
    if (utf8proc_category(cp) != UTF8PROC_CATEGORY_ND)
        return -1;
    while (cp - first < 60 &&
           utf8proc_category(first - 1) == UTF8PROC_CATEGORY_ND)
        first--;
    return (int)((cp - first) % 10); /* scripts keep theirs in runs of ten */
}

#define NATIONAL_LEAST 7 /* when the configuration says nothing */
#define NATIONAL_MOST  14

struct digits {
    char text[LEDGER_PHONE_CAP];
    size_t n;
    bool plus;
    bool other; /* a letter, or too many: no number */
};

static void take_digits(const char *raw, struct digits *d)
{
    const utf8proc_uint8_t *at = (const utf8proc_uint8_t *)raw;

    *d = (struct digits){.n = 0};
    while (*at != '\0') {
        utf8proc_int32_t cp;
        utf8proc_ssize_t len = utf8proc_iterate(at, -1, &cp);
        int v;

        if (len <= 0) {
            d->other = true;
            return;
        }
        at += len;
        v = digit_value(cp);
        if (v >= 0 && d->n + 1 < sizeof(d->text))
            d->text[d->n++] = (char)('0' + v);
        else if ((cp == '+' || cp == 0xff0b) && d->n == 0)
            d->plus = true;
        else if (v >= 0 || !(cp < 0x80 && strchr(" .-()/", (int)cp)))
            d->other = true;
    }
    d->text[d->n] = '\0';
}

static bool begins(const char *s, const char *with)
{
    return with[0] != '\0' && strncmp(s, with, strlen(with)) == 0;
}

/* Short codes, names, and what is no number: as they are. */
static void keep(const char *raw, char *dst, size_t cap)
{
    if (kw_copy(dst, cap, raw, strlen(raw)) < 0)
        snprintf(dst, cap, "%.*s", (int)cap - 1, raw);
    /* What is no UTF-8 could not be shown: "?" stands for each octet. */
    for (char *at = dst; *at != '\0';) {
        utf8proc_int32_t cp;
        utf8proc_ssize_t len =
            utf8proc_iterate((const utf8proc_uint8_t *)at, -1, &cp);

        if (len <= 0)
            *at++ = '?';
        else
            at += len;
    }
}

void desk_number(const struct config *conf, const char *raw, char *dst,
                 size_t cap)
{
    const char *code = conf->country_code ? conf->country_code : "";
    const char *prefix = conf->national_prefix ? conf->national_prefix : "";
    struct digits d;
    const char *s;
    int least =
        conf->national_least > 0 ? conf->national_least : NATIONAL_LEAST;
    int most = conf->national_most > 0 ? conf->national_most : NATIONAL_MOST;
    int n;

    code += code[0] == '+';
    take_digits(raw, &d);
    s = d.text;
    n = (int)d.n;
    if (d.other || n < least) {
        keep(raw, dst, cap);
    } else if (d.plus) {
        snprintf(dst, cap, "+%s", s);
    } else if (begins(s, "00")) {
        snprintf(dst, cap, "+%s", s + 2);
    } else if (code[0] == '\0') {
        snprintf(dst, cap, "+%s", s);
    } else if (begins(s, prefix) &&
               n - (int)strlen(prefix) >= conf->national_least &&
               n - (int)strlen(prefix) <= most) {
        snprintf(dst, cap, "+%s%s", code, s + strlen(prefix));
    } else if (begins(s, code) && n - (int)strlen(code) >= least &&
               n - (int)strlen(code) <= most) {
        snprintf(dst, cap, "+%s", s);
    } else if (n <= most) {
        snprintf(dst, cap, "+%s%s", code, s);
    } else {
        keep(raw, dst, cap); /* of no length that numbers have here */
    }
}
