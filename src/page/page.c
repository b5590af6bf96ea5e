/* page.c - days, numbers, phones and lists, the same on every page. */
#include "page/page.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

struct page_word page_day(int64_t at_s)
{
    struct page_word w = {"-"};

    if (at_s != 0)
        clock_format_day(at_s, w.s, sizeof(w.s));
    return w;
}

struct page_word page_time(int64_t at_s)
{
    struct page_word w = {"-"};

    if (at_s != 0)
        clock_format_local(at_s, w.s, sizeof(w.s));
    return w;
}

struct page_word page_serial(const struct page *p, const char *serial)
{
    struct page_word w = {"-"};

    if (serial[0] != '\0')
        serial_format(p->layout, serial, w.s, sizeof(w.s));
    return w;
}

struct page_word page_phone(const struct page *p, const char *number)
{
    struct page_word w;

    screen_phone(number, p->phones, w.s, sizeof(w.s));
    return w;
}

struct page_word page_number(double v, int decimals)
{
    struct page_word w = {"-"};

    if (isfinite(v))
        snprintf(w.s, sizeof(w.s), "%.*f", decimals, v);
    return w;
}

/* Digits in groups of three. */
static void group_digits(double whole, char *dst, size_t cap)
{
    char digits[32];
    size_t n, at = 0;

    snprintf(digits, sizeof(digits), "%.0f", whole);
    n = strlen(digits);
    for (size_t i = 0; i < n && at + 2 < cap; i++) {
        if (i > 0 && (n - i) % 3 == 0)
            dst[at++] = ',';
        dst[at++] = digits[i];
    }
    dst[at] = '\0';
}

struct page_word page_probability(double p)
{
    struct page_word w = {"-"};
    char one_in[48];

    if (!isfinite(p) || p < 0)
        return w;
    if (p >= 0.0995 || p < 1e-12) {
        snprintf(w.s, sizeof(w.s), p >= 0.0995 ? "%.2f" : "under 1e-12", p);
        return w;
    }
    { /* two figures are all that the model is worth */
        double one = 1 / p, unit = pow(10, floor(log10(one)) - 1);

        group_digits(unit >= 1 ? round(one / unit) * unit : round(one), one_in,
                     sizeof(one_in));
    }
    snprintf(w.s, sizeof(w.s), "%.2g (1 in %s)", p, one_in);
    return w;
}

const char *page_or_dash(const char *s)
{
    return s[0] != '\0' ? s : "-";
}

struct page_word page_count(int64_t n, const char *one, const char *many)
{
    struct page_word w;

    snprintf(w.s, sizeof(w.s), "%lld %s", (long long)n, n == 1 ? one : many);
    return w;
}

json_t *page_json_real(double v)
{
    return isfinite(v) ? json_real(v) : json_null();
}

json_t *page_json_word(const char *s)
{
    json_t *j = NULL;

    if (s[0] == '\0')
        return json_null();
    j = json_string(s);
    if (j == NULL) { /* not UTF-8: cleaned rather than left out */
        struct kw_buf clean;

        kw_buf_init(&clean, 8 * strlen(s) + 8);
        screen_clean(s, strlen(s), false, &clean);
        j = json_string(kw_buf_text(&clean));
        kw_buf_release(&clean);
    }
    return j;
}

json_t *page_json_time(int64_t at_s)
{
    char text[CLOCK_TEXT_CAP];

    if (at_s == 0)
        return json_null();
    clock_format_utc(at_s, text, sizeof(text));
    return json_string(text);
}

json_t *page_json_phone(const struct page *p, const char *number)
{
    return number[0] != '\0' ? page_json_word(page_phone(p, number).s)
                             : json_null();
}

int page_add_handover(const struct look_handover *h, void *list)
{
    struct page_handovers *l = list;

    kw_grow(&l->items, &l->cap, l->n + 1, sizeof(*l->items));
    l->items[l->n++] = *h;
    return 0;
}

int page_add_report(const struct look_report *r, void *list)
{
    struct page_reports *l = list;

    kw_grow(&l->items, &l->cap, l->n + 1, sizeof(*l->items));
    l->items[l->n++] = *r;
    return 0;
}

int page_add_alert(const struct ledger_alert *a, void *list)
{
    struct page_alerts *l = list;

    kw_grow(&l->items, &l->cap, l->n + 1, sizeof(*l->items));
    l->items[l->n++] = *a;
    return 0;
}
