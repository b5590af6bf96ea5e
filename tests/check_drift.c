/*
 * check_drift.c - the flow filter. Reference cases p31 to p36 with the
 * tolerance their files state (Nile: Durbin & Koopman 2001; R's KalmanRun and
 * a dense Gaussian computation), then its laws and the service rules.
 */
#include "watch/drift.h"

#include "close.h"
#include "refcase.h"

/* The default tolerance of the cases. */
#define CASE_CLOSE(got, want) CLOSE_OR(got, want, 1e-8, 1e-10)

static void read_at(struct drift_state *s, const struct drift_setting *set,
                    double day, double y, double se, struct drift_step *step)
{
    struct drift_event e = {.at_days = day, .log_flow = y, .log_se = se};

    drift_read(s, set, &e, step);
}

/* The plain filter of the cases: no service rules, no cap. */
static struct drift_setting plain(double r, double ql, double qs)
{
    struct drift_setting set = drift_defaults;

    set.reading_var = r;
    set.level_var_day = ql;
    set.slope_var_day = qs;
    set.cap = INFINITY;
    set.service = false;
    return set;
}

/* ---- p31, p32: local level ---- */

struct level_run {
    double log_lik, without_first;
};

/* Checks against the case when c is not NULL. */
static struct level_run run_level(const double *y, size_t n, double r, double q,
                                  const struct refcase *c)
{
    static const struct drift_prior prior = {0, 3162.2776601683795, 0, 0};
    struct drift_setting set = plain(r, q, 0);
    struct level_run sum = {0, 0};
    struct drift_state s;
    size_t m;

    drift_start(&s, &prior, 1);
    s.p11 = 1e7;
    for (size_t t = 0; t < n; t++) {
        struct drift_step step = {.innovation = NAN};

        if (isnan(y[t]))
            drift_propagate(&s, &set, (double)t + 1);
        else
            read_at(&s, &set, (double)t + 1, y[t], 0, &step);
        sum.log_lik += step.log_lik;
        sum.without_first += t > 0 ? step.log_lik : 0;
        if (c == NULL)
            continue;
        CASE_CLOSE(step.innovation,
                   refcase_need(c, "out", "innovation", &m)[t]);
        if (!isnan(y[t]))
            CASE_CLOSE(step.variance, refcase_need(c, "out", "F", &m)[t]);
        CASE_CLOSE(s.level, refcase_need(c, "out", "filtered", &m)[t]);
        CASE_CLOSE(s.p11, refcase_need(c, "out", "filtered_var", &m)[t]);
        ck_assert_uint_eq(m, n);
    }
    return sum;
}

START_TEST(case_local_level)
{
    struct refcase *c = refcase_open(_i == 0 ? "p31_nile" : "p32_nile_missing");
    size_t n;
    const double *y = refcase_need(c, "in", "y", &n);
    struct level_run run = run_level(y, n, refcase_one(c, "par", "s2_epsilon"),
                                     refcase_one(c, "par", "s2_level"), c);

    CASE_CLOSE(run.log_lik, refcase_one(c, "out", "loglik"));
    CASE_CLOSE(run.without_first,
               refcase_one(c, "out", "loglik_without_first"));
    refcase_free(c);
}
END_TEST

/* Golden section: the best ln q for an r, or the best ln r. */
static double best(const double *y, size_t n, double ln_r, double *at)
{
    double low = -3, high = 16, g = 0.6180339887498949;

    if (!isnan(ln_r)) {
        low = 0, high = 12;
    }
    for (int i = 0; i < 45; i++) {
        double a = high - g * (high - low), b = low + g * (high - low), fa, fb;
        double in;

        if (isnan(ln_r)) {
            fa = best(y, n, a, &in);
            fb = best(y, n, b, &in);
        } else {
            fa = run_level(y, n, exp(ln_r), exp(a), NULL).without_first;
            fb = run_level(y, n, exp(ln_r), exp(b), NULL).without_first;
        }
        if (fa > fb)
            high = b;
        else
            low = a;
    }
    *at = (low + high) / 2;
    if (isnan(ln_r))
        return 0;
    return run_level(y, n, exp(ln_r), exp(*at), NULL).without_first;
}

