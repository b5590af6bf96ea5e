/*
 * detector.c - see detector.h.
 * Invariants: (1) a cell's exposure is complete up to its batch's day, with
 * the pots that were at risk at the start of each day; (2) between refreshes
 * rates are frozen, so E and U of a batch only grow; (3) all cells of a batch
 * stand at the same day.
 */
#include "watch/detector.h"

#include <math.h>
#include <string.h>

#define BINS BREAKAGE_BINS
#define WEEK 7

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
    .sweeps = 3};

struct cell {
    int batch, pair, day;
    int64_t pots;                      /* at risk */
    double x[BINS];                    /* pot-days at risk */
    double x_closed[BINS];             /* of them before the last closing */
    int counted_on[DETECTOR_CAP_MOST]; /* the last days that counted */
    int n_counted;
};

struct pair { /* a batch in a place */
    int batch, place;
    int64_t counted;
    double expected; /* of the present sweep, without the place's factor */
    double factor;   /* r */
};

struct batch {
    int *cells;
    size_t n_cells, cap;
    int day; /* its cells are complete up to the end of it */
    int64_t reported, counted;
    int64_t reported_closed, counted_closed;
    double e, u, e_closed, u_closed, cusum;
    double rate[BINS];     /* lam, the batch left out */
    double caution[BINS];  /* U over E */
    double exposure[BINS]; /* r-weighted, of the present sweep */
    int64_t failed[BINS];
    int alarm_day;
    bool failing;
};

struct place {
    int64_t counted;
    double expected;
    int batches;
};

struct detector {
    struct detector_setting set;
    struct cell *cells;
    struct pair *pairs;
    struct batch *batches;
    struct place *places;
    size_t n_cells, cells_cap, n_pairs, pairs_cap;
    size_t n_batches, batches_cap, n_places, places_cap;
    double exposure[BINS], failed[BINS]; /* of all batches in the baseline */
    int day;
    int first;      /* the earliest delivery: before it there is no time */
    bool refreshed; /* on the present day, whose end is still to be judged */
};

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
    return d;
}

void detector_free(struct detector *d)
{
    if (d == NULL)
        return;
    for (size_t b = 0; b < d->n_batches; b++)
        kw_free(d->batches[b].cells);
    kw_free(d->cells);
    kw_free(d->pairs);
    kw_free(d->batches);
    kw_free(d->places);
    kw_free(d);
}

int detector_batches(const struct detector *d)
{
    return (int)d->n_batches;
}

/* ---- rates: frozen between refreshes ---- */

/* The others' rate at each age, and how much surer U is made than E. */
static void rate_batch(const struct detector *d, struct batch *b)
{
    const struct breakage_prior *prior = &d->set.prior;

    for (int k = 0; k < BINS; k++) {
        double own_x = b->failing ? 0 : b->exposure[k];
        double own_d = b->failing ? 0 : (double)b->failed[k];
        double events = prior->events + (d->failed[k] - own_d);

        b->rate[k] = events / (prior->events / prior->rate_per_day +
                               (d->exposure[k] - own_x));
        b->caution[k] = 1 + d->set.caution / sqrt(events);
    }
}

static void rate_pair(const struct detector *d, struct pair *p)
{
    const struct place *place = &d->places[p->place];
    bool out = d->batches[p->batch].failing;
    double own_o = out ? 0 : (double)p->counted, own_e = out ? 0 : p->expected;

    p->factor = (d->set.place_weight + ((double)place->counted - own_o)) /
                (d->set.place_weight + (place->expected - own_e));
}

static void sum_failures(struct detector *d)
{
    memset(d->failed, 0, sizeof(d->failed));
    for (size_t b = 0; b < d->n_batches; b++)
        for (int k = 0; k < BINS && !d->batches[b].failing; k++)
            d->failed[k] += (double)d->batches[b].failed[k];
    for (size_t i = 0; i < d->n_places; i++)
        d->places[i].counted = 0;
    for (size_t i = 0; i < d->n_pairs; i++) {
        struct pair *p = &d->pairs[i];

        if (!d->batches[p->batch].failing)
            d->places[p->place].counted += p->counted;
        p->factor = 1;
    }
}

