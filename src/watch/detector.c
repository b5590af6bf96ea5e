/*
 * detector.c - see detector.h.
 * Invariants: (1) a pair's exposure is complete up to its batch's day, with
 * the pots that were at risk at the start of each day; (2) between refreshes
 * rates are frozen, so E and U of a batch only grow; (3) all pairs of a batch
 * stand at the same day; (4) a cell is among its batch's young or, once all
 * its days to come are of the last age bin, its pots are in its pair's `old`.
 */
#include "watch/detector_inner.h"

#include <math.h>
#include <string.h>

const struct detector_setting detector_defaults = {
    .prior = {3, 0.012 / 30.4375},
    .place_weight = 15,
    .caution = 1,
    .cap = 2,
    .window_days = 7,
    .mix = {2, 1},
    .chart = {2.5, 7, 0},
    .suspect = 10,
    .failing = 50,
    .least = 3,
    .sweeps = 3,
    .reweigh_days = 0};

const char *detector_state_name(enum detector_state s)
{
    static const char *const names[] = {"sound", "suspect", "failing"};

    return names[s];
}

struct detector *detector_new(const struct detector_setting *set)
{
    struct detector *d = kw_calloc(1, sizeof(*d));

    d->set = *set;
    if (d->set.cap > DETECTOR_CAP_MOST)
        d->set.cap = DETECTOR_CAP_MOST;
    d->weight.nu = d->set.place_weight;
    return d;
}

void detector_free(struct detector *d)
{
    if (d == NULL)
        return;
    for (size_t b = 0; b < d->n_batches; b++)
        kw_free(d->batches[b].young);
    kw_free(d->cells);
    for (size_t i = 0; i < d->n_pairs; i++)
        kw_free(d->pairs[i].closed);
    kw_free(d->pairs);
    kw_free(d->batches);
    kw_free(d->shares);
    kw_free(d->places);
    kw_free(d);
}

struct detector_weight detector_weight(const struct detector *d)
{
    return d->weight;
}

double detector_eager(const struct detector *d, int batch, int64_t place)
{
    if (batch < 0 || (size_t)batch >= d->n_batches)
        return 1;
    for (int i = d->batches[batch].first; i >= 0; i = d->pairs[i].next)
        if (d->pairs[i].place == place)
            return d->pairs[i].factor;
    return 1;
}

int detector_batches(const struct detector *d)
{
    return (int)d->n_batches;
}

/* ---- days ---- */

/* Pot-days of a pair at an age; U's growth by them. */
static double expose(const struct detector *d, struct pair *p, int bin,
                     double x)
{
    struct batch *b = &d->batches[p->batch];
    double e = p->factor * d->shares[p->batch].rate[bin] * x;

    p->x[bin] += x;
    b->e += e;
    return e * b->caution[bin];
}

/* The days of a cell up to the end of a day; U's growth by them. */
static double expose_cell(const struct detector *d, const struct cell *c,
                          int day)
{
    int upto = d->batches[c->batch].day;
    double from = upto > c->day ? upto - c->day : 0, to = day - c->day;
    double grown = 0;

    if (day <= c->day || c->pots == 0)
        return 0;
    for (int k = 0; k < BINS && to > breakage_edges_days[k]; k++) {
        double low = breakage_edges_days[k], high = to;

        if (k + 1 < BINS && breakage_edges_days[k + 1] < high)
            high = breakage_edges_days[k + 1];
        low = from > low ? from : low;
        if (high > low)
            grown += expose(d, &d->pairs[c->pair], k,
                            (high - low) * (double)c->pots);
    }
    return grown;
}

/* Brings a batch to the end of a day: exposure, E, U, the CUSUM's fall. */
static void advance_batch(struct detector *d, size_t batch, int day)
{
    struct batch *b = &d->batches[batch];
    double grown = 0;
    size_t left = 0;

    if (day <= b->day)
        return;
    for (int i = b->first; i >= 0; i = d->pairs[i].next) {
        struct pair *p = &d->pairs[i];

        if (p->old > 0)
            grown +=
                expose(d, p, BINS - 1, (double)(day - b->day) * (double)p->old);
    }
    for (size_t i = 0; i < b->n_young; i++) {
        struct cell *c = &d->cells[b->young[i]];

        grown += expose_cell(d, c, day);
        c->old = day - c->day >= breakage_edges_days[BINS - 1];
        if (c->old)
            d->pairs[c->pair].old += c->pots;
        else
            b->young[left++] = b->young[i];
    }
    b->n_young = left;
    b->u += grown;
    b->cusum = cluster_cusum(b->cusum, d->set.chart.rho, grown, 0);
    b->day = day;
}

/*
 * Before a refresh, which takes E and U afresh: of a batch with neither young
 * cells nor a CUSUM that could fall only the exposure matters.
 */