/*
 * The variances that Durbin & Koopman (2001, 2.10) print for the Nile, 1469.1
 * and 15099, are where our likelihood is greatest; as is log L = -632.544.
 */
START_TEST(nile_variances_found_again)
{
    struct refcase *c = refcase_open("p31_nile");
    size_t n;
    const double *y = refcase_need(c, "in", "y", &n);
    double ln_r, ln_q, lik;

    best(y, n, NAN, &ln_r);
    lik = best(y, n, ln_r, &ln_q);
    CLOSE(exp(ln_r), 15099, 1e-3);
    CLOSE(exp(ln_q), 1469.1, 1e-3);
    CLOSE(exp(ln_r), refcase_one(c, "out", "mle_epsilon"), 1e-3);
    CLOSE(exp(ln_q), refcase_one(c, "out", "mle_level"), 1e-3);
    ck_assert_double_eq_tol(lik, -632.544, 5e-4);
    refcase_free(c);
}
END_TEST

/*
 * ---- p33: level and slope, a step of one each time ----
 * In the first three rows the case itself has but six digits of P11 and P12,
 * having subtracted from 1e7: there 2e-6, and the first against the formula.
 */

START_TEST(case_trend)
{
    struct refcase *c = refcase_open("p33_trend_uspop");
    static const char *const names[] = {"level", "slope", "P11", "P12", "P22"};
    struct drift_setting set = plain(refcase_one(c, "par", "s2_epsilon"), 0, 0);
    double q[3] = {refcase_one(c, "par", "s2_level"), 0,
                   refcase_one(c, "par", "s2_slope")};
    double lik = 0, later = 0;
    struct drift_state s = {.p11 = 1e7, .p22 = 1e7, .at_days = 1};
    size_t n, m;
    const double *y = refcase_need(c, "in", "y", &n);

    for (size_t t = 0; t < n; t++) {
        struct drift_step step;

        if (t > 0)
            drift_propagate_by(&s, 1, q);
        read_at(&s, &set, (double)t + 1, y[t], 0, &step);
        if (t == 0)
            CLOSE(s.p11, 1e7 * 1e-4 / (1e7 + 1e-4), 1e-15);
        lik += step.log_lik;
        later += t > 1 ? step.log_lik : 0;
        for (int k = 0; k < 5; k++) {
            double got[] = {s.level, s.slope, s.p11, s.p12, s.p22};

            CLOSE_OR(got[k], refcase_need(c, "out", names[k], &m)[t],
                     t < 3 ? 2e-6 : 1e-7, 1e-10);
        }
    }
    CLOSE(lik, refcase_one(c, "out", "loglik"), 1e-7);
    CLOSE(later, refcase_one(c, "out", "loglik_without_first2"), 1e-7);
    refcase_free(c);
}
END_TEST

/* ---- p34, p35: the flow filter itself ---- */

static void check_step(const struct refcase *c, const struct drift_state *s,
                       const struct drift_step *step, size_t i)
{
    static const char *const names[] = {"level", "slope", "P11", "P12",   "P22",
                                        "innov", "F",     "ll",  "pbelow"};
    double got[] = {s->level,       s->slope,      s->p11,
                    s->p12,         s->p22,        step->innovation,
                    step->variance, step->log_lik, step->p_below};
    size_t n;

    for (int k = 0; k < 9; k++)
        CASE_CLOSE(got[k], refcase_need(c, "out", names[k], &n)[i]);
}

static void check_ahead(const struct refcase *c, const struct drift_state *s,
                        const struct drift_setting *set)
{
    static const double days[] = {30, 90};
    size_t n;

    for (int i = 0; i < 2; i++) {
        struct drift_state later = *s;
        struct drift_outlook o = drift_ahead(s, set, days[i]);

        CASE_CLOSE(o.mean, refcase_need(c, "out", "fc_mean", &n)[i]);
        CASE_CLOSE(o.var, refcase_need(c, "out", "fc_var", &n)[i]);
        drift_propagate(&later, set, s->at_days + days[i]);
        CASE_CLOSE(later.level, o.mean);
        CASE_CLOSE(later.p11, o.var);
        CASE_CLOSE(drift_p_below(&later, set),
                   refcase_need(c, "out", "fc_pbelow", &n)[i]);
    }
}

