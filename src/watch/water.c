/* water.c - see water.h; T in kelvin inside. */
#include "watch/water.h"

#include <math.h>

#define KELVIN      273.15
#define T_LEAST_K   253.15 /* SR6-08(2011): supercooled, -20 degC */
#define T_MOST_K    383.15 /* superheated, 110 degC */
#define GAS_J_KG_K  461.51805
#define PRESSURE_PA 1e5

/* NaN outside the range that the release states. */
static double kelvin(double degc)
{
    double t = degc + KELVIN;

    return t >= T_LEAST_K && t <= T_MOST_K ? t : NAN;
}

/* SR6-08(2011), eq. 7. */
double water_viscosity_pa_s(double degc)
{
    double t = kelvin(degc) / 300.0;

    return 1e-6 * (280.68 * pow(t, -1.9) + 511.45 * pow(t, -7.7) +
                   61.131 * pow(t, -19.6) + 0.45903 * pow(t, -40.0));
}

/* The sum of a[i] x^n[i]. */
static double powers(const double *a, const int *n, int count, double x)
{
    double sum = 0;

    for (int i = 0; i < count; i++) {
        double term = a[i];

        for (int k = 0; k < n[i]; k++)
            term *= x;
        sum += term;
    }
    return sum;
}

/*
 * SR6-08(2011), specific volume at 0.1 MPa with its table 1, in powers of
 * 10 K/(593 K - T) and 10 K/(T - 232 K).
 */
double water_density_kg_m3(double degc)
{
    static const double a[] = {6.74458446e3, -2.22521604e5, 1.00231247e8,
                               -1.63552118e9, 8.32299658e9};
    static const int n[] = {4, 5, 7, 8, 9};
    static const double b[] = {5.78545292e-3,  -1.53195665e-2, 3.11337859e-2,
                               -4.23546241e-2, 3.38713507e-2,  -1.19946761e-2};
    static const int m[] = {1, 2, 3, 4, 5, 6};
    double t = kelvin(degc);
    double sum = 1.93763157e-2 + powers(a, n, 5, 10.0 / (593.0 - t)) +
                 powers(b, m, 6, 10.0 / (t - 232.0));

    return PRESSURE_PA / (GAS_J_KG_K * 10.0 * sum);
}

double water_to_25_degc(double degc)
{
    double here = water_density_kg_m3(degc) / water_viscosity_pa_s(degc);
    double there = water_density_kg_m3(25.0) / water_viscosity_pa_s(25.0);

    return there / here;
}
