/*
 * check_seep.c - the pot's hydraulics. Check values: derived beforehand by an
 * independent program; shapes: closed forms against the general quadrature
 * and against a plain adaptive Simpson rule over the definitions; laws by
 * generated cases.
 */
#include "watch/potform.h"
#include "watch/seep.h"
#include "watch/water.h"

#include "close.h"

#include <string.h>

#define CASES 400

static const struct seep_pot frustum = {.shape = SEEP_FRUSTUM,
                                        .base_radius_m = 0.095,
                                        .rim_radius_m = 0.120,
                                        .depth_m = 0.220,
                                        .wall_m = 0.012,
                                        .base_m = 0.015};
static const struct seep_pot hemisphere = {.shape = SEEP_HEMISPHERE,
                                           .rim_radius_m = 0.160,
                                           .depth_m = 0.160,
                                           .wall_m = 0.015,
                                           .base_m = 0.015};
static const struct seep_pot paraboloid = {.shape = SEEP_PARABOLOID,
                                           .rim_radius_m = 0.130,
                                           .depth_m = 0.240,
                                           .wall_m = 0.015,
                                           .base_m = 0.015};

static struct seep_flow solve(const struct seep_pot *pot,
                              const struct seep_reading *r)
{
    struct seep_flow out;

    ck_assert_int_eq(seep_solve(pot, r, &out), 0);
    return out;
}

static struct seep_reading drop(double start_m, double drop_m, double hours)
{
    return (struct seep_reading){.seen = SEEP_DROP,
                                 .start_m = start_m,
                                 .drop_m = drop_m,
                                 .elapsed_s = hours * 3600,
                                 .water_degc = 25};
}

static struct seep_reading yield(double start_m, double litres, double hours)
{
    return (struct seep_reading){.seen = SEEP_YIELD,
                                 .start_m = start_m,
                                 .yield_l = litres,
                                 .elapsed_s = hours * 3600,
                                 .water_degc = 25};
}

/* ---- check values, each to half a unit of its last digit ---- */

START_TEST(value_full_and_seepage)
{
    struct potform f;

    ck_assert_int_eq(potform_init(&f, &frustum), 0);
    ck_assert_double_eq_tol(seep_full_l(&frustum), 8.023104, 5e-7);
    ck_assert_double_eq_tol(potform_seepage_m2(&f, 0.22), 1.733614974, 5e-10);
    /* K F(rim), as litres an hour at K = 2e-7 m/s */
    ck_assert_double_eq_tol(potform_seepage_m2(&f, 0.22) * 2e-7 * 3.6e6,
                            1.248203, 5e-7);
}
END_TEST

START_TEST(value_first_hour)
{
    double litres, level;

    ck_assert_int_eq(seep_run(&frustum, 2e-7, 0, 3600, &litres, &level), 0);
    ck_assert_double_eq_tol(litres, 1.118617, 5e-7);
    ck_assert_double_eq_tol(level, 0.19467044, 5e-9);
    ck_assert_int_eq(seep_run(&frustum, 2e-7, 0, 86400, &litres, NULL), 0);
    ck_assert_double_eq_tol(litres, 7.157110, 5e-7);
}
END_TEST

START_TEST(value_k_for_first_hour)
{
    static const double want[] = {1.765942e-7, 3.946185e-7, 6.735361e-7};
    double k;

    ck_assert_int_eq(seep_k_for_first_hour(&frustum, _i + 1, &k), 0);
    ck_assert_double_eq_tol(k, want[_i], 5e-14);
}
END_TEST

START_TEST(value_drop_two_hours)
{
    struct seep_reading r = drop(0.22, 0.04, 2);
    struct seep_flow out = solve(&frustum, &r);

    ck_assert_double_eq_tol(out.k_m_s, 1.66739292e-7, 5e-16);
    ck_assert_double_eq_tol(out.k25_m_s, out.k_m_s, 1e-20);
    ck_assert_double_eq_tol(out.first_hour_l, 0.949158, 5e-7);
}
END_TEST

/*
 * The plausible wrong way: the water that went, over the hours it took, is
 * 0.296 L/h and would call a sound pot dead. The pot was never full and grew
 * slower all night; the model says 1.182 L in the first hour.
 */
