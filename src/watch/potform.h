#ifndef KW_POTFORM_H
#define KW_POTFORM_H
/*
 * potform.h - the shape of a pot as functions of the level H over the inner
 * base, and their inverses. Inside of seep; SI units throughout.
 *   A(H) free surface, V(H) volume, F(H) = Q/K, the integral of A/F.
 * Closed forms of frustum, cylinder, paraboloid, hemisphere; a profile is
 * straight between its points.
 */
#include "watch/seep.h"

/* A level below this is an empty pot: the last film drains for ever. */
#define POTFORM_DRY_M 1e-6

struct potform {
    enum seep_shape shape;
    double rim_m;        /* depth */
    double r0, m, slant; /* frustum: base radius, dr/dz, sqrt(1 + m^2) */
    double p;            /* paraboloid: r^2 = p z */
    double radius;       /* hemisphere */
    double wall_m, base_m;
    size_t n; /* profile: points, and sums up to each */
    struct seep_point at[SEEP_PROFILE_MOST];
    double volume[SEEP_PROFILE_MOST];
    double wetted[SEEP_PROFILE_MOST]; /* integral of dA/t */
    double moment[SEEP_PROFILE_MOST]; /* integral of z dA/t */
};

/* 0 or KW_ERANGE, as seep_pot_check. */
int potform_init(struct potform *f, const struct seep_pot *pot);

double potform_area_m2(const struct potform *f, double level_m);
double potform_volume_m3(const struct potform *f, double level_m);
/* F(H) in m2: what seeps in m3/s for each m/s of conductivity. */
double potform_seepage_m2(const struct potform *f, double level_m);
/* The level that holds a volume of 0 to V(rim). */
double potform_level_m(const struct potform *f, double volume_m3);

/* Integral of A/F from low to high, in m (= K t); 0 < low <= high <= rim. */
double potform_fall_m(const struct potform *f, double low_m, double high_m);
/* The same by Gauss-Legendre quadrature in ln H, whatever the shape. */
double potform_fall_quad_m(const struct potform *f, double low_m,
                           double high_m);
/*
 * The level that is left when K t has gone from high; 0 when the pot has
 * run dry (POTFORM_DRY_M).
 */
double potform_fallen_to_m(const struct potform *f, double high_m, double kt_m);
#endif
