/*
 * potform.c - see potform.h. Formulas and their derivation: docs/science.md.
 * The plain form: water passes the wall at height z under the head H - z and
 * the base under H, and drips off at atmospheric pressure outside.
 */
#include "watch/potform.h"

#include <math.h>

#define PI      3.14159265358979323846
#define NEWTONS 100 /* far more than it takes; a bound, not a setting */

/* Gauss-Legendre, 8 points on [-1, 1]: Abramowitz & Stegun, table 25.4. */
static const double gauss_x[] = {0.1834346424956498, 0.5255324099163290,
                                 0.7966664774136267, 0.9602898564975363};
static const double gauss_w[] = {0.3626837833783620, 0.3137066458778873,
                                 0.2223810344533745, 0.1012285362903763};

static bool within(double v, double least, double most)
{
    return v >= least && v <= most; /* false for NaN */
}

/* Lengths of pots: nothing under 0.1 mm, nothing over 2 m. */
static bool length_ok(double m)
{
    return within(m, 1e-4, 2.0);
}

static int check_profile(const struct seep_pot *pot)
{
    const struct seep_point *p = pot->profile;

    if (pot->n_profile < 2 || pot->n_profile > SEEP_PROFILE_MOST)
        return KW_ERANGE;
    if (p[0].height_m != 0 || (p[0].radius_m > 0 && !length_ok(pot->base_m)))
        return KW_ERANGE;
    for (size_t i = 0; i < pot->n_profile; i++) {
        bool point = i == 0 && p[i].radius_m == 0; /* a pointed base */

        if (!(point || length_ok(p[i].radius_m)) || !length_ok(p[i].wall_m))
            return KW_ERANGE;
        if (i > 0 && !length_ok(p[i].height_m - p[i - 1].height_m))
            return KW_ERANGE;
    }
    if (pot->depth_m != 0 &&
        !(fabs(pot->depth_m - p[pot->n_profile - 1].height_m) < 1e-6))
        return KW_ERANGE;
    return 0;
}

static int check_plain(const struct seep_pot *pot)
{
    if (!length_ok(pot->depth_m) || !length_ok(pot->wall_m))
        return KW_ERANGE;
    switch (pot->shape) {
    case SEEP_FRUSTUM:
        if (!length_ok(pot->rim_radius_m))
            return KW_ERANGE;
        /* fall through */
    case SEEP_CYLINDER:
        return length_ok(pot->base_radius_m) && length_ok(pot->base_m)
                   ? 0
                   : KW_ERANGE;
    case SEEP_HEMISPHERE:
        return length_ok(pot->rim_radius_m) && pot->depth_m <= pot->rim_radius_m
                   ? 0
                   : KW_ERANGE;
    case SEEP_PARABOLOID:
        return length_ok(pot->rim_radius_m) ? 0 : KW_ERANGE;
    default:
        return KW_ERANGE;
    }
}

/* One straight piece of a profile, cut off at its upper height. */
struct piece {
    double z, r, t; /* at its foot */
    double m, tm;   /* dr/dz, dt/dz */
    double slant;
};

static struct piece piece_of(const struct potform *f, size_t i)
{
    const struct seep_point *a = &f->at[i], *b = &f->at[i + 1];
    double dz = b->height_m - a->height_m;
    double m = (b->radius_m - a->radius_m) / dz;

    return (struct piece){.z = a->height_m,
                          .r = a->radius_m,
                          .t = a->wall_m,
                          .m = m,
                          .tm = (b->wall_m - a->wall_m) / dz,
                          .slant = sqrt(1 + m * m)};
}

static double frustum_volume(double r0, double m, double h)
{
    double r = r0 + m * h;

    return PI * h / 3 * (r0 * r0 + r0 * r + r * r);
}

/* Without cancellation for any taper, and for none. */
static double frustum_level(double r0, double m, double volume)
{
    double r = cbrt(r0 * r0 * r0 + 3 * m * volume / PI);
    double sum = r0 * r0 + r0 * r + r * r;

    return sum > 0 ? 3 * volume / (PI * sum) : 0;
}