START_TEST(value_overnight_not_litres_over_hours)
{
    struct seep_reading r = drop(0.15, 0.10, 12);
    struct seep_flow out = solve(&frustum, &r);
    double naive =
        (seep_volume_l(&frustum, 0.15) - seep_volume_l(&frustum, 0.05)) / 12;

    ck_assert_double_eq_tol(naive, 0.296, 5e-4);
    ck_assert_double_eq_tol(out.k_m_s, 2.12766121e-7, 5e-16);
    ck_assert_double_eq_tol(out.first_hour_l, 1.182074, 5e-7);
    ck_assert_double_gt(out.first_hour_l, 3.9 * naive);
}
END_TEST

START_TEST(value_other_shapes)
{
    struct seep_reading r = drop(0.16, 0.04, 2);

    ck_assert_double_eq_tol(solve(&hemisphere, &r).k_m_s, 6.77841969e-7, 5e-16);
    r = drop(0.24, 0.05, 2);
    ck_assert_double_eq_tol(solve(&paraboloid, &r).k_m_s, 4.52638056e-7, 5e-16);
}
END_TEST

START_TEST(value_daily_yield)
{
    static const struct {
        double first_hour_l, day_l[3];
    } want[] = {{0.5, {5.553, 7.813, 8.984}},
                {1.0, {6.980, 11.332, 14.150}},
                {2.0, {7.795, 14.278, 19.457}}};
    double k, litres;

    ck_assert_int_eq(seep_k_for_first_hour(&frustum, want[_i].first_hour_l, &k),
                     0);
    for (int fills = 1; fills <= 3; fills++) {
        ck_assert_int_eq(seep_daily_yield_l(&frustum, k, fills, &litres), 0);
        ck_assert_double_eq_tol(litres, want[_i].day_l[fills - 1], 5e-4);
    }
}
END_TEST

/* ---- shapes: one way against another ---- */

static double inner(double (*fn)(double, const void *), const void *with,
                    double a, double b, double fa, double fm, double fb,
                    double whole, int deep)
{
    double m = (a + b) / 2, h = (b - a) / 12;
    double fl = fn((a + m) / 2, with), fr = fn((m + b) / 2, with);
    double left = h * (fa + 4 * fl + fm), right = h * (fm + 4 * fr + fb);

    if (deep == 0 || fabs(left + right - whole) < 1e-13 * fabs(whole))
        return left + right + (left + right - whole) / 15;
    return inner(fn, with, a, m, fa, fl, fm, left, deep - 1) +
           inner(fn, with, m, b, fm, fr, fb, right, deep - 1);
}

/* Adaptive Simpson: nothing in common with the Gauss rule of the code. */
static double simpson(double (*fn)(double, const void *), const void *with,
                      double a, double b)
{
    double fa = fn(a, with), fm = fn((a + b) / 2, with), fb = fn(b, with);

    return inner(fn, with, a, b, fa, fm, fb, (b - a) / 6 * (fa + 4 * fm + fb),
                 24);
}

struct wall { /* the definition: (H - z) dA/t over the wall */
    const struct seep_pot *pot;
    double level;
};

/* Radius and slope of the four plain shapes, straight from their equations. */
static double wall_part(double z, const void *with)
{
    const struct wall *w = with;
    const struct seep_pot *p = w->pot;
    double R = p->rim_radius_m, r0 = p->base_radius_m, rds;

    switch (p->shape) {
    case SEEP_PARABOLOID: { /* r ds, finite at the apex */
        double q = R * R / p->depth_m;

        rds = sqrt(q * z + q * q / 4);
        break;
    }
    case SEEP_HEMISPHERE:
        rds = R;
        break;
    default: {
        double m = p->shape == SEEP_FRUSTUM ? (R - r0) / p->depth_m : 0;

        rds = (r0 + m * z) * sqrt(1 + m * m);
    }
    }
    return (w->level - z) * 2 * M_PI * rds / p->wall_m;
}

static double fall_part(double h, const void *with)
{
    const struct potform *f = with;

    return potform_area_m2(f, h) / potform_seepage_m2(f, h);
}

/* Any pot that a potter might throw; the taper may be either way, or none. */
static struct seep_pot any_pot(uint64_t *seed, enum seep_shape shape)
{
    struct seep_pot p = {.shape = shape,
                         .base_radius_m = close_between(seed, 0.04, 0.15),
                         .rim_radius_m = close_between(seed, 0.05, 0.20),
                         .depth_m = close_between(seed, 0.08, 0.40),
                         .wall_m = close_between(seed, 0.006, 0.03),
                         .base_m = close_between(seed, 0.006, 0.03)};

