/*
 * seep.c - see seep.h. The shapes are in potform; here a reading becomes a
 * conductivity, and a conductivity a flow, with their standard errors.
 */
#include "watch/seep.h"

#include "watch/potform.h"
#include "watch/water.h"

#include <math.h>

#define HOUR_S        3600.0
#define DAY_S         86400.0
#define LITRES_PER_M3 1000.0
#define WATER_MOST_C  60.0
#define STEP_DEGC     0.05 /* for the slope of viscosity */

/* Two levels that a reading stands for, and what moves them. */
struct span {
    double from_m, to_m;
    double kt_m;     /* integral of A/F between them */
    double by_start; /* d(K t)/d(start level) */
    double by_seen;  /* d(K t)/d(drop), or per m3 of yield */
};

int seep_pot_check(const struct seep_pot *pot)
{
    struct potform f;

    return potform_init(&f, pot);
}

double seep_volume_l(const struct seep_pot *pot, double level_m)
{
    struct potform f;

    if (potform_init(&f, pot) < 0 || !(level_m >= 0 && level_m <= f.rim_m))
        return NAN;
    return LITRES_PER_M3 * potform_volume_m3(&f, level_m);
}

double seep_full_l(const struct seep_pot *pot)
{
    struct potform f;

    if (potform_init(&f, pot) < 0)
        return NAN;
    return LITRES_PER_M3 * potform_volume_m3(&f, f.rim_m);
}

double seep_rim_m(const struct seep_pot *pot)
{
    struct potform f;

    return potform_init(&f, pot) < 0 ? NAN : f.rim_m;
}

static bool positive(double v)
{
    return v > 0 && isfinite(v);
}

static bool error_ok(double v)
{
    return v >= 0 && isfinite(v);
}

static int check_reading(const struct seep_reading *r)
{
    if (!error_ok(r->start_m) || !positive(r->elapsed_s) ||
        r->elapsed_s > SEEP_ELAPSED_MOST_S ||
        !(r->water_degc >= 0 && r->water_degc <= WATER_MOST_C))
        return KW_ERANGE;
    if (!error_ok(r->start_se_m) || !error_ok(r->drop_se_m) ||
        !error_ok(r->yield_se_l) || !error_ok(r->elapsed_se_s) ||
        !error_ok(r->water_se_degc))
        return KW_ERANGE;
    if (r->seen == SEEP_DROP)
        return positive(r->drop_m) ? 0 : KW_ERANGE;
    if (r->seen == SEEP_YIELD)
        return positive(r->yield_l) ? 0 : KW_ERANGE;
    return KW_ERANGE;
}

/* dH of fall for each m of level, at a level: A/F. */
static double fall_rate(const struct potform *f, double level)
{
    return potform_area_m2(f, level) / potform_seepage_m2(f, level);
}

static int find_span(const struct potform *f, const struct seep_reading *r,
                     struct span *s)
{
    double start = r->start_m > 0 ? r->start_m : f->rim_m, left;

    if (start > f->rim_m)
        return KW_EINVAL;
    s->from_m = start;
    if (r->seen == SEEP_DROP) {
        s->to_m = start - r->drop_m;
    } else {
        left = potform_volume_m3(f, start) - r->yield_l / LITRES_PER_M3;
        s->to_m = left > 0 ? potform_level_m(f, left) : 0;
    }
    if (!(s->to_m > POTFORM_DRY_M && s->to_m < start))
        return KW_EINVAL;
    s->kt_m = potform_fall_m(f, s->to_m, start);
    if (!(s->kt_m > 0)) /* a fall too small for the digits of a double */
        return KW_EINVAL;
    if (r->seen == SEEP_DROP) {
        s->by_start = fall_rate(f, start) - fall_rate(f, s->to_m);
        s->by_seen = fall_rate(f, s->to_m);
    } else {
        double end_seepage = potform_seepage_m2(f, s->to_m);

        s->by_start =
            fall_rate(f, start) - potform_area_m2(f, start) / end_seepage;
        s->by_seen = 1 / end_seepage;
    }
    return 0;
}

static double told_or(double told, double otherwise)
{
    return told > 0 ? told : otherwise;
}

void seep_default_errors(struct seep_reading *r)
{
    r->start_se_m = told_or(r->start_se_m, r->start_m > 0 ? 0.005 : 0.010);
    r->drop_se_m = told_or(r->drop_se_m, hypot(0.005, 0.08 * r->drop_m));
    r->yield_se_l = told_or(r->yield_se_l, hypot(0.05, 0.10 * r->yield_l));
    r->elapsed_se_s =
        told_or(r->elapsed_se_s, fmin(0.1 * r->elapsed_s, HOUR_S / sqrt(12)));
    r->water_se_degc = told_or(r->water_se_degc, 3.0);
}

