#ifndef KW_SEEP_H
#define KW_SEEP_H
/*
 * seep.h - what a household saw -> litres in the first hour from a brim-full
 * pot at 25 degC. Darcy seepage under falling head through wall and base:
 *   Q(H) = K F(H),  A(H) dH/dt = -Q(H),  K t = integral of A/F from h2 to h1.
 * Source: derived (docs/science.md); viscosity IAPWS SR6-08(2011).
 * Plain form: the base's own elevation head is left out.
 */
#include "base/kw.h"

enum seep_shape {
    SEEP_FRUSTUM,
    SEEP_CYLINDER,
    SEEP_PARABOLOID,
    SEEP_HEMISPHERE,
    SEEP_PROFILE
};

#define SEEP_PROFILE_MOST   32
#define SEEP_ELAPSED_MOST_S (7 * 86400.0) /* a reading of a week at most */

struct seep_point {
    double height_m, radius_m, wall_m;
};

struct seep_pot {
    enum seep_shape shape;
    double base_radius_m;  /* frustum, cylinder: inner radius at the base */
    double rim_radius_m;   /* inner radius at the rim; hemisphere: R */
    double depth_m;        /* rim above the inner base */
    double wall_m, base_m; /* thickness of wall and of base */
    struct seep_point profile[SEEP_PROFILE_MOST]; /* shape PROFILE only */
    size_t n_profile; /* from the base up, at least 2 */
};

/*
 * 0, or KW_ERANGE when a field is not finite or not as said above. Lengths
 * are 0.1 mm to 2 m; a hemisphere may be cut off below its equator. Of a
 * profile the first height is 0, its last is the rim (depth_m may be 0), its
 * first radius is the base's (0: it ends in a point and has no base).
 */
int seep_pot_check(const struct seep_pot *pot);
/* NaN for a pot that does not pass, or a level outside it. */
double seep_volume_l(const struct seep_pot *pot, double level_m);
double seep_full_l(const struct seep_pot *pot);
double seep_rim_m(const struct seep_pot *pot);

enum seep_seen { SEEP_DROP, SEEP_YIELD };

struct seep_reading {
    enum seep_seen seen;
    double start_m;   /* level at the beginning; 0 means brim-full */
    double drop_m;    /* SEEP_DROP: fall of the level, > 0 */
    double yield_l;   /* SEEP_YIELD: litres that came, > 0 */
    double elapsed_s; /* > 0 */
    double water_degc;
    /* Standard errors; 0 takes the default of docs/science.md. */
    double start_se_m, drop_se_m, yield_se_l, elapsed_se_s, water_se_degc;
};

/* Puts the default in the place of each standard error that is 0. */
void seep_default_errors(struct seep_reading *r);

struct seep_flow {
    double k_m_s;        /* conductivity at the water's temperature */
    double k25_m_s;      /* the same at 25 degC */
    double first_hour_l; /* from brim-full at 25 degC */
    double first_hour_se_l;
    double log_se; /* standard error of ln(first_hour_l) */
};

/*
 * Returns 0; KW_ERANGE when a number is not finite or out of its range;
 * KW_EINVAL when the measure cannot be: a fall below the base, more water
 * than the pot holds, or a level above the rim.
 */
int seep_solve(const struct seep_pot *pot, const struct seep_reading *r,
               struct seep_flow *out);
/*
 * A workshop's flow test from brim-full: litres that came in minutes, of
 * water that warm (NaN: not known, taken as 25) -> the first hour at 25 degC.
 * A first hour without a temperature is what was read. Returns as seep_solve.
 */
int seep_test(const struct seep_pot *pot, double litres, double minutes,
              double water_degc, double *first_hour_l);
/* Litres that come in elapsed_s from a level, with K; level_end may be NULL. */
int seep_run(const struct seep_pot *pot, double k_m_s, double start_m,
             double elapsed_s, double *litres, double *level_end_m);
/* K for a first hour from brim-full (KW_ERANGE when the pot runs dry). */
int seep_k_for_first_hour(const struct seep_pot *pot, double first_hour_l,
                          double *k_m_s);
/* Litres a day when filled to the rim n times at equal gaps, steady. */
int seep_daily_yield_l(const struct seep_pot *pot, double k_m_s, int fills,
                       double *litres);
#endif