    if (shape == SEEP_FRUSTUM && close_unit(seed) < 0.25)
        p.rim_radius_m =
            p.base_radius_m * (1 + close_between(seed, -1e-9, 1e-9));
    if (shape == SEEP_HEMISPHERE)
        p.depth_m = p.rim_radius_m * close_between(seed, 0.5, 1);
    if (shape == SEEP_PROFILE) {
        double z = 0;

        p.n_profile = 2 + close_next(seed) % (SEEP_PROFILE_MOST - 1);
        for (size_t i = 0; i < p.n_profile; i++) {
            p.profile[i] =
                (struct seep_point){.height_m = z,
                                    .radius_m = close_between(seed, 0.05, 0.15),
                                    .wall_m = close_between(seed, 0.008, 0.02)};
            z += close_between(seed, 0.005, 0.03);
        }
        if (close_unit(seed) < 0.3)
            p.profile[0].radius_m = 0; /* a pointed base */
        p.depth_m = p.profile[p.n_profile - 1].height_m;
    }
    return p;
}

START_TEST(seepage_against_simpson)
{
    uint64_t seed = 11 + (uint64_t)_i;

    for (int i = 0; i < CASES; i++) {
        struct seep_pot p = any_pot(&seed, (enum seep_shape)_i);
        double h = p.depth_m * close_between(&seed, 0.001, 1);
        struct wall w = {.pot = &p, .level = h};
        double base =
            p.shape == SEEP_FRUSTUM || p.shape == SEEP_CYLINDER
                ? M_PI * p.base_radius_m * p.base_radius_m * h / p.base_m
                : 0;
        struct potform f;

        ck_assert_int_eq(potform_init(&f, &p), 0);
        CLOSE(potform_seepage_m2(&f, h), simpson(wall_part, &w, 0, h) + base,
              1e-9);
    }
}
END_TEST

START_TEST(fall_against_quadrature_and_simpson)
{
    uint64_t seed = 21 + (uint64_t)_i;

    for (int i = 0; i < CASES / 4; i++) {
        struct seep_pot p = any_pot(&seed, (enum seep_shape)_i);
        double high = p.depth_m * close_between(&seed, 0.05, 1);
        double low = high * close_between(&seed, 0.01, 0.999);
        struct potform f;
        double fall, sum = 0, from = low;

        ck_assert_int_eq(potform_init(&f, &p), 0);
        fall = potform_fall_m(&f, low, high);
        CLOSE(potform_fall_quad_m(&f, low, high), fall, 1e-9);
        for (size_t k = 0; k < p.n_profile; k++) /* Simpson dislikes kinks */
            if (p.profile[k].height_m > from && p.profile[k].height_m < high) {
                sum += simpson(fall_part, &f, from, p.profile[k].height_m);
                from = p.profile[k].height_m;
            }
        CLOSE(sum + simpson(fall_part, &f, from, high), fall, 1e-9);
    }
}
END_TEST

/* The surface is what the volume grows by, and levels invert volumes. */
START_TEST(volume_area_level_agree)
{
    uint64_t seed = 31 + (uint64_t)_i;

    for (int i = 0; i < CASES; i++) {
        struct seep_pot p = any_pot(&seed, (enum seep_shape)_i);
        double h = p.depth_m * close_between(&seed, 0.01, 0.98);
        double d = 1e-7, slope;
        struct potform f;

        ck_assert_int_eq(potform_init(&f, &p), 0);
        slope = (potform_volume_m3(&f, h + d) - potform_volume_m3(&f, h - d)) /
                (2 * d);
        CLOSE(slope, potform_area_m2(&f, h), 1e-5);
        CLOSE(potform_level_m(&f, potform_volume_m3(&f, h)), h, 1e-12);
    }
}
END_TEST

/* A straight profile is the frustum, cut however finely. */
START_TEST(profile_of_a_frustum_is_the_frustum)
{
    struct seep_pot p = {.shape = SEEP_PROFILE, .base_m = frustum.base_m};
    struct seep_reading r = drop(0.21, 0.09, 7);
    struct seep_flow a = solve(&frustum, &r), b;

    p.n_profile = 2 + (size_t)_i;
    for (size_t i = 0; i < p.n_profile; i++) {
        double u = (double)i / (double)(p.n_profile - 1);

        p.profile[i] = (struct seep_point){.height_m = 0.22 * u,
                                           .radius_m = 0.095 + 0.025 * u,
                                           .wall_m = 0.012};
    }
    b = solve(&p, &r);
    CLOSE(seep_full_l(&p), seep_full_l(&frustum), 1e-12);
    CLOSE(b.k_m_s, a.k_m_s, 1e-9);
    CLOSE(b.first_hour_l, a.first_hour_l, 1e-9);
    CLOSE(b.log_se, a.log_se, 1e-9);
}
END_TEST