START_TEST(case_flow)
{
    struct refcase *c =
        refcase_open(_i == 0 ? "p34_flow_pbc2" : "p35_flow_robust_pbc11");
    struct drift_setting set =
        plain(refcase_one(c, "par", "r"), refcase_one(c, "par", "ql"),
              refcase_one(c, "par", "qs"));
    size_t n, n_scrubs, m, next = 0;
    const double *time = refcase_need(c, "in", "time", &n);
    const double *y = refcase_need(c, "in", "y", &m);
    const double *scrub = refcase_need(c, "in", "scrub", &n_scrubs);
    const double *m0 = refcase_need(c, "par", "m0", &m);
    const double *p0 = refcase_need(c, "par", "P0", &m);
    struct drift_state s = {.level = m0[0],
                            .slope = m0[1],
                            .p11 = p0[0],
                            .p12 = p0[1],
                            .p22 = p0[3],
                            .at_days = refcase_one(c, "par", "t0")};

    set.scrub_gain = refcase_one(c, "par", "ms");
    set.scrub_var = refcase_one(c, "par", "vs");
    set.cap = refcase_one(c, "par", "kh");
    set.limit_l = exp(refcase_one(c, "par", "thr"));
    for (size_t i = 0; i < n; i++) {
        struct drift_step step;

        while (next < n_scrubs && scrub[next] <= time[i])
            drift_scrub(&s, &set, scrub[next++]);
        read_at(&s, &set, time[i], y[i], 0, &step);
        check_step(c, &s, &step, i);
    }
    check_ahead(c, &s, &set);
    refcase_free(c);
}
END_TEST

/* ---- p36 ---- */

START_TEST(case_theil_sen)
{
    struct refcase *c = refcase_open("p36_theilsen_pbc13");
    size_t n, m;
    const double *x = refcase_need(c, "in", "x", &n);
    const double *y = refcase_need(c, "in", "y", &m);
    struct drift_line line;

    ck_assert_int_eq(drift_theil_sen(x, y, n, &line), 0);
    CASE_CLOSE(line.slope, refcase_one(c, "out", "slope"));
    CASE_CLOSE(line.intercept, refcase_one(c, "out", "intercept"));
    ck_assert_int_eq(line.pairs, (int64_t)refcase_one(c, "out", "n_pairs"));
    refcase_free(c);
}
END_TEST

START_TEST(theil_sen_edges)
{
    static const double t[] = {5, 5, 5}, y[] = {1, 2, 3};
    static double many[DRIFT_THEIL_SEN_MOST + 1];
    double x[50], z[50];
    struct drift_line line;

    ck_assert_int_eq(drift_theil_sen(t, y, 3, &line), KW_EINVAL);
    ck_assert_int_eq(drift_theil_sen(t, y, 1, &line), KW_EINVAL);
    ck_assert_int_eq(
        drift_theil_sen(many, many, DRIFT_THEIL_SEN_MOST + 1, &line), KW_EFULL);
    for (int i = 0; i < 50; i++) { /* a quarter gone wild moves it not at all */
        x[i] = 3 * i;
        z[i] = i % 4 == 3 ? 50 : 2 - 0.1 * x[i];
    }
    ck_assert_int_eq(drift_theil_sen(x, z, 50, &line), 0);
    CLOSE(line.slope, -0.1, 0.02);
}
END_TEST

/* ---- laws ---- */

static struct drift_state any_state(uint64_t *seed)
{
    struct drift_state s;

    drift_start(&s, &drift_prior_default, 0);
    for (int i = 0; i < 3; i++) {
        struct drift_step step;

        read_at(&s, &drift_defaults, s.at_days + close_between(seed, 1, 90),
                close_between(seed, -0.5, 1), 0, &step);
    }
    return s;
}

