/* usual.c - see usual.h. */
#include "page/usual.h"

#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define B(f) offsetof(struct ledger_batch, f)
static const struct {
    const char *key, *head, *before, *after;
    int decimals;
    size_t at;
} numbers[USUAL_NUMBERS] = {
    {"sawdust_pct", "sawdust, % of volume", "sawdust ", " %", 1,
     B(sawdust_pct)},
    {"sawdust_mesh", "sawdust sieve, mesh", "sawdust mesh ", "", 0,
     B(sawdust_mesh)},
    {"drying_days", "drying, days", "drying ", " days", 0, B(drying_days)},
    {"peak_degc", "peak temperature, °C", "peak ", " °C", 0, B(peak_degc)},
    {"soak_min", "soak, minutes", "soak ", " min", 0, B(soak_min)},
    {"cooling_h", "cooling, hours", "cooling ", " h", 1, B(cooling_h)},
    {"silver_mg", "silver, mg a pot", "silver ", " mg", 1, B(silver_mg)},
    {"test_mean_l", "flow test, mean L", "flow test mean ", " L", 2,
     B(test_mean_l)},
    {"test_max_l", "flow test, highest L", "flow test highest ", " L", 2,
     B(test_max_l)},
};
static const struct {
    const char *key, *head;
    size_t at;
} names[USUAL_NAMES] = {
    {"workshop", "workshop", B(workshop)},
    {"mould", "mould", B(mould)},
    {"clay_pit", "clay pit", B(clay_pit)},
    {"presser", "pressed by", B(presser)},
    {"kiln", "kiln", B(kiln)},
    {"cone", "cone", B(cone)},
};

static double number_of(const struct ledger_batch *b, int n)
{
    double v;

    memcpy(&v, (const char *)b + numbers[n].at, sizeof(v));
    return v;
}

static const char *name_of(const struct ledger_batch *b, int n)
{
    return (const char *)b + names[n].at;
}

/* ---- gathering ---- */

struct gathering {
    const struct ledger_batch *batch;
    struct usual *out;
    double *values[USUAL_NUMBERS]; /* of the others */
    size_t n[USUAL_NUMBERS], cap[USUAL_NUMBERS];
};