/* Points on a parabola and on a circle come near the true curve. */
START_TEST(profile_of_a_curve_is_near_it)
{
    struct seep_pot p = {.shape = SEEP_PROFILE, .n_profile = 32};
    struct seep_reading r = drop(0.24, 0.05, 2);

    for (size_t i = 0; i < 32; i++) {
        double u = (double)i / 31;

        p.profile[i] = (struct seep_point){
            .height_m = 0.24 * u * u, .radius_m = 0.13 * u, .wall_m = 0.015};
    }
    CLOSE(solve(&p, &r).k_m_s, solve(&paraboloid, &r).k_m_s, 2e-3);
}
END_TEST

/* ---- laws, by generated cases ---- */

static enum seep_shape shape_of(uint64_t *seed)
{
    return (enum seep_shape)(close_next(seed) % 5);
}

struct generated {
    struct seep_pot pot;
    double start_m, drop_m, k_m_s, elapsed_s;
};

/* A pot, a level and a conductivity that fall by a part of the level. */
static struct generated generate(uint64_t *seed)
{
    struct generated g = {.pot = any_pot(seed, shape_of(seed))};
    struct potform f;

    ck_assert_int_eq(potform_init(&f, &g.pot), 0);
    g.start_m = g.pot.depth_m * close_between(seed, 0.3, 1);
    g.drop_m = g.start_m * close_between(seed, 0.01, 0.95);
    g.k_m_s = exp(close_between(seed, log(5e-8), log(2e-6)));
    g.elapsed_s = potform_fall_m(&f, g.start_m - g.drop_m, g.start_m) / g.k_m_s;
    return g;
}

START_TEST(law_run_inverts_solve)
{
    uint64_t seed = 41;

    for (int i = 0; i < CASES; i++) {
        struct generated g = generate(&seed);
        double litres, level;

        if (g.elapsed_s > SEEP_ELAPSED_MOST_S)
            continue;
        ck_assert_int_eq(
            seep_run(&g.pot, g.k_m_s, g.start_m, g.elapsed_s, &litres, &level),
            0);
        CLOSE(level, g.start_m - g.drop_m, 1e-9);
        CLOSE(litres,
              seep_volume_l(&g.pot, g.start_m) -
                  seep_volume_l(&g.pot, g.start_m - g.drop_m),
              1e-9);
    }
}
END_TEST

/* The level after any K t, in pots with corners too, is where A/F says. */
START_TEST(law_fallen_to_inverts_fall)
{
    uint64_t seed = 40 + (uint64_t)_i;

    for (int i = 0; i < 3 * CASES; i++) {
        struct seep_pot p = any_pot(&seed, (enum seep_shape)_i);
        double kt = exp(close_between(&seed, log(1e-6), log(0.1))), level;
        struct potform f;

        ck_assert_int_eq(potform_init(&f, &p), 0);
        level = potform_fallen_to_m(&f, f.rim_m, kt);
        if (level > 0)
            CLOSE_OR(potform_fall_m(&f, level, f.rim_m), kt, 1e-9, 1e-14);
        else
            ck_assert_double_ge(kt, potform_fall_m(&f, POTFORM_DRY_M, f.rim_m) *
                                        (1 - 1e-9));
    }
}
END_TEST

/* A drop and the litres that it stands for are the same reading. */
START_TEST(law_drop_and_yield_agree)
{
    uint64_t seed = 42;

    for (int i = 0; i < CASES; i++) {
        struct generated g = generate(&seed);
        struct seep_reading a = drop(g.start_m, g.drop_m, 3), b;

        b = yield(g.start_m,
                  seep_volume_l(&g.pot, g.start_m) -
                      seep_volume_l(&g.pot, g.start_m - g.drop_m),
                  3);
        CLOSE(solve(&g.pot, &b).k_m_s, solve(&g.pot, &a).k_m_s, 1e-9);
    }
}
END_TEST

