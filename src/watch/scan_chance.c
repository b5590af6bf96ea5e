/*
 * scan_chance.c - how often chance throws a window as great. A replica is
 * only asked whether it has one. Each failure stands for itself: of those of
 * one cell a window from the second on is beaten by that from the first, so
 * no window is made greater by it, and windows of o failures are those from
 * the i-th to the (i + o - 1)-th.
 *
 * Windows of o failures are as great as the limit when they expect W(o) or
 * less. Of up to NEAR failures all are looked at, the least expected of each
 * count. Of more, most are left out many at a time: what is needed is an
 * excess (o less what is expected) of o - W(o). The ratio being jointly convex
 * in o and e, W is convex and o - W(o) concave: of all counts between two, one
 * of the two needs the least. With S(x) the failures up to x less what was
 * expected up to there, an excess is S behind the last cell less S before the
 * first. So no window that begins among some failures and ends among others
 * reaches the limit when the greatest S of these less the least of those is
 * below what the least and the most failures between them need. Those that
 * may are halved and asked again.
 */
#include "watch/scan_inner.h"

#include <math.h>
#include <string.h>

#define NEAR   8  /* failures of the windows that are all looked at */
#define LANES  8  /* of them at once; the compiler makes vectors of it */
#define LEAF   8  /* failures that are not halved further */
#define LEVELS 60 /* of halving, at most */
#define NEWTON 60 /* steps at most; about six are taken */
#define ROOM   1e-9

struct throws {
    struct scan_sums sums;
    uint64_t state; /* of the generator */
    size_t n;       /* failures */
    /* Points of the line: as drawn; in order, sorted by buckets. */
    double *drawn, *points;
    uint32_t *bucket;
    /* The cell in which each of that many even parts of the line begins. */
    size_t *guide, parts;
    /* Of each failure in order: its cell, expected up to it, and with it;
     * behind the last infinity. */
    size_t *cell;
    double *lower, *upper;
    /* What is asked. */
    double limit;
    double *need; /* excess by failures, 0 to n */
    /* S up to and with the cell; S up to it. */
    double *behind, *ahead;
    /* The greatest behind and the least ahead of leaves, of twos of leaves,
     * of fours, … */
    double *high, *low;
    size_t first[LEVELS]; /* of a level, in high and low */
    int top;              /* the level that is one node */
};

/* ---- throwing ---- */

/* splitmix64 (Steele, Lea & Flood 2014), a number in [0, 1). */
static double unit(uint64_t *state)
{
    uint64_t z = (*state += 0x9e3779b97f4a7c15u);

    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return (double)((z ^ (z >> 31)) >> 11) * 0x1p-53;
}

/* n points, to points in order: half a point a bucket on average. */
static void draw_points(struct throws *t)
{
    uint32_t *at = t->bucket;

    memset(at, 0, (2 * t->n + 1) * sizeof(*at));
    for (size_t i = 0; i < t->n; i++) {
        t->drawn[i] = unit(&t->state) * (double)t->sums.total;
        at[(size_t)(2 * t->drawn[i]) + 1]++;
    }
    for (size_t i = 1; i < 2 * t->n; i++)
        at[i] += at[i - 1];
    for (size_t i = 0; i < t->n; i++)
        t->points[at[(size_t)(2 * t->drawn[i])]++] = t->drawn[i];
    for (size_t i = 1; i < t->n; i++) {
        double point = t->points[i];
        size_t to = i;

        for (; to > 0 && t->points[to - 1] > point; to--)
            t->points[to] = t->points[to - 1];
        t->points[to] = point;
    }
}

/* About where the cell is whose share of the line holds a point. */
static size_t guess_cell(const struct throws *t, double point)
{
    double at = point * ((double)t->parts / (double)t->sums.total);
    size_t part = (size_t)at < t->parts ? (size_t)at : t->parts - 1;
    size_t cells = t->guide[part + 1] - t->guide[part];

    return t->guide[part] + (size_t)((at - (double)part) * (double)cells);
}

/* The same number of failures, thrown on the line by its expectation. The
 * guesses come first, so that many cells are on their way from memory. */
static void throw_failures(struct throws *t)
{
    const double *expected = t->sums.expected;

    draw_points(t);
    for (size_t i = 0; i < t->n; i++) {
        t->cell[i] = guess_cell(t, t->points[i]);
        __builtin_prefetch(&expected[t->cell[i]]);
    }
    for (size_t i = 0; i < t->n; i++) {
        size_t cell = t->cell[i];

        while (cell > 0 && expected[cell] > t->points[i])
            cell--;
        while (cell + 1 < t->sums.n && expected[cell + 1] <= t->points[i])
            cell++;
        t->cell[i] = cell;
        t->lower[i] = expected[cell];
        t->upper[i] = expected[cell + 1];
    }
}