static void advance_exposure(struct detector *d, size_t batch, int day)
{
    struct batch *b = &d->batches[batch];

    if (b->n_young > 0 || b->cusum > 0) {
        advance_batch(d, batch, day);
        return;
    }
    for (int i = b->first; i >= 0 && day > b->day; i = d->pairs[i].next)
        d->pairs[i].x[BINS - 1] +=
            (double)(day - b->day) * (double)d->pairs[i].old;
    b->day = day > b->day ? day : b->day;
}

static double log_bf(const struct detector *d, const struct batch *b)
{
    int64_t counted = b->counted - b->counted_closed;

    if (counted < d->set.least)
        return NAN;
    return cluster_log_bf(&d->set.mix, counted, fmax(b->u - b->u_closed, 0));
}

/* Without it no day that passes makes it failing: the CUSUM only falls. */
static bool suspicious(const struct detector *d, const struct batch *b)
{
    return b->cusum >= d->set.chart.limit ||
           b->counted - b->counted_closed >= d->set.least;
}

/* True when it is newly found failing. */
static bool judge(struct detector *d, size_t batch)
{
    struct batch *b = &d->batches[batch];

    if (d->shares[batch].failing || !suspicious(d, b) ||
        !(b->cusum >= d->set.chart.limit ||
          log_bf(d, b) >= log(d->set.failing)))
        return false;
    d->shares[batch].failing = true;
    b->alarm_day = b->day;
    return true;
}

/* A refresh moves U: the end of its day is judged for all. */
static int end_day(struct detector *d)
{
    int found = 0;

    for (size_t b = 0; d->refreshed && b < d->n_batches; b++) {
        if (d->shares[b].failing || !suspicious(d, &d->batches[b]))
            continue;
        advance_batch(d, b, d->day);
        found += judge(d, b);
    }
    d->refreshed = false;
    return found;
}

/* To the start of a day: refreshes on the way and of that day included. */
static int to_day(struct detector *d, int day)
{
    int found = 0;

    if (day < d->day)
        return KW_EINVAL;
    if (d->first > d->day && !d->refreshed)
        d->day = day < d->first ? day : d->first;
    while (d->day < day) {
        int next = (d->day / WEEK + 1) * WEEK;

        found += end_day(d);
        if (next > day) {
            d->day = day;
            break;
        }
        for (size_t b = 0; b < d->n_batches; b++)
            advance_exposure(d, b, next - 1);
        detector_refresh(d, next);
        d->day = next;
        d->refreshed = true;
    }
    return found;
}

int detector_advance(struct detector *d, int day)
{
    int found = to_day(d, day);

    return found < 0 ? found : found + end_day(d);
}

/* ---- events ---- */

static void room_for(struct detector *d, int batch, int place)
{
    kw_grow(&d->batches, &d->batches_cap, (size_t)batch + 1,
            sizeof(*d->batches));
    kw_grow(&d->shares, &d->shares_cap, (size_t)batch + 1, sizeof(*d->shares));
    kw_grow(&d->places, &d->places_cap, (size_t)place + 1, sizeof(*d->places));
    for (; d->n_batches <= (size_t)batch; d->n_batches++) {
        d->batches[d->n_batches] =
            (struct batch){.first = -1, .last = -1, .day = d->day};
        d->shares[d->n_batches] = (struct shares){.failing = false};
        detector_rate_batch(d, &d->shares[d->n_batches]);
        detector_caution_batch(d, d->n_batches);
    }
    for (; d->n_places <= (size_t)place; d->n_places++)
        d->places[d->n_places] = (struct place){.batches = 0};
}

static int pair_of(struct detector *d, int batch, int place)
{
    struct batch *b = &d->batches[batch];
    struct pair p = {.batch = batch, .place = place, .next = -1};

    for (int i = b->first; i >= 0; i = d->pairs[i].next)
        if (d->pairs[i].place == place)
            return i;
    kw_grow(&d->pairs, &d->pairs_cap, d->n_pairs + 1, sizeof(*d->pairs));
    detector_rate_pair(d, &p);
    d->pairs[d->n_pairs] = p;
    d->places[place].batches++;
    if (b->first < 0)
        b->first = (int)d->n_pairs;
    else
        d->pairs[b->last].next = (int)d->n_pairs;
    b->last = (int)d->n_pairs;
    return (int)d->n_pairs++;
}

int detector_deliver(struct detector *d, int batch, int place, int day,
                     int64_t pots)
{
    struct batch *b;
    struct cell c = {.batch = batch, .day = day, .pots = pots};

    if (batch < 0 || place < 0 || batch >= DETECTOR_NUMBER_MOST ||
        place >= DETECTOR_NUMBER_MOST || pots < 1 ||
        d->n_cells >= DETECTOR_NUMBER_MOST || day < d->day)
        return KW_ERANGE;
    room_for(d, batch, place);
    b = &d->batches[batch];
    c.pair = pair_of(d, batch, place);
    kw_grow(&d->cells, &d->cells_cap, d->n_cells + 1, sizeof(*d->cells));
    kw_grow(&b->young, &b->young_cap, b->n_young + 1, sizeof(*b->young));
    if (d->n_cells == 0 || day < d->first)
        d->first = day;
    d->cells[d->n_cells] = c;
    b->young[b->n_young++] = (int)d->n_cells;
    return (int)d->n_cells++;
}