/* Standard error of ln K at 25 degC: first order, parts independent. */
static double log_k_se(const struct seep_reading *told, const struct span *s)
{
    struct seep_reading r = *told;
    double low, high, part[4], sum = 0;

    seep_default_errors(&r);
    low = water_to_25_degc(r.water_degc - STEP_DEGC);
    high = water_to_25_degc(r.water_degc + STEP_DEGC);
    part[0] = s->by_start / s->kt_m * r.start_se_m;
    part[1] =
        s->by_seen / s->kt_m *
        (r.seen == SEEP_DROP ? r.drop_se_m : r.yield_se_l / LITRES_PER_M3);
    part[2] = r.elapsed_se_s / r.elapsed_s;
    part[3] = log(high / low) / (2 * STEP_DEGC) * r.water_se_degc;
    for (int i = 0; i < 4; i++)
        sum += part[i] * part[i];
    return sqrt(sum);
}

int seep_solve(const struct seep_pot *pot, const struct seep_reading *r,
               struct seep_flow *out)
{
    struct potform f;
    struct span s;
    double end, litres, slope;
    int err;

    if ((err = potform_init(&f, pot)) < 0 || (err = check_reading(r)) < 0 ||
        (err = find_span(&f, r, &s)) < 0)
        return err;
    out->k_m_s = s.kt_m / r->elapsed_s;
    out->k25_m_s = out->k_m_s * water_to_25_degc(r->water_degc);
    end = potform_fallen_to_m(&f, f.rim_m, out->k25_m_s * HOUR_S);
    litres = LITRES_PER_M3 *
             (potform_volume_m3(&f, f.rim_m) - potform_volume_m3(&f, end));
    /* dV/dK = t F(end): how much of an error in ln K reaches ln V. */
    slope = end > 0 ? LITRES_PER_M3 * out->k25_m_s * HOUR_S *
                          potform_seepage_m2(&f, end) / litres
                    : 0;
    out->first_hour_l = litres;
    out->log_se = slope * log_k_se(r, &s);
    out->first_hour_se_l = litres * out->log_se;
    return 0;
}

int seep_test(const struct seep_pot *pot, double litres, double minutes,
              double water_degc, double *first_hour_l)
{
    struct seep_reading r = {.seen = SEEP_YIELD,
                             .yield_l = litres,
                             .elapsed_s = minutes * 60,
                             .water_degc = isnan(water_degc) ? 25 : water_degc};
    struct seep_flow flow;
    int err;

    *first_hour_l = litres;
    if (minutes == 60 && isnan(water_degc))
        return 0;
    if ((err = seep_solve(pot, &r, &flow)) == 0)
        *first_hour_l = flow.first_hour_l;
    return err;
}

int seep_run(const struct seep_pot *pot, double k_m_s, double start_m,
             double elapsed_s, double *litres, double *level_end_m)
{
    struct potform f;
    double start, end;
    int err = potform_init(&f, pot);

    if (err < 0)
        return err;
    if (!positive(k_m_s) || !error_ok(start_m) || !error_ok(elapsed_s) ||
        elapsed_s > SEEP_ELAPSED_MOST_S)
        return KW_ERANGE;
    start = start_m > 0 ? start_m : f.rim_m;
    if (start > f.rim_m)
        return KW_EINVAL;
    end = elapsed_s > 0 ? potform_fallen_to_m(&f, start, k_m_s * elapsed_s)
                        : start;
    *litres = LITRES_PER_M3 *
              (potform_volume_m3(&f, start) - potform_volume_m3(&f, end));
    if (level_end_m != NULL)
        *level_end_m = end;
    return 0;
}

int seep_k_for_first_hour(const struct seep_pot *pot, double first_hour_l,
                          double *k_m_s)
{
    struct potform f;
    double left, end;
    int err = potform_init(&f, pot);

    if (err < 0)
        return err;
    left = potform_volume_m3(&f, f.rim_m) - first_hour_l / LITRES_PER_M3;
    if (!positive(first_hour_l) || !(left > 0))
        return KW_ERANGE;
    end = potform_level_m(&f, left);
    if (!(end > POTFORM_DRY_M && end < f.rim_m))
        return KW_ERANGE;
    *k_m_s = potform_fall_m(&f, end, f.rim_m) / HOUR_S;
    return 0;
}

int seep_daily_yield_l(const struct seep_pot *pot, double k_m_s, int fills,
                       double *litres)
{
    double each;
    int err;

    if (fills < 1 || fills > 24)
        return KW_ERANGE;
    if ((err = seep_run(pot, k_m_s, 0, DAY_S / fills, &each, NULL)) < 0)
        return err;
    *litres = fills * each;
    return 0;
}