/* Exposure of each batch and of the baseline, as eagerly as it is told. */
static void sum_exposure(struct detector *d)
{
    memset(d->exposure, 0, sizeof(d->exposure));
    for (size_t b = 0; b < d->n_batches; b++)
        memset(d->batches[b].exposure, 0, sizeof(d->batches[b].exposure));
    for (size_t g = 0; g < d->n_cells; g++) {
        const struct cell *c = &d->cells[g];
        double factor = d->pairs[c->pair].factor;

        for (int k = 0; k < BINS; k++)
            d->batches[c->batch].exposure[k] += factor * c->x[k];
    }
    for (size_t b = 0; b < d->n_batches; b++)
        for (int k = 0; k < BINS && !d->batches[b].failing; k++)
            d->exposure[k] += d->batches[b].exposure[k];
}

static void sum_places(struct detector *d)
{
    for (size_t i = 0; i < d->n_pairs; i++)
        d->pairs[i].expected = 0;
    for (size_t i = 0; i < d->n_places; i++)
        d->places[i].expected = 0;
    for (size_t g = 0; g < d->n_cells; g++) {
        const struct cell *c = &d->cells[g];

        for (int k = 0; k < BINS; k++)
            d->pairs[c->pair].expected +=
                d->batches[c->batch].rate[k] * c->x[k];
    }
    for (size_t i = 0; i < d->n_pairs; i++) {
        const struct pair *p = &d->pairs[i];

        if (!d->batches[p->batch].failing)
            d->places[p->place].expected += p->expected;
    }
}

/* E and U of a batch from its exposure, at the present rates. */
static void expect(struct detector *d, struct batch *b)
{
    b->e = b->u = b->e_closed = b->u_closed = 0;
    for (size_t i = 0; i < b->n_cells; i++) {
        const struct cell *c = &d->cells[b->cells[i]];
        double factor = d->pairs[c->pair].factor;

        for (int k = 0; k < BINS; k++) {
            double rate = factor * b->rate[k];

            b->e += rate * c->x[k];
            b->u += rate * b->caution[k] * c->x[k];
            b->e_closed += rate * c->x_closed[k];
            b->u_closed += rate * b->caution[k] * c->x_closed[k];
        }
    }
}

static void refresh(struct detector *d)
{
    sum_failures(d);
    for (int sweep = 0; sweep < d->set.sweeps; sweep++) {
        sum_exposure(d);
        for (size_t b = 0; b < d->n_batches; b++)
            rate_batch(d, &d->batches[b]);
        sum_places(d);
        for (size_t i = 0; i < d->n_pairs; i++)
            rate_pair(d, &d->pairs[i]);
    }
    for (size_t b = 0; b < d->n_batches; b++)
        expect(d, &d->batches[b]);
}

/* ---- days ---- */

/* Brings a batch to the end of a day: exposure, E, U, the CUSUM's fall. */
static void advance_batch(struct detector *d, struct batch *b, int day)
{
    double grown = 0;

    if (day <= b->day)
        return;
    for (size_t i = 0; i < b->n_cells; i++) {
        struct cell *c = &d->cells[b->cells[i]];
        struct breakage_batch days = {0};
        double factor = d->pairs[c->pair].factor;

        if (day <= c->day || c->pots == 0)
            continue;
        breakage_expose(&days, b->day > c->day ? b->day - c->day : 0,
                        day - c->day);
        for (int k = 0; k < BINS; k++) {
            double x = days.exposure_days[k] * (double)c->pots;

            c->x[k] += x;
            b->e += factor * b->rate[k] * x;
            grown += factor * b->rate[k] * b->caution[k] * x;
        }
    }
    b->u += grown;
    b->cusum = cluster_cusum(b->cusum, d->set.chart.rho, grown, 0);
    b->day = day;
}

static double log_bf(const struct detector *d, const struct batch *b)
{
    int64_t counted = b->counted - b->counted_closed;

    if (counted < d->set.least)
        return NAN;
    return cluster_log_bf(&d->set.mix, counted, fmax(b->u - b->u_closed, 0));
}

/* True when it is newly found failing. */
static bool judge(struct detector *d, struct batch *b)
{
    if (b->failing || !(b->cusum >= d->set.chart.limit ||
                        log_bf(d, b) >= log(d->set.failing)))
        return false;
    b->failing = true;
    b->alarm_day = b->day;
    return true;
}