/* ---- asking ---- */

/*
 * W(o): Newton from the left, where the ratio is greater, on a function that
 * falls and is convex: it comes nearer and never passes.
 */
static double widest(double o, double all, double limit)
{
    double e = o * exp(-1 - limit / o);

    for (int k = 0; k < NEWTON; k++) {
        double slope = (all - o) / (all - e) - o / e;
        double step = (limit - scan_llr(o, e, all)) / slope;

        if (!(step > 1e-13 * o))
            break;
        e = e + step < o ? e + step : o;
    }
    return e;
}

/* With room for rounding: what is near the limit is looked at itself. */
static void find_needs(struct throws *t)
{
    double all = (double)t->sums.total, room = ROOM * (1 + all);
    double limit = t->limit - room;

    t->need[0] = -room;
    for (int64_t o = 1; o <= t->sums.total; o++)
        t->need[o] = limit > 0
                         ? (double)o - widest((double)o, all, limit) - room
                         : -room;
}

static bool window_reaches(const struct throws *t, size_t a, size_t b)
{
    return t->cell[b] - t->cell[a] < t->sums.longest &&
           scan_llr((double)(b - a + 1), t->upper[b] - t->lower[a],
                    (double)t->sums.total) >= t->limit;
}

/* The least expected of all windows of o failures, o <= NEAR. */
static double least_expected(const struct throws *t, size_t o)
{
    double least[LANES], min = INFINITY;

    for (size_t k = 0; k < LANES; k++)
        least[k] = INFINITY;
    for (size_t a = 0; a + o <= t->n; a += LANES) {
        const double *lower = t->lower + a, *upper = t->upper + a + o - 1;

        for (size_t k = 0; k < LANES; k++) {
            double e = upper[k] - lower[k];

            least[k] = e < least[k] ? e : least[k];
        }
    }
    for (size_t k = 0; k < LANES; k++)
        min = least[k] < min ? least[k] : min;
    return min;
}

static bool near_reaches(const struct throws *t)
{
    for (size_t o = 1; o <= NEAR && o <= t->n; o++)
        if (least_expected(t, o) <= (double)o - t->need[o])
            for (size_t a = 0; a + o <= t->n; a++)
                if (window_reaches(t, a, a + o - 1))
                    return true;
    return false;
}

static void build_leaves(struct throws *t)
{
    for (size_t k = 0; k < t->n; k++) {
        double ahead = (double)k - t->lower[k];
        double behind = (double)(k + 1) - t->upper[k];
        size_t leaf = k / LEAF;

        if (k % LEAF == 0) {
            t->high[leaf] = behind;
            t->low[leaf] = ahead;
        }
        t->high[leaf] = behind > t->high[leaf] ? behind : t->high[leaf];
        t->low[leaf] = ahead < t->low[leaf] ? ahead : t->low[leaf];
        t->ahead[k] = ahead;
        t->behind[k] = behind;
    }
}

static void build(struct throws *t)
{
    size_t nodes = (t->n + LEAF - 1) / LEAF;
    int level = 0;

    build_leaves(t);
    t->first[0] = 0;
    for (; nodes > 1; level++) {
        const double *high = t->high + t->first[level];
        const double *low = t->low + t->first[level];
        size_t up = t->first[level] + nodes;

        t->first[level + 1] = up;
        for (size_t i = 0; i < nodes; i += 2) {
            size_t j = i + 1 < nodes ? i + 1 : i;

            t->high[up] = high[i] > high[j] ? high[i] : high[j];
            t->low[up++] = low[i] < low[j] ? low[i] : low[j];
        }
        nodes = (nodes + 1) / 2;
    }
    t->top = level;
}

static size_t end_of(const struct throws *t, int level, size_t node)
{
    size_t end = (node + 1) * LEAF << level;

    return end < t->n ? end : t->n;
}

/* Windows from a failure of node i to one of node j: may one reach? */
static bool may_reach(const struct throws *t, int level, size_t i, size_t j)
{
    size_t a = i * LEAF << level, b = j * LEAF << level;
    size_t a_last = end_of(t, level, i) - 1;
    size_t least = i != j ? b - a_last + 1 : 1;
    size_t most = end_of(t, level, j) - a;

    if (most <= NEAR ||
        (i != j && t->cell[b] - t->cell[a_last] >= t->sums.longest))
        return false;
    if (least <= NEAR)
        least = NEAR + 1;
    return t->high[t->first[level] + j] - t->low[t->first[level] + i] >=
           (t->need[least] < t->need[most] ? t->need[least] : t->need[most]);
}