/* Adds the piece's dA/t and z dA/t up to height top. */
static void piece_sums(const struct piece *p, double top, double *wetted,
                       double *moment)
{
    double half = (top - p->z) / 2, mid = (top + p->z) / 2;

    for (int i = 0; i < 8; i++) {
        double x = i < 4 ? gauss_x[i] : -gauss_x[i - 4];
        double z = mid + half * x, dz = z - p->z;
        double w = gauss_w[i % 4] * half * 2 * PI * p->slant *
                   (p->r + p->m * dz) / (p->t + p->tm * dz);

        *wetted += w;
        *moment += w * z;
    }
}

static void init_profile(struct potform *f, const struct seep_pot *pot)
{
    f->n = pot->n_profile;
    for (size_t i = 0; i < f->n; i++)
        f->at[i] = pot->profile[i];
    f->r0 = f->at[0].radius_m;
    f->rim_m = f->at[f->n - 1].height_m;
    f->volume[0] = f->wetted[0] = f->moment[0] = 0;
    for (size_t i = 0; i + 1 < f->n; i++) {
        struct piece p = piece_of(f, i);
        double top = f->at[i + 1].height_m;

        f->volume[i + 1] = f->volume[i] + frustum_volume(p.r, p.m, top - p.z);
        f->wetted[i + 1] = f->wetted[i];
        f->moment[i + 1] = f->moment[i];
        piece_sums(&p, top, &f->wetted[i + 1], &f->moment[i + 1]);
    }
}

int potform_init(struct potform *f, const struct seep_pot *pot)
{
    int err =
        pot->shape == SEEP_PROFILE ? check_profile(pot) : check_plain(pot);

    if (err < 0)
        return err;
    f->shape = pot->shape;
    f->rim_m = pot->depth_m;
    f->wall_m = pot->wall_m;
    f->base_m = pot->base_m;
    f->r0 = pot->base_radius_m;
    f->m = 0;
    if (f->shape == SEEP_FRUSTUM)
        f->m = (pot->rim_radius_m - f->r0) / f->rim_m;
    f->slant = sqrt(1 + f->m * f->m);
    f->p = pot->rim_radius_m * pot->rim_radius_m / f->rim_m;
    f->radius = pot->rim_radius_m;
    if (f->shape == SEEP_PROFILE)
        init_profile(f, pot);
    return 0;
}

/* The piece that a level stands in. */
static size_t piece_at(const struct potform *f, double level)
{
    size_t i = 0;

    while (i + 2 < f->n && f->at[i + 1].height_m < level)
        i++;
    return i;
}

double potform_area_m2(const struct potform *f, double h)
{
    double r;

    switch (f->shape) {
    case SEEP_PARABOLOID:
        return PI * f->p * h;
    case SEEP_HEMISPHERE:
        return PI * h * (2 * f->radius - h);
    case SEEP_PROFILE: {
        struct piece p = piece_of(f, piece_at(f, h));

        r = p.r + p.m * (h - p.z);
        break;
    }
    default:
        r = f->r0 + f->m * h;
    }
    return PI * r * r;
}

double potform_volume_m3(const struct potform *f, double h)
{
    switch (f->shape) {
    case SEEP_PARABOLOID:
        return PI * f->p * h * h / 2;
    case SEEP_HEMISPHERE:
        return PI * h * h * (3 * f->radius - h) / 3;
    case SEEP_PROFILE: {
        size_t i = piece_at(f, h);
        struct piece p = piece_of(f, i);

        return f->volume[i] + frustum_volume(p.r, p.m, h - p.z);
    }
    default:
        return frustum_volume(f->r0, f->m, h);
    }
}

/*
 * Integral of (x - s) sqrt(1 + s) from 0 to x. Below 0.05 the closed form
 * loses digits to cancellation; there its power series, to x^12.
 */
