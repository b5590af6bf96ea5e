/* scan.c - see scan.h. */
#include "watch/scan.h"

#include <math.h>
#include <string.h>

/* Totals of the line, and sums up to each cell. */
struct sums {
    size_t n, longest;
    int64_t total;
    double *expected; /* n + 1, scaled to the total */
    int64_t *failed;  /* n + 1 */
};

static void sums_init(struct sums *s, const struct scan_line *line)
{
    double all = 0;

    s->n = line->n;
    s->longest = line->longest > 0 ? line->longest : line->n / 2;
    s->total = 0;
    s->expected = kw_calloc(line->n + 1, sizeof(*s->expected));
    s->failed = kw_calloc(line->n + 1, sizeof(*s->failed));
    for (size_t i = 0; i < line->n; i++) {
        all += line->expected[i];
        s->total += line->failed[i];
    }
    for (size_t i = 0; i < line->n; i++) {
        s->expected[i + 1] = s->expected[i] + line->expected[i];
        s->failed[i + 1] = s->failed[i] + line->failed[i];
    }
    for (size_t i = 1; i <= line->n && all > 0; i++)
        s->expected[i] *= (double)s->total / all;
}

static void sums_release(struct sums *s)
{
    kw_free(s->expected);
    kw_free(s->failed);
}

static double llr(double o, double e, double all)
{
    double rest = all > o ? (all - o) * log((all - o) / (all - e)) : 0;

    return o > e ? o * log(o / e) + rest : 0;
}

/*
 * A window that begins or ends with a cell that has no failure is beaten by
 * the one without that cell: only ends with failures are looked at, so the
 * cost goes with the failures and not with the cells.
 */
static void best_of(const struct sums *s, const size_t *hits, size_t n_hits,
                    struct scan_window *out)
{
    *out = (struct scan_window){.llr = 0};
    for (size_t a = 0; a < n_hits; a++)
        for (size_t b = a; b < n_hits && hits[b] - hits[a] < s->longest; b++) {
            size_t i = hits[a], j = hits[b];
            int64_t o = s->failed[j + 1] - s->failed[i];
            double e = s->expected[j + 1] - s->expected[i];
            double v = llr((double)o, e, (double)s->total);

            if (v > out->llr + 1e-12)
                *out = (struct scan_window){v, i, j, o, e};
        }
}

/*
 * The greatest ratio alone: of windows with as many failures the one that
 * expects least is the greatest, so a logarithm a count is enough.
 * least: total + 1 places.
 */
static double greatest_of(const struct sums *s, const size_t *hits,
                          size_t n_hits, double *least)
{
    double all = (double)s->total, most = 0;

    for (int64_t o = 0; o <= s->total; o++)
        least[o] = INFINITY;
    for (size_t a = 0; a < n_hits; a++) {
        int64_t o = -s->failed[hits[a]];
        double e = s->expected[hits[a]];

        for (size_t b = a; b < n_hits && hits[b] - hits[a] < s->longest; b++) {
            double *at = &least[o + s->failed[hits[b] + 1]];

            *at = fmin(*at, s->expected[hits[b] + 1] - e);
        }
    }
    for (int64_t o = 1; o <= s->total; o++)
        if (least[o] < (double)o)
            most = fmax(most, llr((double)o, least[o], all));
    return most;
}

static size_t find_hits(const struct sums *s, size_t *hits)
{
    size_t n = 0;

    for (size_t i = 0; i < s->n; i++)
        if (s->failed[i + 1] > s->failed[i])
            hits[n++] = i;
    return n;
}

void scan_best(const struct scan_line *line, struct scan_window *out)
{
    struct sums s;
    size_t *hits = kw_calloc(line->n + 1, sizeof(*hits));

    sums_init(&s, line);
    best_of(&s, hits, find_hits(&s, hits), out);
    sums_release(&s);
    kw_free(hits);
}

/* splitmix64 (Steele, Lea & Flood 2014), a number in [0, 1). */
static double unit(uint64_t *state)
{
    uint64_t z = (*state += 0x9e3779b97f4a7c15u);

    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

/* The cell whose share of the line holds a point: halving. */
static size_t cell_at(const struct sums *s, double point)
{
    size_t low = 0, high = s->n;

    while (high - low > 1) {
        size_t mid = (low + high) / 2;

        if (s->expected[mid] <= point)
            low = mid;
        else
            high = mid;
    }
    return low;
}

/* The same number of failures, thrown on the line by its expectation. */
static void throw_failures(struct sums *s, uint64_t *state, int64_t *cells)
{
    memset(cells, 0, s->n * sizeof(*cells));
    for (int64_t i = 0; i < s->total; i++)
        cells[cell_at(s, unit(state) * (double)s->total)]++;
    for (size_t i = 0; i < s->n; i++)
        s->failed[i + 1] = s->failed[i] + cells[i];
}

double scan_p(const struct scan_line *line, const struct scan_window *best,
              const struct scan_chance *chance)
{
    struct sums s;
    size_t *hits = kw_calloc(line->n + 1, sizeof(*hits));
    int64_t *cells = kw_calloc(line->n + 1, sizeof(*cells));
    double *least;
    uint64_t state = chance->seed;
    int done = 0, great = 0;

    sums_init(&s, line);
    least = kw_calloc((size_t)s.total + 1, sizeof(*least));
    while (done < chance->most &&
           (chance->enough <= 0 || great < chance->enough)) {
        throw_failures(&s, &state, cells);
        great += greatest_of(&s, hits, find_hits(&s, hits), least) >=
                 best->llr - 1e-9;
        done++;
    }
    sums_release(&s);
    kw_free(hits);
    kw_free(cells);
    kw_free(least);
    if (chance->enough > 0 && great >= chance->enough)
        return (double)chance->enough / done;
    return (1.0 + great) / (1.0 + done);
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