/* Twice the time at half the conductivity is the same fall. */
START_TEST(law_time_scales)
{
    uint64_t seed = 43;

    for (int i = 0; i < CASES; i++) {
        struct generated g = generate(&seed);
        double by = close_between(&seed, 0.1, 10), k1;
        struct seep_reading r = drop(g.start_m, g.drop_m, 2);

        k1 = solve(&g.pot, &r).k_m_s;
        r.elapsed_s *= by;
        CLOSE(solve(&g.pot, &r).k_m_s, k1 / by, 1e-13);
    }
}
END_TEST

/* All lengths doubled and the time with them: the same conductivity. */
START_TEST(law_units)
{
    uint64_t seed = 44;

    for (int i = 0; i < CASES; i++) {
        struct generated g = generate(&seed);
        struct seep_pot p = g.pot;
        struct seep_reading r = drop(g.start_m, g.drop_m, 2);
        double k1 = solve(&p, &r).k_m_s;

        p.base_radius_m *= 2, p.rim_radius_m *= 2, p.depth_m *= 2;
        p.wall_m *= 2, p.base_m *= 2;
        for (size_t j = 0; j < p.n_profile; j++) {
            p.profile[j].height_m *= 2;
            p.profile[j].radius_m *= 2;
            p.profile[j].wall_m *= 2;
        }
        r.start_m *= 2, r.drop_m *= 2, r.elapsed_s *= 2;
        CLOSE(solve(&p, &r).k_m_s, k1, 1e-9);
    }
}
END_TEST

START_TEST(law_drops_add_up)
{
    uint64_t seed = 45;

    for (int i = 0; i < CASES; i++) {
        struct generated g = generate(&seed);
        double part = close_between(&seed, 0.05, 0.95) * g.drop_m;
        struct seep_reading whole = drop(g.start_m, g.drop_m, 1);
        struct seep_reading upper = drop(g.start_m, part, 1);
        struct seep_reading lower = drop(g.start_m - part, g.drop_m - part, 1);

        CLOSE(solve(&g.pot, &upper).k_m_s + solve(&g.pot, &lower).k_m_s,
              solve(&g.pot, &whole).k_m_s, 1e-9);
    }
}
END_TEST

/* A greater fall, a shorter time, a lower start: each a faster pot. */
START_TEST(law_monotone)
{
    uint64_t seed = 46;

    for (int i = 0; i < CASES; i++) {
        struct generated g = generate(&seed);
        struct seep_reading r = drop(g.start_m, g.drop_m, 5), s = r;
        double k = solve(&g.pot, &r).k_m_s;

        s.drop_m *= 1.02;
        ck_assert_double_gt(solve(&g.pot, &s).k_m_s, k);
        s = r;
        s.elapsed_s *= 1.02;
        ck_assert_double_lt(solve(&g.pot, &s).k_m_s, k);
        s = r;
        s.water_degc = 15; /* cold water that fell as far: a faster pot */
        CLOSE(solve(&g.pot, &s).k_m_s, k, 1e-15);
        ck_assert_double_gt(solve(&g.pot, &s).first_hour_l,
                            solve(&g.pot, &r).first_hour_l);
    }
}
END_TEST

/* The head falls all through the hour, so its flow stays below the start's. */
START_TEST(law_first_hour_below_initial_rate)
{
    uint64_t seed = 47;

    for (int i = 0; i < CASES; i++) {
        struct generated g = generate(&seed);
        struct potform f;
        double litres, rim;

        ck_assert_int_eq(potform_init(&f, &g.pot), 0);
        rim = potform_seepage_m2(&f, f.rim_m) * g.k_m_s * 3.6e6;
        ck_assert_int_eq(seep_run(&g.pot, g.k_m_s, 0, 3600, &litres, NULL), 0);
        ck_assert_double_lt(litres, rim);
        ck_assert_double_gt(litres, 0);
    }
}
END_TEST

START_TEST(law_first_hour_round_trip)
{
    uint64_t seed = 48;

    for (int i = 0; i < CASES; i++) {
        struct generated g = generate(&seed);
        double k, litres,
            want = seep_full_l(&g.pot) * close_between(&seed, 0.001, 0.98);

        ck_assert_int_eq(seep_k_for_first_hour(&g.pot, want, &k), 0);
        ck_assert_int_eq(seep_run(&g.pot, k, 0, 3600, &litres, NULL), 0);
        CLOSE(litres, want, 1e-9);
    }
}
END_TEST