static double parabola_head(double x)
{
    double sum = 0, term = x * x, binom = 1;

    if (x > 0.05)
        return 4.0 / 15 * pow(1 + x, 2.5) - 2.0 / 3 * (1 + x) + 0.4;
    for (int k = 0; k <= 10; k++) {
        sum += binom * term / ((k + 1) * (k + 2));
        binom *= (0.5 - k) / (k + 1);
        term *= x;
    }
    return sum;
}

double potform_seepage_m2(const struct potform *f, double h)
{
    switch (f->shape) {
    case SEEP_PARABOLOID: {
        double e = f->p / 4;

        return 2 * PI * sqrt(f->p) / f->wall_m * e * e * sqrt(e) *
               parabola_head(h / e);
    }
    case SEEP_HEMISPHERE:
        return PI * f->radius * h * h / f->wall_m;
    case SEEP_PROFILE: {
        size_t i = piece_at(f, h);
        struct piece p = piece_of(f, i);
        double wetted = f->wetted[i], moment = f->moment[i];

        piece_sums(&p, h, &wetted, &moment);
        if (f->r0 > 0)
            wetted += PI * f->r0 * f->r0 / f->base_m;
        return h * wetted - moment;
    }
    default:
        return PI * f->slant / f->wall_m *
                   (f->r0 * h * h + f->m * h * h * h / 3) +
               PI * f->r0 * f->r0 * h / f->base_m;
    }
}

/* V is convex up to the equator: from the right Newton cannot overshoot. */
static double hemisphere_level(double radius, double volume)
{
    double h = fmin(sqrt(3 * volume / (2 * PI * radius)), radius);

    for (int i = 0; i < NEWTONS && h > 0; i++) {
        double over = PI * h * h * (3 * radius - h) / 3 - volume;
        double step = over / (PI * h * (2 * radius - h));

        h -= step;
        if (fabs(step) <= 1e-15 * h)
            break;
    }
    return h;
}

double potform_level_m(const struct potform *f, double volume)
{
    switch (f->shape) {
    case SEEP_PARABOLOID:
        return sqrt(2 * volume / (PI * f->p));
    case SEEP_HEMISPHERE:
        return hemisphere_level(f->radius, volume);
    case SEEP_PROFILE: {
        size_t i = 0;
        struct piece p;

        while (i + 2 < f->n && f->volume[i + 1] < volume)
            i++;
        p = piece_of(f, i);
        return p.z + frustum_level(p.r, p.m, volume - f->volume[i]);
    }
    default:
        return frustum_level(f->r0, f->m, volume);
    }
}

/* One panel in u = ln H, where H A/F is smooth down to the base. */
static double quad_panel(const struct potform *f, double u0, double u1)
{
    double half = (u1 - u0) / 2, mid = (u1 + u0) / 2, sum = 0;

    for (int i = 0; i < 8; i++) {
        double x = i < 4 ? gauss_x[i] : -gauss_x[i - 4];
        double h = exp(mid + half * x);

        sum += gauss_w[i % 4] * h * potform_area_m2(f, h) /
               potform_seepage_m2(f, h);
    }
    return sum * half;
}

/* bends: how much the wall bends the integrand besides, as a change of ln. */
static double quad_smooth(const struct potform *f, double low, double high,
                          double bends)
{
    double u0 = log(low), u1 = log(high), sum = 0;
    int panels = (int)ceil(fmax((u1 - u0) / 0.7, bends / 0.2));

    for (int i = 0; i < panels; i++)
        sum += quad_panel(f, u0 + (u1 - u0) * i / panels,
                          u0 + (u1 - u0) * (i + 1) / panels);
    return sum;
}