/* Two steps in time are one, and a past day changes nothing. */
START_TEST(law_time_adds_up)
{
    uint64_t seed = 1;

    for (int i = 0; i < 1000; i++) {
        struct drift_state a = any_state(&seed), b = a;
        double t1 = a.at_days + close_between(&seed, 0, 200);
        double t2 = t1 + close_between(&seed, 0, 200);

        drift_propagate(&a, &drift_defaults, t1);
        drift_propagate(&a, &drift_defaults, t2);
        drift_propagate(&b, &drift_defaults, t2);
        CLOSE_OR(a.level, b.level, 1e-12, 1e-14);
        CLOSE(a.p11, b.p11, 1e-12);
        CLOSE_OR(a.p12, b.p12, 1e-11, 1e-16);
        CLOSE(a.p22, b.p22, 1e-12);
        drift_propagate(&b, &drift_defaults, t1);
        ck_assert_double_eq(b.at_days, t2);
    }
}
END_TEST

/* The covariance stays one, after any history. */
START_TEST(law_covariance)
{
    uint64_t seed = 2;
    struct drift_state s;

    drift_start(&s, &drift_prior_default, 0);
    for (int i = 0; i < 20000; i++) {
        struct drift_step step;
        double day = s.at_days + close_between(&seed, 0, 60);

        if (close_unit(&seed) < 0.2)
            drift_scrub(&s, &drift_defaults, day);
        read_at(&s, &drift_defaults, day, close_between(&seed, -3, 3),
                close_between(&seed, 0, 0.5), &step);
        ck_assert(s.p11 > 0 && s.p22 > 0 &&
                  s.p12 * s.p12 <= s.p11 * s.p22 * (1 + 1e-12));
        ck_assert(step.p_below >= 0 && step.p_below <= 1);
    }
}
END_TEST

/* However wild one reading, the level moves no further than the cap lets it. */
START_TEST(law_one_reading_is_bounded)
{
    uint64_t seed = 3;

    for (int i = 0; i < 2000; i++) {
        struct drift_state a = any_state(&seed), b;
        double cap = drift_defaults.cap;
        struct drift_step step;

        a.flagged = 0;
        b = a;
        read_at(&b, &drift_defaults, a.at_days,
                a.level - exp(close_between(&seed, -3, 5)), 0, &step);
        ck_assert_double_le(a.level - b.level, cap * sqrt(a.p11) * 1.0000001);
    }
}
END_TEST

/* A reading as good as a scale, or a guess: its own error counts. */
START_TEST(law_rough_readings_weigh_less)
{
    uint64_t seed = 4;
    struct drift_state a = any_state(&seed), b = a, c = a;
    struct drift_step step;

    read_at(&a, &drift_defaults, a.at_days, a.level + 0.3, 0, &step);
    read_at(&b, &drift_defaults, b.at_days, b.level + 0.3, 0.1, &step);
    read_at(&c, &drift_defaults, c.at_days, c.level + 0.3, 0.6, &step);
    ck_assert_double_eq(a.level, b.level); /* 0.1 is within reading_var */
    ck_assert_double_lt(c.level, a.level);
    ck_assert_double_gt(c.p11, a.p11);
}
END_TEST

/* When the flow falls: quantiles in order, where P(below) says. */
START_TEST(law_fall)
{
    uint64_t seed = 5;

    for (int i = 0; i < 300; i++) {
        struct drift_state s = any_state(&seed);
        struct drift_fall fall;

        drift_fall(&s, &drift_defaults, &fall);
        ck_assert(fall.early_days <= fall.expected_days &&
                  fall.expected_days <= fall.late_days);
        if (fall.expected_days > 0 && isfinite(fall.expected_days)) {
            struct drift_outlook o =
                drift_ahead(&s, &drift_defaults, fall.expected_days);

            ck_assert_double_eq_tol(o.mean, 0, 1e-3); /* ln 1 L/h */
        }
        if (fall.early_days > 0 && isfinite(fall.early_days)) {
            struct drift_state then = s;

            drift_propagate(&then, &drift_defaults,
                            s.at_days + fall.early_days);
            CLOSE(drift_p_below(&then, &drift_defaults), 0.1, 1e-2);
        }
    }
}
END_TEST

