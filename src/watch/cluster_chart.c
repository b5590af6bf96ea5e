/*
 * cluster_chart.c - the exact mean of the CUSUM in expected-failure time. In
 * units of ln rho the chart falls by 1 a unit of time and rises by 1 at a
 * failure; failures come at rate a. For a <= 1 a closed form; for a > 1 the
 * closed form is the difference of two numbers that grow like exp(a H), and
 * the mean is found by going from failure to failure instead.
 */
#include "watch/cluster.h"

#include <math.h>
#include <string.h>

#define PI     3.14159265358979323846
#define NODES  16
#define PANELS 64 /* H at most */
#define ROUNDS 20000

/* ---- a <= 1: Vardeman & Ray 1985, as a delay equation ---- */

/* sum over k of (-a)^k (y - k)^k exp(a (y - k)) / k!, 0 below 0. */
static double phi(double y, double a)
{
    double sum = 0;

    for (int k = 0; k <= (int)floor(y); k++) {
        double term = exp((k > 0 ? k * log(a * (y - k)) : 0) - lgamma(k + 1.0) +
                          a * (y - k));

        sum += k % 2 == 0 ? term : -term;
    }
    return sum;
}

/* Integral of u^k exp(a u) from 0 to z, as a power series. */
static double power_exp(int k, double a, double z)
{
    double term = pow(z, k + 1), sum = 0;

    for (int m = 0; m < 1000; m++) {
        sum += term / (k + 1 + m);
        term *= a * z / (m + 1);
        if (term < 1e-18 * sum)
            break;
    }
    return sum;
}

/* Integral of phi from 0 to y. */
static double psi(double y, double a)
{
    double sum = 0, scale = 1; /* (-a)^k / k! */

    for (int k = 0; k <= (int)floor(y) && y - k > 0; k++) {
        sum += scale * power_exp(k, a, y - k);
        scale *= -a / (k + 1);
    }
    return sum;
}

static double closed_form(double a, double h, double s)
{
    double c = phi(h, a) / (a * (phi(h, a) - phi(h - 1, a)));

    return c * phi(h - s, a) - psi(h - s, a);
}

/*
 * ---- a > 1 ----
 * g(s) = 1/a + the mean of g over the level after the next failure, by
 * panels of length 1 that end at H (the first is what is left over), with
 * values at Gauss nodes: a shift by 1 goes from node to node.
 */
struct rule {
    double x[NODES], w[NODES]; /* Gauss-Legendre on [0, 1] */
};

static void legendre(double z, double *p, double *slope)
{
    double p0 = 1, p1 = z;

    for (int k = 2; k <= NODES; k++) {
        double next = ((2 * k - 1) * z * p1 - (k - 1) * p0) / k;

        p0 = p1;
        p1 = next;
    }
    *p = p1;
    *slope = NODES * (z * p1 - p0) / (z * z - 1);
}

static struct rule gauss(void)
{
    struct rule r;

    for (int i = 0; i < NODES; i++) {
        double z = cos(PI * (i + 0.75) / (NODES + 0.5)), p, slope;

        for (int k = 0; k < 20; k++) {
            legendre(z, &p, &slope);
            z -= p / slope;
        }
        legendre(z, &p, &slope);
        r.x[i] = (1 - z) / 2;
        r.w[i] = 1 / ((1 - z * z) * slope * slope);
    }
    return r;
}

/* The polynomial that is 1 at node j and 0 at the others. */
static double lagrange(const struct rule *r, int j, double x)
{
    double v = 1;

    for (int k = 0; k < NODES; k++)
        if (k != j)
            v *= (x - r->x[k]) / (r->x[j] - r->x[k]);
    return v;
}

static double at(const struct rule *r, const double *values, double x)
{
    double sum = 0;

    for (int j = 0; j < NODES; j++)
        sum += values[j] * lagrange(r, j, x);
    return sum;
}

/* How a panel's inflow and start reach its nodes and its end (row NODES). */
struct panel {
    double from_start[NODES + 1];
    double from_inflow[NODES + 1][NODES];
};

static void make_panel(struct panel *p, const struct rule *r, double rate)
{
    for (int i = 0; i <= NODES; i++) {
        double x = i < NODES ? r->x[i] : 1;

        p->from_start[i] = exp(-rate * x);
        for (int j = 0; j < NODES; j++) {
            double sum = 0;

            for (int q = 0; q < NODES; q++)
                sum += r->w[q] * x * rate * exp(-rate * x * (1 - r->x[q])) *
                       lagrange(r, j, x * r->x[q]);
            p->from_inflow[i][j] = sum;
        }
    }
}

/* h' = rate (inflow - h) over a panel; returns its end. */
static double cross_panel(const struct panel *p, double start,
                          const double *inflow, double *values)
{
    double end = start * p->from_start[NODES];

    for (int j = 0; j < NODES; j++)
        end += p->from_inflow[NODES][j] * inflow[j];
    for (int i = 0; i < NODES; i++) {
        values[i] = start * p->from_start[i];
        for (int j = 0; j < NODES; j++)
            values[i] += p->from_inflow[i][j] * inflow[j];
    }
    return end;
}

struct walk {
    struct rule rule;
    struct panel first, whole;
    double a, over; /* length of the first panel */
    int panels;     /* whole ones */
    double g[PANELS + 1][NODES];
};

/* One failure more; the largest change. */
static double step(struct walk *w)
{
    double inflow[NODES], start, next[NODES], change = 0;

    start = at(&w->rule, w->g[1], 1 - w->over);
    for (int p = 0; p <= w->panels; p++) {
        memset(inflow, 0, sizeof(inflow));
        for (int i = 0; i < NODES && p < w->panels; i++)
            inflow[i] = p > 0 ? w->g[p + 1][i]
                              : at(&w->rule, w->g[1],
                                   1 - w->over + w->over * w->rule.x[i]);
        start = cross_panel(p > 0 ? &w->whole : &w->first, start, inflow, next);
        for (int i = 0; i < NODES; i++) {
            double v = 1 / w->a + next[i];

            change = fmax(change, fabs(v - w->g[p][i]) / v);
            w->g[p][i] = v;
        }
    }
    return change;
}

static double by_steps(double a, double h, double s)
{
    static const struct walk none = {.a = 0};
    struct walk w = none;

    w.rule = gauss();
    w.a = a;
    w.panels = (int)floor(h);
    w.over = h - w.panels;
    if (w.panels < 1) /* the first failure alarms */
        return 1 / a;
    make_panel(&w.first, &w.rule, a * w.over);
    make_panel(&w.whole, &w.rule, a);
    for (int i = 0; i < ROUNDS && step(&w) > 1e-16; i++)
        ;
    if (s < w.over)
        return at(&w.rule, w.g[0], s / w.over);
    return at(&w.rule, w.g[1 + (int)floor(s - w.over)],
              s - w.over - floor(s - w.over));
}

double cluster_chart_mean(const struct cluster_chart *chart, double risk)
{
    double ln_rho = log(chart->rho), per = (chart->rho - 1) / ln_rho;
    double h = chart->limit / ln_rho, s = chart->start / ln_rho;
    double a = risk / per;

    if (!(chart->rho > 1 && risk > 0 && h > 0 && h < PANELS && s >= 0 && s < h))
        return NAN;
    return (a <= 1 ? closed_form(a, h, s) : by_steps(a, h, s)) / per;
}
