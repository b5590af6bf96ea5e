/*
 * sim_flow.c - 4,000 made-up pots over 900 days, read every 30 to 60 days,
 * 6 % of the readings grossly wrong: how often does each rule replace a pot
 * that still flows, how often is it late, and by how much? Prints a table;
 * fails when the filter is outside what docs/science.md promises.
 *
 * The world: first flow ln-normal about 2.2 L (sd 0.25), slope -0.0022 a day
 * (sd 0.001), wander 1e-4 a day, readings with 20 % noise. Homes scrub every
 * three to nine months of their own accord and say so: ln flow +0.25 (sd 0.2).
 * A gross error is a factor of 2 to 10, up or down (cups for litres, a decimal
 * point). The first reading comes after 30 to 60 days as all others.
 * false: replaced while the true flow is over 1.15 L/h, of all pots.
 * late: not replaced within 180 days of the start of a lasting (60 days)
 * fall below 1 L/h, of the pots that have one in time to be seen. A decision
 * before the fall has a delay of 0. The mean of three is of ln litres.
 */
#include "watch/potflow.h"

#include "close.h"

#include <stdio.h>
#include <string.h>

enum { POTS = 4000, DAYS = 900, LASTING = 60, LATE = 180 };

enum rule {
    LAST_READING,
    TWO_IN_A_ROW,
    MEAN_OF_THREE,
    FILTER_60,
    FILTER_70,
    FILTER_75,
    FILTER_80,
    FILTER_90,
    UNCAPPED_80,
    SERVICE,
    RULES
};

static const char *const names[RULES] = {
    "last reading < 1",      "two readings in a row < 1",
    "mean of three < 1",     "filter, P >= 0.60",
    "filter, P >= 0.70",     "filter, P >= 0.75",
    "filter, P >= 0.80",     "filter, P >= 0.90",
    "P >= 0.80, not capped", "served: scrub, then 0.75"};

struct tally {
    int falls, wrong, late, decided;
    long scrubs, sound_scrubs, stops;
    double delays[POTS];
};

/* ---- the world ---- */

struct pot { /* ln of the true flow, day by day; scrubs change it */
    double level, slope;
    uint64_t seed;
};

static struct pot new_pot(uint64_t seed)
{
    struct pot p = {.seed = seed};

    p.level = log(2.2) + 0.25 * close_normal(&p.seed);
    p.slope = -0.0022 + 0.001 * close_normal(&p.seed);
    return p;
}

static void next_day(struct pot *p)
{
    p->level += p->slope + 0.01 * close_normal(&p->seed);
}

static double read_flow(struct pot *p)
{
    double y = p->level + 0.2 * close_normal(&p->seed);

    if (close_unit(&p->seed) < 0.06) {
        double by = close_between(&p->seed, log(2), log(10));

        y += close_unit(&p->seed) < 0.5 ? by : -by;
    }
    return y;
}

/* ---- the rules ---- */

struct judge {
    enum rule rule;
    struct drift_setting set;
    struct drift_state state;
    double last[3];
    int readings, low;
};

static void judge_init(struct judge *j, enum rule rule)
{
    memset(j, 0, sizeof(*j));
    j->rule = rule;
    j->set = drift_defaults;
    j->set.too_fast_l = INFINITY; /* cracks are not in this world */
    if (rule == UNCAPPED_80) {
        j->set.cap = INFINITY;
        j->set.service = false;
    }
    drift_start(&j->state, &drift_prior_default, 0);
}

/* As the service judges, to the last rule. */
static enum flow_verdict serve(struct judge *j, const struct drift_event *e)
{
    struct potflow_rule rule = potflow_defaults;
    struct potflow_decision d;

    rule.drift = j->set;
    potflow_read(&j->state, &rule,
                 &(struct potflow_seen){.reading = *e, .age_days = e->at_days},
                 &d);
    return d.verdict;
}

static enum flow_verdict judge_read(struct judge *j, int day, double y)
{
    static const double sure[RULES] = {
        [FILTER_60] = 0.6, [FILTER_70] = 0.7, [FILTER_75] = 0.75,
        [FILTER_80] = 0.8, [FILTER_90] = 0.9, [UNCAPPED_80] = 0.8};
    struct drift_event reading = {.at_days = day, .log_flow = y};
    struct drift_step step;

    if (exp(y) < 0.05 || exp(y) > 20)
        return FLOW_FINE; /* refused at intake */
    j->last[j->readings++ % 3] = y;
    j->low = y < 0 ? j->low + 1 : 0;
    if (j->rule == LAST_READING)
        return y < 0 ? FLOW_REPLACE : FLOW_FINE;
    if (j->rule == TWO_IN_A_ROW)
        return j->low >= 2 ? FLOW_REPLACE : FLOW_FINE;
    if (j->rule == MEAN_OF_THREE)
        return j->readings >= 3 && j->last[0] + j->last[1] + j->last[2] < 0
                   ? FLOW_REPLACE
                   : FLOW_FINE;
    if (j->rule == SERVICE)
        return serve(j, &reading);
    drift_read(&j->state, &j->set, &reading, &step);
    return step.p_below >= sure[j->rule] && !step.flagged ? FLOW_REPLACE
                                                          : FLOW_FINE;
}

static void scrub(struct judge *j, int day)
{
    struct potflow_rule rule = potflow_defaults;

    rule.drift = j->set;
    potflow_scrub(&j->state, &rule, day);
}

/* ---- one pot's life ---- */

