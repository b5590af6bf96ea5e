/* scan.c - see scan.h; how often chance does as well is in scan_chance.c. */
#include "watch/scan_inner.h"

#include <math.h>

void scan_sums_init(struct scan_sums *s, const struct scan_line *line)
{
    double all = 0;

    *s = (struct scan_sums){.n = line->n,
                            .longest =
                                line->longest > 0 ? line->longest : line->n / 2,
                            .expected = kw_calloc(line->n + 1, sizeof(double))};
    for (size_t i = 0; i < line->n; i++) {
        all += line->expected[i];
        s->total += line->failed[i];
    }
    for (size_t i = 0; i < line->n; i++)
        s->expected[i + 1] = s->expected[i] + line->expected[i];
    for (size_t i = 1; i <= line->n && all > 0; i++)
        s->expected[i] *= (double)s->total / all;
}

void scan_sums_release(struct scan_sums *s)
{
    kw_free(s->expected);
    s->expected = NULL;
}

void scan_hits_init(struct scan_hits *h, size_t room)
{
    h->n = 0;
    h->cell = kw_calloc(room + 1, sizeof(*h->cell));
    h->before = kw_calloc(room + 1, sizeof(*h->before));
    h->lower = kw_calloc(room + 1, sizeof(*h->lower));
    h->upper = kw_calloc(room + 1, sizeof(*h->upper));
}

void scan_hits_release(struct scan_hits *h)
{
    kw_free(h->cell);
    kw_free(h->before);
    kw_free(h->lower);
    kw_free(h->upper);
    *h = (struct scan_hits){.n = 0};
}

void scan_hits_add(struct scan_hits *h, const struct scan_sums *s, size_t cell,
                   int64_t failed)
{
    h->cell[h->n] = cell;
    h->lower[h->n] = s->expected[cell];
    h->upper[h->n] = s->expected[cell + 1];
    h->before[h->n + 1] = h->before[h->n] + failed;
    h->n++;
}

double scan_llr(double o, double e, double all)
{
    double rest = all > o ? (all - o) * log((all - o) / (all - e)) : 0;

    return o > e ? o * log(o / e) + rest : 0;
}

/* The least expected of all windows with o failures, to least[o]. */
static void find_least(const struct scan_sums *s, const struct scan_hits *h,
                       double *least)
{
    for (int64_t o = 0; o <= s->total; o++)
        least[o] = INFINITY;
    for (size_t a = 0; a < h->n; a++) {
        double *from = least - h->before[a], lower = h->lower[a];

        for (size_t b = a; b < h->n && h->cell[b] - h->cell[a] < s->longest;
             b++) {
            double *at = from + h->before[b + 1], e = h->upper[b] - lower;

            if (e < *at)
                *at = e;
        }
    }
}

/* The first window that is as great as any; INFINITY in least: not looked
 * at. */
static void find_first(const struct scan_sums *s, const struct scan_hits *h,
                       const double *least, struct scan_window *out)
{
    for (size_t a = 0; a < h->n; a++)
        for (size_t b = a; b < h->n && h->cell[b] - h->cell[a] < s->longest;
             b++) {
            int64_t o = h->before[b + 1] - h->before[a];
            double e = h->upper[b] - h->lower[a];

            if (e > least[o] || isinf(least[o]))
                continue;
            *out =
                (struct scan_window){scan_llr((double)o, e, (double)s->total),
                                     h->cell[a], h->cell[b], o, e};
            return;
        }
}

/*
 * Of windows with as many failures the one that expects least is the
 * greatest: a logarithm a count is enough.
 */
static void best_of(const struct scan_sums *s, const struct scan_hits *h,
                    struct scan_window *out)
{
    double all = (double)s->total, most = 0;
    double *least = kw_calloc((size_t)s->total + 1, sizeof(*least));

    *out = (struct scan_window){.llr = 0};
    find_least(s, h, least);
    for (int64_t o = 1; o <= s->total; o++)
        if (least[o] < (double)o)
            most = fmax(most, scan_llr((double)o, least[o], all));
    for (int64_t o = 0; o <= s->total; o++) {
        bool as_great = most > 0 && least[o] < (double)o &&
                        scan_llr((double)o, least[o], all) >= most - 1e-12;

        least[o] = as_great ? least[o] * (1 + 1e-13) : INFINITY;
    }
    if (most > 0)
        find_first(s, h, least, out);
    kw_free(least);
}

void scan_best(const struct scan_line *line, struct scan_window *out)
{
    struct scan_sums s;
    struct scan_hits h;

    scan_sums_init(&s, line);
    scan_hits_init(&h, line->n);
    for (size_t i = 0; i < line->n; i++)
        if (line->failed[i] > 0)
            scan_hits_add(&h, &s, i, line->failed[i]);
    best_of(&s, &h, out);
    scan_hits_release(&h);
    scan_sums_release(&s);
}

int scan_run(const struct scan_line *line, const struct scan_chance *chance,
             struct scan_found *out)
{
    struct scan_line half = *line;
    int64_t total = 0;

    *out = (struct scan_found){.p = NAN};
    for (size_t i = 0; i < line->n; i++)
        total += line->failed[i];
    if (line->n < 4 || total < 5)
        return KW_ENOENT;
    if (half.longest > line->n / 2)
        half.longest = line->n / 2;
    scan_best(&half, &out->window);
    out->p = out->window.llr > 0 ? scan_p(&half, &out->window, chance) : 1;
    return 0;
}