int detector_add(struct detector *d, int cell, int64_t pots)
{
    struct cell *c;

    if (cell < 0 || (size_t)cell >= d->n_cells)
        return KW_ENOENT;
    c = &d->cells[cell];
    if (pots < 1 || d->day > c->day || d->batches[c->batch].day > c->day)
        return KW_EINVAL;
    c->pots += pots;
    return 0;
}

/*
 * One flood, one overturned cart: at most cap in a window count, of all pots
 * of the batch in the place, on whichever days they were handed out.
 */
static bool counts(const struct detector *d, struct pair *p, int day)
{
    int cap = d->set.cap;

    if (p->n_counted >= cap &&
        day - p->counted_on[(p->n_counted - cap) % DETECTOR_CAP_MOST] <
            d->set.window_days)
        return false;
    p->counted_on[p->n_counted++ % DETECTOR_CAP_MOST] = day;
    return true;
}

/* So many pots of a cell are at risk no longer. */
static void take_away(struct detector *d, struct cell *c, int64_t pots)
{
    c->pots -= pots;
    if (c->old)
        d->pairs[c->pair].old -= pots;
}

/* To the day of an event, its batch with that day's exposure. */
static int event_day(struct detector *d, int cell, int day)
{
    int found;

    if (cell < 0 || (size_t)cell >= d->n_cells || d->cells[cell].pots == 0)
        return KW_ENOENT;
    found = to_day(d, day);
    if (found >= 0)
        advance_batch(d, (size_t)d->cells[cell].batch, day);
    return found;
}

int detector_fail(struct detector *d, int cell, int day)
{
    int found = event_day(d, cell, day);
    struct batch *b;
    struct cell *c;

    if (found < 0)
        return found;
    c = &d->cells[cell];
    b = &d->batches[c->batch];
    b->reported++;
    take_away(d, c, 1);
    if (!counts(d, &d->pairs[c->pair], day))
        return found;
    b->counted++;
    d->shares[c->batch].failed[breakage_bin(day - c->day)]++;
    d->pairs[c->pair].counted++;
    b->cusum += log(d->set.chart.rho);
    /* U holds the whole day already: later reports of it only add. */
    return found + judge(d, (size_t)c->batch);
}

int detector_withdraw(struct detector *d, int cell, int day, int64_t pots)
{
    int found = event_day(d, cell, day);

    if (found < 0)
        return found;
    if (pots < 0 || pots > d->cells[cell].pots)
        return KW_ERANGE;
    take_away(d, &d->cells[cell], pots);
    return found;
}

void detector_close(struct detector *d, int batch)
{
    struct batch *b;

    if (batch < 0 || (size_t)batch >= d->n_batches)
        return;
    b = &d->batches[batch];
    advance_batch(d, (size_t)batch, d->day);
    for (int i = b->first; i >= 0; i = d->pairs[i].next) {
        struct pair *p = &d->pairs[i];

        if (p->closed == NULL)
            p->closed = kw_calloc(BINS, sizeof(*p->closed));
        memcpy(p->closed, p->x, sizeof(p->x));
        p->counted_closed = p->counted;
    }
    b->reported_closed = b->reported;
    b->counted_closed = b->counted;
    b->e_closed = b->e;
    b->u_closed = b->u;
    b->cusum = d->set.chart.start;
    d->shares[batch].failing = false;
    b->alarm_day = 0;
}

/* ---- what is said ---- */

static void look_at_places(const struct detector *d, const struct batch *b,
                           struct detector_verdict *out)
{
    for (int i = b->first; i >= 0; i = d->pairs[i].next) {
        const struct pair *p = &d->pairs[i];
        int64_t counted = p->counted - p->counted_closed;

        if (counted == 0)
            continue;
        out->places++;
        if (d->places[p->place].batches == 1 &&
            10 * counted >= 8 * out->counted)
            out->place_bound = true;
    }
}

void detector_verdict(struct detector *d, int batch,
                      struct detector_verdict *out)
{
    struct batch *b;

    *out = (struct detector_verdict){.log_bf = NAN};
    if (batch < 0 || (size_t)batch >= d->n_batches)
        return;
    b = &d->batches[batch];
    advance_batch(d, (size_t)batch, d->day);
    out->reported = b->reported - b->reported_closed;
    out->counted = b->counted - b->counted_closed;
    out->expected = fmax(b->e - b->e_closed, 0);
    out->upper = fmax(b->u - b->u_closed, 0);
    out->log_bf = log_bf(d, b);
    out->cusum = b->cusum;
    out->risk = cluster_risk(out->counted, out->expected);
    out->alarm_day = b->alarm_day;
    out->state = d->shares[batch].failing             ? DETECTOR_FAILING
                 : out->log_bf >= log(d->set.suspect) ? DETECTOR_SUSPECT
                                                      : DETECTOR_SOUND;
    look_at_places(d, b, out);
}