/* More fills never give less, and a day never more than the fills hold. */
START_TEST(law_daily_yield)
{
    uint64_t seed = 49;

    for (int i = 0; i < CASES; i++) {
        struct generated g = generate(&seed);
        double last = 0, litres;

        for (int fills = 1; fills <= 6; fills++) {
            ck_assert_int_eq(
                seep_daily_yield_l(&g.pot, g.k_m_s, fills, &litres), 0);
            ck_assert_double_ge(litres, last * (1 - 1e-12));
            ck_assert_double_le(litres, fills * seep_full_l(&g.pot));
            last = litres;
        }
    }
}
END_TEST

/* ---- standard errors ---- */

/* One error at a time, against moving that number by a little. */
START_TEST(error_is_the_slope)
{
    static const double se[5] = {0.004, 0.006, 0.2, 500, 2};
    struct seep_reading r = _i == 2 ? yield(0.19, 2.5, 4) : drop(0.19, 0.05, 4);
    double *field[5] = {&r.start_m, &r.drop_m, &r.yield_l, &r.elapsed_s,
                        &r.water_degc};
    double *error[5] = {&r.start_se_m, &r.drop_se_m, &r.yield_se_l,
                        &r.elapsed_se_s, &r.water_se_degc};
    double keep = *field[_i], step = 1e-4 * keep, up, down;

    for (int i = 0; i < 5; i++)
        *error[i] = 1e-12;
    *error[_i] = se[_i];
    *field[_i] = keep + step;
    up = log(solve(&frustum, &r).first_hour_l);
    *field[_i] = keep - step;
    down = log(solve(&frustum, &r).first_hour_l);
    *field[_i] = keep;
    CLOSE(solve(&frustum, &r).log_se, fabs(up - down) / (2 * step) * se[_i],
          1e-3);
    CLOSE(solve(&frustum, &r).first_hour_se_l,
          solve(&frustum, &r).log_se * solve(&frustum, &r).first_hour_l, 1e-12);
}
END_TEST

/* Defaults: what they are, and that a reading left bare has an honest one. */
START_TEST(error_defaults)
{
    struct seep_reading r = drop(0, 0.08, 10);
    struct seep_flow bare = solve(&frustum, &r), told;

    seep_default_errors(&r);
    ck_assert_double_eq(r.start_se_m, 0.010);
    ck_assert_double_eq(r.drop_se_m, hypot(0.005, 0.0064));
    ck_assert_double_eq(r.elapsed_se_s, 3600 / sqrt(12));
    ck_assert_double_eq(r.water_se_degc, 3);
    told = solve(&frustum, &r);
    ck_assert_double_eq(told.log_se, bare.log_se);
    ck_assert_double_gt(bare.log_se, 0.05);
    ck_assert_double_lt(bare.log_se, 0.30);
}
END_TEST

/*
 * The first-order error against ten thousand readings with errors drawn:
 * within 5 % where the errors are small.
 */
START_TEST(error_against_simulation)
{
    struct seep_reading r = drop(0.20, 0.08, 9);
    double sum = 0, squares = 0, want;
    uint64_t seed = 51;
    int n = 10000;

    r.start_se_m = 0.004, r.drop_se_m = 0.004, r.elapsed_se_s = 900;
    r.water_se_degc = 1.5;
    want = solve(&frustum, &r).log_se;
    for (int i = 0; i < n; i++) {
        struct seep_reading s = r;
        double y;

        s.start_m += s.start_se_m * close_normal(&seed);
        s.drop_m += s.drop_se_m * close_normal(&seed);
        s.elapsed_s += s.elapsed_se_s * close_normal(&seed);
        s.water_degc += s.water_se_degc * close_normal(&seed);
        y = log(solve(&frustum, &s).first_hour_l);
        sum += y, squares += y * y;
    }
    CLOSE(sqrt((squares - sum * sum / n) / (n - 1)), want, 0.05);
}
END_TEST

/* ---- what cannot be ---- */