/* Each window from a failure of leaf i to one of leaf j. */
static bool leaves_reach(const struct throws *t, size_t i, size_t j)
{
    size_t a_end = end_of(t, 0, i), b_end = end_of(t, 0, j);

    for (size_t a = i * LEAF; a < a_end; a++)
        for (size_t b = i == j ? a : j * LEAF; b < b_end; b++)
            if (t->behind[b] - t->ahead[a] >= t->need[b - a + 1] &&
                window_reaches(t, a, b))
                return true;
    return false;
}

static bool nodes_reach(const struct throws *t, int level, size_t i, size_t j)
{
    size_t nodes;

    if (!may_reach(t, level, i, j))
        return false;
    if (level == 0)
        return leaves_reach(t, i, j);
    nodes = t->first[level] - t->first[level - 1];
    for (size_t a = 2 * i; a <= 2 * i + 1; a++)
        for (size_t b = 2 * j; b <= 2 * j + 1; b++)
            if (a <= b && b < nodes && nodes_reach(t, level - 1, a, b))
                return true;
    return false;
}

static bool reaches(struct throws *t)
{
    if (t->limit <= 0 || t->n == 0)
        return t->limit <= 0;
    if (near_reaches(t))
        return true;
    build(t);
    return nodes_reach(t, t->top, 0, 0);
}

/* ---- storage ---- */

static void find_guide(struct throws *t)
{
    const struct scan_sums *s = &t->sums;
    double part = (double)s->total / (double)t->parts;
    size_t cell = 0;

    for (size_t k = 0; k <= t->parts; k++) {
        while (cell + 1 < s->n && s->expected[cell + 1] <= part * (double)k)
            cell++;
        t->guide[k] = cell;
    }
}

static void throws_init(struct throws *t, const struct scan_line *line)
{
    size_t n;

    scan_sums_init(&t->sums, line);
    t->n = n = (size_t)t->sums.total;
    t->drawn = kw_calloc(n + 1, sizeof(*t->drawn));
    t->points = kw_calloc(n + 1, sizeof(*t->points));
    t->bucket = kw_calloc(2 * n + 2, sizeof(*t->bucket));
    t->parts = line->n < n ? line->n : n;
    t->guide = kw_calloc(t->parts + 1, sizeof(*t->guide));
    t->cell = kw_calloc(n + 1, sizeof(*t->cell));
    t->lower = kw_calloc(n + LANES, sizeof(*t->lower));
    t->upper = kw_calloc(n + NEAR + LANES, sizeof(*t->upper));
    for (size_t i = 0; i < NEAR + LANES; i++)
        t->upper[n + i] = INFINITY;
    t->need = kw_calloc(n + 1, sizeof(*t->need));
    t->behind = kw_calloc(n + 1, sizeof(*t->behind));
    t->ahead = kw_calloc(n + 1, sizeof(*t->ahead));
    /* n + n/2 + n/4 + …, each rounded up */
    t->high = kw_calloc(2 * (n / LEAF + 1) + LEVELS, sizeof(*t->high));
    t->low = kw_calloc(2 * (n / LEAF + 1) + LEVELS, sizeof(*t->low));
    if (t->parts > 0)
        find_guide(t);
    find_needs(t);
}

static void throws_release(struct throws *t)
{
    scan_sums_release(&t->sums);
    kw_free(t->drawn);
    kw_free(t->points);
    kw_free(t->bucket);
    kw_free(t->guide);
    kw_free(t->cell);
    kw_free(t->lower);
    kw_free(t->upper);
    kw_free(t->need);
    kw_free(t->behind);
    kw_free(t->ahead);
    kw_free(t->high);
    kw_free(t->low);
}

double scan_p(const struct scan_line *line, const struct scan_window *best,
              const struct scan_chance *chance)
{
    struct throws t = {.state = chance->seed, .limit = best->llr - 1e-9};
    int done = 0, great = 0;

    throws_init(&t, line);
    while (done < chance->most &&
           (chance->enough <= 0 || great < chance->enough)) {
        throw_failures(&t);
        great += reaches(&t);
        done++;
    }
    throws_release(&t);
    if (chance->enough > 0 && great >= chance->enough)
        return (double)chance->enough / done;
    return (1.0 + great) / (1.0 + done);
}