/* A refresh moves U: the end of its day is judged for all. */
static int end_day(struct detector *d)
{
    int found = 0;

    for (size_t b = 0; d->refreshed && b < d->n_batches; b++) {
        advance_batch(d, &d->batches[b], d->day);
        found += judge(d, &d->batches[b]);
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
            advance_batch(d, &d->batches[b], next - 1);
        refresh(d);
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
    kw_grow(&d->places, &d->places_cap, (size_t)place + 1, sizeof(*d->places));
    for (; d->n_batches <= (size_t)batch; d->n_batches++) {
        d->batches[d->n_batches] = (struct batch){.day = d->day};
        rate_batch(d, &d->batches[d->n_batches]);
    }
    for (; d->n_places <= (size_t)place; d->n_places++)
        d->places[d->n_places] = (struct place){.batches = 0};
}

static int pair_of(struct detector *d, int batch, int place)
{
    const struct batch *b = &d->batches[batch];
    struct pair p = {.batch = batch, .place = place};

    for (size_t i = 0; i < b->n_cells; i++) {
        int known = d->cells[b->cells[i]].pair;

        if (d->pairs[known].place == place)
            return known;
    }
    kw_grow(&d->pairs, &d->pairs_cap, d->n_pairs + 1, sizeof(*d->pairs));
    rate_pair(d, &p);
    d->pairs[d->n_pairs] = p;
    d->places[place].batches++;
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
    kw_grow(&b->cells, &b->cap, b->n_cells + 1, sizeof(*b->cells));
    if (d->n_cells == 0 || day < d->first)
        d->first = day;
    d->cells[d->n_cells] = c;
    b->cells[b->n_cells++] = (int)d->n_cells;
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

/* One flood, one overturned cart: at most cap in a window count. */
static bool counts(const struct detector *d, struct cell *c, int day)
{
    int cap = d->set.cap;

    if (c->n_counted >= cap &&
        day - c->counted_on[(c->n_counted - cap) % DETECTOR_CAP_MOST] <
            d->set.window_days)
        return false;
    c->counted_on[c->n_counted++ % DETECTOR_CAP_MOST] = day;
    return true;
}

/* To the day of an event, its batch with that day's exposure. */
static int event_day(struct detector *d, int cell, int day)
{
    int found;

    if (cell < 0 || (size_t)cell >= d->n_cells || d->cells[cell].pots == 0)
        return KW_ENOENT;
    found = to_day(d, day);
    if (found >= 0)
        advance_batch(d, &d->batches[d->cells[cell].batch], day);
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
    c->pots--;
    if (!counts(d, c, day))
        return found;
    b->counted++;
    b->failed[breakage_bin(day - c->day)]++;
    d->pairs[c->pair].counted++;
    b->cusum += log(d->set.chart.rho);
    /* U holds the whole day already: later reports of it only add. */
    return found + judge(d, b);
}

int detector_withdraw(struct detector *d, int cell, int day, int64_t pots)
{
    int found = event_day(d, cell, day);

    if (found < 0)
        return found;
    if (pots < 0 || pots > d->cells[cell].pots)
        return KW_ERANGE;
    d->cells[cell].pots -= pots;
    return found;
}

void detector_close(struct detector *d, int batch)
{
    struct batch *b;

    if (batch < 0 || (size_t)batch >= d->n_batches)
        return;
    b = &d->batches[batch];
    advance_batch(d, b, d->day);
    for (size_t i = 0; i < b->n_cells; i++) {
        struct cell *c = &d->cells[b->cells[i]];

        memcpy(c->x_closed, c->x, sizeof(c->x));
    }
    b->reported_closed = b->reported;
    b->counted_closed = b->counted;
    b->e_closed = b->e;
    b->u_closed = b->u;
    b->cusum = d->set.chart.start;
    b->failing = false;
    b->alarm_day = 0;
}

/* ---- what is said ---- */

static void look_at_places(const struct detector *d, const struct batch *b,
                           struct detector_verdict *out)
{
    for (size_t i = 0; i < b->n_cells; i++) {
        const struct cell *c = &d->cells[b->cells[i]];
        const struct pair *p = &d->pairs[c->pair];
        bool first = true;

        for (size_t j = 0; j < i && first; j++)
            first = d->cells[b->cells[j]].pair != c->pair;
        if (!first || p->counted == 0)
            continue;
        out->places++;
        if (d->places[p->place].batches == 1 &&
            10 * p->counted >= 8 * b->counted)
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
    advance_batch(d, b, d->day);
    out->reported = b->reported - b->reported_closed;
    out->counted = b->counted - b->counted_closed;
    out->expected = fmax(b->e - b->e_closed, 0);
    out->upper = fmax(b->u - b->u_closed, 0);
    out->log_bf = log_bf(d, b);
    out->cusum = b->cusum;
    out->risk = cluster_risk(out->counted, out->expected);
    out->alarm_day = b->alarm_day;
    out->state = b->failing                           ? DETECTOR_FAILING
                 : out->log_bf >= log(d->set.suspect) ? DETECTOR_SUSPECT
                                                      : DETECTOR_SOUND;
    look_at_places(d, b, out);
}