/* ---- service rules ---- */

START_TEST(two_like_outliers_are_a_jump)
{
    struct drift_state s;
    struct drift_step step;

    drift_start(&s, &drift_prior_default, 0);
    for (int i = 1; i <= 5; i++)
        read_at(&s, &drift_defaults, 30 * i, 0.79, 0, &step);
    read_at(&s, &drift_defaults, 160, -0.6, 0, &step);
    ck_assert(step.flagged && !step.jumped);
    ck_assert_double_gt(s.level, 0.2); /* held back */
    read_at(&s, &drift_defaults, 170, -0.6, 0, &step);
    ck_assert(step.flagged && step.jumped);
    ck_assert_double_lt(s.level, -0.4); /* and believed */
    ck_assert_int_eq(s.flagged, 0);
}
END_TEST

START_TEST(unlike_outliers_are_not)
{
    struct drift_state s;
    struct drift_step step;

    drift_start(&s, &drift_prior_default, 0);
    for (int i = 1; i <= 5; i++)
        read_at(&s, &drift_defaults, 30 * i, 0.3, 0, &step);
    read_at(&s, &drift_defaults, 160, -0.9, 0, &step);
    ck_assert(step.flagged);
    read_at(&s, &drift_defaults, 170, 0.95, 0, &step);
    ck_assert(step.flagged && !step.jumped && !step.crack);
    ck_assert_double_eq_tol(s.level, 0.3, 0.2);
}
END_TEST

/* A leap upwards asks "cracked?", however often, and never counts as good. */
START_TEST(crack_is_never_good_news)
{
    struct drift_state s;
    struct drift_step step;
    double before;

    drift_start(&s, &drift_prior_default, 0);
    for (int i = 1; i <= 4; i++)
        read_at(&s, &drift_defaults, 30 * i, -0.2, 0, &step);
    drift_propagate(&s, &drift_defaults, 150);
    before = s.level;
    for (int i = 0; i < 5; i++) {
        read_at(&s, &drift_defaults, 150, before + 1.2, 0, &step);
        ck_assert(step.crack);
        ck_assert_double_eq(s.level, before);
        ck_assert_int_eq(drift_judge(&s, &drift_defaults, &step), FLOW_STOP);
    }
}
END_TEST

static enum flow_verdict judge_at(const struct drift_state *s,
                                  struct drift_step *step, double litres)
{
    step->log_flow = log(litres);
    return drift_judge(s, &drift_defaults, step);
}

START_TEST(judging)
{
    struct drift_state s = {.at_days = 100, .scrubbed_days = -INFINITY};
    struct drift_step step = {.p_below = 0.4};

    ck_assert_int_eq(judge_at(&s, &step, 1.1), FLOW_FINE);
    ck_assert_int_eq(judge_at(&s, &step, 3.8), FLOW_STOP);
    step.p_below = 0.5;
    ck_assert_int_eq(judge_at(&s, &step, 1), FLOW_SCRUB);
    step.p_below = 0.99; /* never without a scrub */
    ck_assert_int_eq(judge_at(&s, &step, 0.5), FLOW_SCRUB);
    s.scrubbed_days = 93;
    ck_assert_int_eq(judge_at(&s, &step, 0.5), FLOW_REPLACE);
    step.p_below = 0.74;
    ck_assert_int_eq(judge_at(&s, &step, 0.9), FLOW_SCRUB);
    s.scrubbed_days = 60; /* long ago: scrub again first */
    step.p_below = 0.99;
    ck_assert_int_eq(judge_at(&s, &step, 0.5), FLOW_SCRUB);
}
END_TEST

/* ---- what a batch teaches ---- */