struct life {
    double truth[DAYS + 1]; /* ln true flow */
    int decided;            /* day, 0 never */
    int falls;              /* day that the lasting fall began, 0 none */
    int low_days;           /* longest run below 1 L/h, until decided */
    int scrubs, sound_scrubs, stops; /* asked for; over 1.15 L/h; "too fast" */
};

/* A scrub asked for is done, with a new reading, by four of five in a week;
 * a reminder brings four of five of the rest in the week after. */
static int answer_scrub(struct pot *p, int day)
{
    for (int week = 0; week < 2; week++)
        if (close_unit(&p->seed) < 0.8)
            return day + 7 * week + 1 + (int)(7 * close_unit(&p->seed));
    return 0;
}

/* From that many days to so many more. */
static int in_days(struct pot *p, int least, int more)
{
    return least + (int)((more + 1) * close_unit(&p->seed));
}

static void wash(struct pot *p, struct judge *j, int day)
{
    p->level += 0.25 + 0.2 * close_normal(&p->seed);
    scrub(j, day);
}

static void live(struct life *l, enum rule rule, uint64_t seed)
{
    struct pot p = new_pot(seed);
    struct judge j;
    int due = in_days(&p, 30, 30), own = in_days(&p, 1, 180), scrub_day = 0;

    judge_init(&j, rule);
    l->decided = l->scrubs = l->sound_scrubs = l->stops = 0;
    for (int day = 1; day <= DAYS; day++) {
        next_day(&p);
        if (day == scrub_day || day == own)
            wash(&p, &j, day);
        if (day == own)
            own = in_days(&p, day + 90, 180);
        l->truth[day] = p.level;
        if (l->decided == 0 && (day == due || day == scrub_day)) {
            enum flow_verdict v = judge_read(&j, day, read_flow(&p));

            if (v == FLOW_REPLACE)
                l->decided = day;
            else if (v == FLOW_SCRUB)
                scrub_day = answer_scrub(&p, day);
            l->stops += v == FLOW_STOP;
            l->scrubs += v == FLOW_SCRUB;
            l->sound_scrubs += v == FLOW_SCRUB && p.level > log(1.15);
            due = in_days(&p, day + 30, 30);
        }
    }
    l->falls = 0;
    for (int day = 1, low = 0; day <= DAYS && l->falls == 0; day++) {
        low = l->truth[day] < 0 ? low + 1 : 0;
        if (low == LASTING)
            l->falls = day - LASTING + 1;
    }
    l->low_days = 0;
    for (int day = 1, low = 0; day <= DAYS; day++) {
        low = l->truth[day] < 0 ? low + 1 : 0;
        if (low > l->low_days && (l->decided == 0 || day <= l->decided))
            l->low_days = low;
    }
}

/*
 * A scrub lifts a pot above 1 L/h again for a while: served pots are late
 * when the water ran below 1 L/h for 180 days on end.
 */
static void count_served(struct tally *t, const struct life *l)
{
    t->falls++;
    t->late += l->low_days > LATE;
    if (l->decided > 0)
        t->delays[t->decided++] = l->low_days;
}

static void count(struct tally *t, const struct life *l, enum rule rule)
{
    t->scrubs += l->scrubs;
    t->sound_scrubs += l->sound_scrubs;
    t->stops += l->stops;
    if (l->decided > 0 && l->truth[l->decided] > log(1.15))
        t->wrong++;
    if (rule == SERVICE && l->falls > 0) {
        count_served(t, l);
        return;
    }
    if (l->falls == 0 || l->falls > DAYS - LATE)
        return;
    t->falls++;
    if (l->decided == 0 || l->decided > l->falls + LATE)
        t->late++;
    if (l->decided > 0)
        t->delays[t->decided++] = fmax(0, l->decided - l->falls);
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Median over the pots that fell; those never replaced stand at the end. */
static double median_delay(struct tally *t)
{
    qsort(t->delays, (size_t)t->decided, sizeof(double), by_size);
    return t->falls / 2 < t->decided ? t->delays[t->falls / 2] : INFINITY;
}

int main(void)
{
    static struct tally t[RULES];
    static struct life l;
    double wrong, late;
    bool held = true;

    printf("%-28s %8s %8s %8s\n", "rule", "false", "late", "median d");
    for (int rule = 0; rule < RULES; rule++) {
        for (int pot = 0; pot < POTS; pot++) {
            live(&l, (enum rule)rule, 1000003u * (unsigned)pot + 17);
            count(&t[rule], &l, (enum rule)rule);
        }
        wrong = t[rule].wrong / (double)POTS;
        late = t[rule].late / (double)t[rule].falls;
        printf("%-28s %8.3f %8.3f %8.0f\n", names[rule], wrong, late,
               median_delay(&t[rule]));
        if ((rule == FILTER_75 || rule == SERVICE) &&
            (wrong > 0.03 || late > 0.10))
            held = false;
        if (rule == LAST_READING) /* a world that is easy proves nothing */
            held = held && wrong > 0.35;
    }
    printf("served: %.2f scrubs asked of a pot in %d days, %.2f of them while "
           "it gave over 1.15 L/h; %.2f times \"too fast\"\n",
           t[SERVICE].scrubs / (double)POTS, DAYS,
           t[SERVICE].sound_scrubs / (double)POTS,
           t[SERVICE].stops / (double)POTS);
    printf("%d of %d pots fall below 1 L/h for good in time to be seen\n",
           t[FILTER_75].falls, POTS);
    printf("%sok 1 - flow rules: false <= 0.03 and late <= 0.10 at 0.75, where "
           "the last reading alone is false over 0.35\n1..1\n",
           held ? "" : "not ");
    return held ? EXIT_SUCCESS : EXIT_FAILURE;
}