/* Piece by piece: the integrand has a kink at each point of a profile. */
static double profile_fall(const struct potform *f, double low, double high)
{
    double sum = 0;

    for (size_t i = 0; i + 1 < f->n; i++) {
        double a = fmax(low, f->at[i].height_m);
        double b = fmin(high, f->at[i + 1].height_m);
        struct piece p = piece_of(f, i);
        double a_z = a - p.z, b_z = b - p.z, bends;

        if (!(a < b))
            continue;
        bends = fabs(log((p.t + p.tm * b_z) / (p.t + p.tm * a_z)));
        if (p.r > 0)
            bends += fabs(log((p.r + p.m * b_z) / (p.r + p.m * a_z)));
        sum += quad_smooth(f, a, b, bends);
    }
    return sum;
}

double potform_fall_quad_m(const struct potform *f, double low, double high)
{
    if (f->shape == SEEP_PROFILE)
        return profile_fall(f, low, high);
    return low < high ? quad_smooth(f, low, high, 0) : 0;
}

/*
 * Frustum and cylinder: with the wall's alpha = slant/t_w and c = r0^2/t_b,
 *   A/F = (r0 + m H)^2 / (H (a H^2 + b H + c)),  a = alpha m/3, b = alpha r0,
 * split into partial fractions. Written so that a -> 0 loses nothing.
 */
static double frustum_fall(const struct potform *f, double low, double high)
{
    double alpha = f->slant / f->wall_m, tb = f->base_m;
    double a = alpha * f->m / 3, b = alpha * f->r0, c = f->r0 * f->r0 / tb;
    double q_low = (a * low + b) * low + c, q_high = (a * high + b) * high + c;
    double d = b * b - 4 * a * c, q = sqrt(fabs(d));
    double x = high - low, y = 2 * a * low * high + b * (low + high) + 2 * c;
    double inverse; /* integral of 1/(a H^2 + b H + c) */

    if (d > 0)
        inverse = 2 / q * atanh(x * q / y);
    else if (d < 0)
        inverse = 2 / q * atan2(x * q, y);
    else
        inverse = 2 * x / y;
    return tb * log(high / low) +
           (1.5 * f->m / alpha - tb / 2) * log(q_high / q_low) +
           f->r0 / 2 * (f->m - tb * alpha) * inverse;
}

double potform_fall_m(const struct potform *f, double low, double high)
{
    switch (f->shape) {
    case SEEP_FRUSTUM:
    case SEEP_CYLINDER:
        return frustum_fall(f, low, high);
    case SEEP_HEMISPHERE:
        return f->wall_m * (2 * log(high / low) - (high - low) / f->radius);
    default:
        return potform_fall_quad_m(f, low, high);
    }
}

/* Signed: how much more of K t it takes from level `from` down to `to`. */
static double fall_between(const struct potform *f, double from, double to)
{
    return to <= from ? potform_fall_m(f, to, from)
                      : -potform_fall_m(f, from, to);
}

/*
 * Newton in u = ln H, kept inside the bracket that it finds on its way; a
 * step that does not halve what is left is followed by a bisection, so that
 * a profile with corners cannot make it swing.
 */
double potform_fallen_to_m(const struct potform *f, double high, double kt)
{
    const double dry = log(POTFORM_DRY_M);
    double u = log(high), above = u, below = dry, left = kt, before = INFINITY;

    if (!(high > POTFORM_DRY_M))
        return 0;
    for (int i = 0; i < NEWTONS; i++) {
        double h = exp(u);
        double rate = h * potform_area_m2(f, h) / potform_seepage_m2(f, h);
        double step = left / rate, next = u - step;

        if (fabs(left) <= 1e-14 * kt || fabs(step) <= 1e-15 * fmax(1, fabs(u)))
            break;
        if (i == 0)
            next = fmax(next, dry); /* perhaps dry */
        else if (!(next > below && next < above) ||
                 fabs(left) > fabs(before) / 2)
            next = (above + below) / 2;
        before = left;
        left -= fall_between(f, h, exp(next));
        u = next;
        if (left >= 0 && u <= dry)
            return 0;
        if (left > 0)
            above = u;
        else
            below = u;
    }
    return exp(u);
}