START_TEST(refuses_what_cannot_be)
{
    static const struct {
        double start, drop, yield, hours, degc;
        int err;
    } bad[] = {
        {0.23, 0.05, 0, 2, 25, KW_EINVAL},  /* above the rim */
        {0.10, 0.10, 0, 2, 25, KW_EINVAL},  /* to the base: dry, when? */
        {0.10, 0.12, 0, 2, 25, KW_EINVAL},  /* below the base */
        {0, 0, 8.1, 2, 25, KW_EINVAL},      /* more than the pot holds */
        {0.10, 0, 3.5, 2, 25, KW_EINVAL},   /* more than was in it */
        {0.10, 1e-20, 0, 2, 25, KW_EINVAL}, /* nothing at all */
        {0, 0, 0, 2, 25, KW_ERANGE},        /* no measure */
        {0, -0.01, 0, 2, 25, KW_ERANGE},    {-0.01, 0.01, 0, 2, 25, KW_ERANGE},
        {0, 0.01, 0, 0, 25, KW_ERANGE},     {0, 0.01, 0, -1, 25, KW_ERANGE},
        {0, 0.01, 0, 169, 25, KW_ERANGE}, /* over a week */
        {0, 0.01, 0, 2, -0.1, KW_ERANGE},   {0, 0.01, 0, 2, 60.1, KW_ERANGE},
        {NAN, 0.01, 0, 2, 25, KW_ERANGE},   {0, NAN, 0, 2, 25, KW_ERANGE},
        {0, INFINITY, 0, 2, 25, KW_ERANGE}, {0, 0.01, 0, NAN, 25, KW_ERANGE},
        {0, 0.01, 0, 2, NAN, KW_ERANGE},
    };
    struct seep_flow out;

    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        struct seep_reading r =
            bad[i].yield > 0 ? yield(bad[i].start, bad[i].yield, bad[i].hours)
                             : drop(bad[i].start, bad[i].drop, bad[i].hours);

        r.water_degc = bad[i].degc;
        ck_assert_msg(seep_solve(&frustum, &r, &out) == bad[i].err,
                      "reading %zu gave %d", i, seep_solve(&frustum, &r, &out));
    }
}
END_TEST

/* A field of a pot at a time: zero, negative, not a number, far too large. */
START_TEST(refuses_bad_pots)
{
    static const double bad[] = {0, -0.1, NAN, INFINITY, 2.5};

    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++)
        for (int field = 0; field < 5; field++) {
            struct seep_pot p = frustum;
            double *at[] = {&p.base_radius_m, &p.rim_radius_m, &p.depth_m,
                            &p.wall_m, &p.base_m};

            *at[field] = bad[i];
            ck_assert_int_eq(seep_pot_check(&p), KW_ERANGE);
            ck_assert_double_nan(seep_full_l(&p));
        }
    ck_assert_int_eq(seep_pot_check(&frustum), 0);
}
END_TEST

START_TEST(refuses_bad_profiles)
{
    uint64_t seed = 61;
    struct seep_pot good = any_pot(&seed, SEEP_PROFILE), p;

    ck_assert_int_eq(seep_pot_check(&good), 0);
    p = good, p.n_profile = 1;
    ck_assert_int_eq(seep_pot_check(&p), KW_ERANGE);
    p = good, p.n_profile = SEEP_PROFILE_MOST + 1;
    ck_assert_int_eq(seep_pot_check(&p), KW_ERANGE);
    p = good, p.profile[1].height_m = 0;
    ck_assert_int_eq(seep_pot_check(&p), KW_ERANGE);
    p = good, p.profile[1].radius_m = 0;
    ck_assert_int_eq(seep_pot_check(&p), KW_ERANGE);
    p = good, p.profile[0].wall_m = 0;
    ck_assert_int_eq(seep_pot_check(&p), KW_ERANGE);
    p = good, p.profile[0].height_m = 0.001;
    ck_assert_int_eq(seep_pot_check(&p), KW_ERANGE);
    p = good, p.depth_m += 0.01;
    ck_assert_int_eq(seep_pot_check(&p), KW_ERANGE);
    p = good, p.depth_m = 0;
    ck_assert_int_eq(seep_pot_check(&p), 0);
}
END_TEST