START_TEST(learning_shrinks)
{
    struct drift_learn l = {0};
    struct drift_state s = {.slope = -0.005};
    struct drift_summary few = {.readings = 3}, enough = {.readings = 4};
    struct drift_rates programme = {-0.002, 0.25}, got;

    drift_learn_pot(&l, &s, &few);
    got = drift_learnt(&l, &programme);
    CLOSE(got.slope, -0.002, 1e-14);
    CLOSE(got.gain, 0.25, 1e-14);
    enough.scrubs_seen = 2, enough.gain_sum = 1.0;
    for (int i = 0; i < 10; i++)
        drift_learn_pot(&l, &s, &enough);
    got = drift_learnt(&l, &programme);
    CLOSE(got.slope, -0.0035, 1e-12); /* ten pots: half way */
    CLOSE(got.gain, 0.375, 1e-12);
}
END_TEST

enum { POTS = 400, READINGS = 12, EVENTS = READINGS + 2 };

/* Pots that lose 0.4 % a day and gain 0.4 at each of two scrubs. */
static void make_batch(struct drift_event events[POTS][EVENTS])
{
    uint64_t seed = 6;

    for (int pot = 0; pot < POTS; pot++) {
        double level = 0.8 + 0.2 * close_normal(&seed);
        struct drift_event *e = events[pot];

        for (int i = 1; i <= READINGS; i++) {
            if (i == 5 || i == 9) {
                *e++ = (struct drift_event){.at_days = 30 * i, .scrub = true};
                level += 0.4;
            }
            *e++ = (struct drift_event){.at_days = 30 * i,
                                        .log_flow = level - 0.12 * i +
                                                    0.2 * close_normal(&seed)};
        }
    }
}

/*
 * A batch that clogs faster and scrubs better than the programme is found:
 * the first week goes half the way, the following ones further.
 */
START_TEST(learning_finds_a_batch)
{
    static struct drift_event events[POTS][EVENTS];
    struct drift_prior prior = drift_prior_default;
    struct drift_setting set = drift_defaults;
    struct drift_rates programme = {-0.0022, 0.25}, learnt;

    make_batch(events);
    for (int week = 0; week < 8; week++) {
        struct drift_learn l = {0};
        double slope = prior.slope, gain = set.scrub_gain;

        for (int pot = 0; pot < POTS; pot++) {
            struct drift_history h = {.events = events[pot], .n = EVENTS};
            struct drift_state s;
            struct drift_summary sum;

            sum = drift_replay(&s, &set, &prior, &h);
            ck_assert_int_eq(sum.readings, READINGS);
            ck_assert_int_eq(sum.scrubs_seen, 2);
            drift_learn_pot(&l, &s, &sum);
        }
        learnt = drift_learnt(&l, &programme);
        prior.slope = learnt.slope;
        set.scrub_gain = learnt.gain;
        if (week < 3) {
            ck_assert_double_lt(prior.slope, slope);
            ck_assert_double_gt(set.scrub_gain, gain);
        }
    }
    ck_assert_double_eq_tol(prior.slope, -0.004, 0.0004);
    ck_assert_double_eq_tol(set.scrub_gain, 0.4, 0.04);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("drift");

    tcase_add_loop_test(tc, case_local_level, 0, 2);
    tcase_add_test(tc, nile_variances_found_again);
    tcase_add_test(tc, case_trend);
    tcase_add_loop_test(tc, case_flow, 0, 2);
    tcase_add_test(tc, case_theil_sen);
    tcase_add_test(tc, theil_sen_edges);
    tcase_add_test(tc, law_time_adds_up);
    tcase_add_test(tc, law_covariance);
    tcase_add_test(tc, law_one_reading_is_bounded);
    tcase_add_test(tc, law_rough_readings_weigh_less);
    tcase_add_test(tc, law_fall);
    tcase_add_test(tc, two_like_outliers_are_a_jump);
    tcase_add_test(tc, unlike_outliers_are_not);
    tcase_add_test(tc, crack_is_never_good_news);
    tcase_add_test(tc, judging);
    tcase_add_test(tc, learning_shrinks);
    tcase_add_test(tc, learning_finds_a_batch);
    return close_run("drift", tc);
}