static int add_other(const struct ledger_batch *b, void *arg)
{
    struct gathering *g = arg;

    if (b->id == g->batch->id)
        return 0;
    g->out->batches++;
    for (int n = 0; n < USUAL_NUMBERS; n++) {
        double v = number_of(b, n);

        if (!isfinite(v))
            continue;
        kw_grow(&g->values[n], &g->cap[n], g->n[n] + 1, sizeof(v));
        g->values[n][g->n[n]++] = v;
    }
    for (int n = 0; n < USUAL_NAMES; n++) {
        struct usual_name *u = &g->out->names[n];

        u->named += name_of(b, n)[0] != '\0';
        u->same += name_of(b, n)[0] != '\0' &&
                   strcmp(name_of(b, n), name_of(g->batch, n)) == 0;
    }
    return 0;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Between the order statistics (Hyndman & Fan 1996, type 7); v is sorted. */
static double quantile(const double *v, size_t n, double p)
{
    double at = p * (double)(n - 1), below = floor(at);
    size_t i = (size_t)below;

    return i + 1 < n ? v[i] + (at - below) * (v[i + 1] - v[i]) : v[n - 1];
}

/* Robust standard deviation; where most are alike, by the mean deviation. */
static double spread_of(const double *v, size_t n, double middle)
{
    double *off = kw_calloc(n, sizeof(*off)), sum = 0, spread;

    for (size_t i = 0; i < n; i++) {
        off[i] = fabs(v[i] - middle);
        sum += off[i];
    }
    qsort(off, n, sizeof(*off), by_size);
    spread = 1.4826 * quantile(off, n, 0.5);
    kw_free(off);
    return spread > 0 ? spread : 1.2533 * sum / (double)n;
}

static double far_out(double v, double middle, double spread)
{
    if (v == middle)
        return 0;
    return spread > 0 ? (v - middle) / spread : copysign(INFINITY, v - middle);
}

static enum usual_flag flag_of(const struct usual_number *u)
{
    double far = u->far;

    if (!isfinite(u->value) || u->known == 0)
        return USUAL_UNKNOWN;
    if (isnan(far)) /* few others */
        far = u->value < u->low    ? -USUAL_FAR
              : u->value > u->high ? USUAL_FAR
                                   : 0;
    if (fabs(far) < USUAL_FAR)
        return USUAL_AS_OTHERS;
    return far < 0 ? USUAL_LOWER : USUAL_HIGHER;
}

static void judge_number(struct gathering *g, int n)
{
    struct usual_number *u = &g->out->numbers[n];
    double *v = g->values[n], middle, spread;
    size_t known = g->n[n];

    *u = (struct usual_number){
        number_of(g->batch, n), (int)known, NAN, NAN, NAN, NAN, NAN,
        USUAL_UNKNOWN};
    if (known == 0)
        return;
    qsort(v, known, sizeof(*v), by_size);
    u->low = u->usual_low = v[0];
    u->high = u->usual_high = v[known - 1];
    if (known >= USUAL_LEAST) {
        u->usual_low = quantile(v, known, 0.1);
        u->usual_high = quantile(v, known, 0.9);
        middle = quantile(v, known, 0.5);
        spread = spread_of(v, known, middle);
        if (isfinite(u->value))
            u->far = far_out(u->value, middle, spread);
        g->out->others_values += (int)known;
        for (size_t i = 0; i < known; i++)
            g->out->others_far +=
                fabs(far_out(v[i], middle, spread)) >= USUAL_FAR;
    }
    u->flag = flag_of(u);
}

int usual_gather(struct ledger *lg, const struct ledger_batch *b,
                 struct usual *out)
{
    struct gathering g = {.batch = b, .out = out};
    int err;

    memset(out, 0, sizeof(*out));
    err = look_batches(lg, add_other, &g);
    for (int n = 0; n < USUAL_NUMBERS; n++) {
        judge_number(&g, n);
        kw_free(g.values[n]);
    }
    for (int n = 0; n < USUAL_NAMES; n++) {
        struct usual_name *u = &out->names[n];

        memcpy(u->value, name_of(b, n), sizeof(u->value));
        u->flag = u->value[0] == '\0' || u->named == 0 ? USUAL_UNKNOWN
                  : u->same == 0                       ? USUAL_ALONE
                                                       : USUAL_AS_OTHERS;
    }
    return err;
}

/* ---- text ---- */

/* What the flag says in the last column. */
static struct page_word flag_word(const struct usual_number *u)
{
    struct page_word w = {"as others"};
    bool all = u->value < u->low || u->value > u->high;

    if (u->flag == USUAL_UNKNOWN)
        snprintf(w.s, sizeof(w.s), "nothing to compare");
    if (u->flag == USUAL_LOWER)
        snprintf(w.s, sizeof(w.s), "OUTSIDE: below %s", all ? "all" : "most");
    if (u->flag == USUAL_HIGHER)
        snprintf(w.s, sizeof(w.s), "OUTSIDE: above %s", all ? "all" : "most");
    return w;
}

static void put_range(struct table *t, const struct usual_number *u,
                      int decimals)
{
    if (u->known == 0)
        table_cell(t, "-");
    else
        table_cell(t, "%s to %s (%d)", page_number(u->usual_low, decimals).s,
                   page_number(u->usual_high, decimals).s, u->known);
}

/* How early a number stands: what is far out first; few others: as flagged. */
static double weight(const struct usual_number *u)
{
    if (!isnan(u->far))
        return fabs(u->far);
    return u->flag > USUAL_AS_OTHERS ? USUAL_FAR : 0;
}

/* The order of the numbers, the farthest out first. */
static void order(const struct usual *u, int *at)
{
    for (int i = 0; i < USUAL_NUMBERS; i++) {
        int k = i;

        for (; k > 0 && weight(&u->numbers[at[k - 1]]) < weight(&u->numbers[i]);
             k--)
            at[k] = at[k - 1];
        at[k] = i;
    }
}

static void put_name_rows(struct table *t, const struct usual *u, bool alone)
{
    for (int n = 0; n < USUAL_NAMES; n++) {
        const struct usual_name *x = &u->names[n];

        if (x->value[0] == '\0' || (x->flag == USUAL_ALONE) != alone)
            continue;
        table_cell(t, "%s", names[n].head);
        table_cell(t, "%s", x->value);
        table_cell(t, "the same in %d of %d", x->same, x->named);
        table_cell(t, "%s",
                   alone                      ? "ALONE: no other has it"
                   : x->flag == USUAL_UNKNOWN ? "nothing to compare"
                                              : "as others");
    }
}

size_t usual_put(const struct page *p, const struct usual *u, bool all)
{
    static const struct table_column columns[] = {
        {"what", false, 10},
        {"this batch", false, 9},
        {"usual (batches)", false, 12},
        {"", false, 12}};
    int at[USUAL_NUMBERS];
    struct table t;
    size_t rows;

    order(u, at);
    table_init(&t, &p->screen, columns, KW_COUNT(columns));
    put_name_rows(&t, u, true);
    for (int i = 0; i < USUAL_NUMBERS; i++) {
        const struct usual_number *x = &u->numbers[at[i]];
        int decimals = numbers[at[i]].decimals;

        if (!isfinite(x->value) || (x->flag <= USUAL_AS_OTHERS && !all))
            continue;
        table_cell(&t, "%s", numbers[at[i]].head);
        table_cell(&t, "%s", page_number(x->value, decimals).s);
        put_range(&t, x, decimals);
        table_cell(&t, "%s", flag_word(x).s);
    }
    if (all)
        put_name_rows(&t, u, false);
    rows = table_rows(&t);
    table_put(&t, &p->screen, 2);
    table_release(&t);
    return rows;
}

static void put_number_item(const struct page *p, const struct usual *u, int n)
{
    const struct usual_number *x = &u->numbers[n];
    int decimals = numbers[n].decimals;
    struct kw_buf line;

    kw_buf_init(&line, 400);
    kw_buf_printf(&line, "%s%s%s, %s others %s to %s", numbers[n].before,
                  page_number(x->value, decimals).s, numbers[n].after,
                  x->known < USUAL_LEAST ? "the" : "most",
                  page_number(x->usual_low, decimals).s,
                  page_number(x->usual_high, decimals).s);
    if (x->value < x->low || x->value > x->high)
        kw_buf_printf(&line, ": %s all %d",
                      x->value < x->low ? "below" : "above", x->known);
    screen_item(&p->screen, 2, "%s", kw_buf_text(&line));
    kw_buf_release(&line);
}

size_t usual_put_items(const struct page *p, const struct usual *u)
{
    int at[USUAL_NUMBERS];
    size_t n = 0;

    order(u, at);
    for (int i = 0; i < USUAL_NUMBERS; i++) {
        if (u->numbers[at[i]].flag <= USUAL_AS_OTHERS)
            continue;
        put_number_item(p, u, at[i]);
        n++;
    }
    for (int i = 0; i < USUAL_NAMES; i++) {
        const struct usual_name *x = &u->names[i];

        if (x->flag != USUAL_ALONE)
            continue;
        screen_item(&p->screen, 2, "%s %s, which none of %s has", names[i].head,
                    x->value, page_count(x->named, "other", "others").s);
        n++;
    }
    return n;
}

/* ---- JSON ---- */

static const char *const flag_keys[] = {
    [USUAL_UNKNOWN] = "unknown", [USUAL_AS_OTHERS] = "usual",
    [USUAL_LOWER] = "lower",     [USUAL_HIGHER] = "higher",
    [USUAL_ALONE] = "alone",
};

json_t *usual_json(const struct usual *u)
{
    json_t *all = json_object();

    for (int n = 0; n < USUAL_NUMBERS; n++) {
        const struct usual_number *x = &u->numbers[n];

        json_object_set_new(
            all, numbers[n].key,
            json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:i, s:s}", "value",
                      page_json_real(x->value), "low", page_json_real(x->low),
                      "high", page_json_real(x->high), "usual_low",
                      page_json_real(x->usual_low), "usual_high",
                      page_json_real(x->usual_high), "far",
                      isinf(x->far) ? json_null() : page_json_real(x->far),
                      "batches", x->known, "flag", flag_keys[x->flag]));
    }
    for (int n = 0; n < USUAL_NAMES; n++) {
        const struct usual_name *x = &u->names[n];

        json_object_set_new(all, names[n].key,
                            json_pack("{s:o, s:i, s:i, s:s}", "value",
                                      page_json_word(x->value), "same", x->same,
                                      "batches", x->named, "flag",
                                      flag_keys[x->flag]));
    }
    return all;
}