/* A pot like a sieve runs dry, and says all of its water. */
START_TEST(runs_dry)
{
    double litres, level, k;

    for (int shape = 0; shape < 5; shape++) {
        uint64_t seed = 71;
        struct seep_pot p = any_pot(&seed, (enum seep_shape)shape);

        ck_assert_int_eq(seep_run(&p, 1, 0, 86400, &litres, &level), 0);
        ck_assert_double_eq(level, 0);
        CLOSE(litres, seep_full_l(&p), 1e-15);
    }
    ck_assert_int_eq(seep_k_for_first_hour(&frustum, 8.03, &k), KW_ERANGE);
    ck_assert_int_eq(seep_k_for_first_hour(&frustum, 0, &k), KW_ERANGE);
    ck_assert_int_eq(seep_k_for_first_hour(&frustum, NAN, &k), KW_ERANGE);
    ck_assert_int_eq(seep_run(&frustum, 2e-7, 0.3, 60, &litres, NULL),
                     KW_EINVAL);
    ck_assert_int_eq(seep_run(&frustum, 0, 0, 60, &litres, NULL), KW_ERANGE);
    ck_assert_int_eq(seep_daily_yield_l(&frustum, 2e-7, 0, &litres), KW_ERANGE);
}
END_TEST

/*
 * A workshop's test read early, or in cold water, of a pot that is known: the
 * same first hour at 25 degC. The pot is run forward by seep_run, K by the
 * ratio of density over viscosity of IAPWS SR6-08 (water.h).
 */
START_TEST(test_early_and_cold_is_a_test)
{
    const double minutes[] = {10, 40, 60, 90, 240}, degc[] = {5, 18, 25, 33};
    const struct seep_pot pot = {.shape = SEEP_FRUSTUM,
                                 .base_radius_m = 0.095,
                                 .rim_radius_m = 0.120,
                                 .depth_m = 0.220,
                                 .wall_m = 0.012,
                                 .base_m = 0.015};
    double k25, litres, first;

    ck_assert_int_eq(seep_k_for_first_hour(&pot, 2, &k25), 0);
    for (size_t i = 0; i < KW_COUNT(minutes); i++) {
        for (size_t j = 0; j < KW_COUNT(degc); j++) {
            double k = k25 / water_to_25_degc(degc[j]);

            ck_assert_int_eq(
                seep_run(&pot, k, 0, minutes[i] * 60, &litres, NULL), 0);
            ck_assert_int_eq(
                seep_test(&pot, litres, minutes[i], degc[j], &first), 0);
            ck_assert_double_eq_tol(first, 2, 1e-9);
        }
    }
    /* Of the first hour and no temperature told: what was read. */
    ck_assert_int_eq(seep_test(&pot, 1.7, 60, NAN, &first), 0);
    ck_assert_double_eq(first, 1.7);
    ck_assert_int_eq(seep_test(&pot, 9, 40, 18, &first), KW_EINVAL);
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("seep");

    tcase_add_test(tc, value_full_and_seepage);
    tcase_add_test(tc, value_first_hour);
    tcase_add_loop_test(tc, value_k_for_first_hour, 0, 3);
    tcase_add_test(tc, value_drop_two_hours);
    tcase_add_test(tc, value_overnight_not_litres_over_hours);
    tcase_add_test(tc, value_other_shapes);
    tcase_add_loop_test(tc, value_daily_yield, 0, 3);
    tcase_add_loop_test(tc, seepage_against_simpson, 0, 4);
    tcase_add_loop_test(tc, fall_against_quadrature_and_simpson, 0, 5);
    tcase_add_loop_test(tc, volume_area_level_agree, 0, 5);
    tcase_add_loop_test(tc, profile_of_a_frustum_is_the_frustum, 0, 31);
    tcase_add_test(tc, profile_of_a_curve_is_near_it);
    tcase_add_test(tc, law_run_inverts_solve);
    tcase_add_loop_test(tc, law_fallen_to_inverts_fall, 0, 5);
    tcase_add_test(tc, law_drop_and_yield_agree);
    tcase_add_test(tc, law_time_scales);
    tcase_add_test(tc, law_units);
    tcase_add_test(tc, law_drops_add_up);
    tcase_add_test(tc, law_monotone);
    tcase_add_test(tc, law_first_hour_below_initial_rate);
    tcase_add_test(tc, law_first_hour_round_trip);
    tcase_add_test(tc, law_daily_yield);
    tcase_add_loop_test(tc, error_is_the_slope, 0, 5);
    tcase_add_test(tc, error_defaults);
    tcase_add_test(tc, test_early_and_cold_is_a_test);
    tcase_add_test(tc, error_against_simulation);
    tcase_add_test(tc, refuses_what_cannot_be);
    tcase_add_test(tc, refuses_bad_pots);
    tcase_add_test(tc, refuses_bad_profiles);
    tcase_add_test(tc, runs_dry);
    return close_run("seep", tc);
}
