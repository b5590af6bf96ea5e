/* check_water.c - water against the release's own table and against physics. */
#include "watch/water.h"

#include "close.h"

#include <math.h>

/*
 * IAPWS SR6-08(2011), check values of viscosity (eq. 7) and density. The
 * formulas are evaluated to all the digits printed: one unit of the last.
 */
static const struct {
    double kelvin, micro_pa_s, kg_m3;
} table[] = {
    {260.00, 3058.36075, 997.068360},
    {298.15, 889.996774, 997.047013},
    {375.00, 276.207245, 957.009710},
};

START_TEST(release_table)
{
    double c = table[_i].kelvin - 273.15;

    CLOSE(water_viscosity_pa_s(c) * 1e6, table[_i].micro_pa_s, 2e-9);
    CLOSE(water_density_kg_m3(c), table[_i].kg_m3, 1e-9);
}
END_TEST

/* Density of water is greatest at 3.98 degC (handbook value, from memory). */
START_TEST(densest_at_four_degrees)
{
    double best = 0, at = -1;

    for (int i = 0; i <= 1000; i++) {
        double d = water_density_kg_m3(i / 100.0);

        if (d > best) {
            best = d;
            at = i / 100.0;
        }
    }
    ck_assert_double_eq_tol(at, 3.98, 0.02);
    ck_assert_double_eq_tol(best, 999.97, 0.01);
}
END_TEST

START_TEST(warmer_is_thinner)
{
    for (int c = 0; c < 60; c++)
        ck_assert_double_gt(water_viscosity_pa_s(c),
                            water_viscosity_pa_s(c + 1));
}
END_TEST

/* A pot at 10 degC passes 0.68333 of what it passes at 25 degC. */
START_TEST(factor_to_25)
{
    CLOSE(water_to_25_degc(25), 1.0, 1e-15);
    ck_assert_double_eq_tol(1 / water_to_25_degc(10), 0.68333, 5e-6);
}
END_TEST

START_TEST(outside_is_not_a_number)
{
    static const double bad[] = {-20.01, 110.01, NAN, INFINITY, -INFINITY};

    for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
        ck_assert_double_nan(water_viscosity_pa_s(bad[i]));
        ck_assert_double_nan(water_density_kg_m3(bad[i]));
        ck_assert_double_nan(water_to_25_degc(bad[i]));
    }
}
END_TEST

int main(void)
{
    TCase *tc = tcase_create("water");

    tcase_add_loop_test(tc, release_table, 0, 3);
    tcase_add_test(tc, densest_at_four_degrees);
    tcase_add_test(tc, warmer_is_thinner);
    tcase_add_test(tc, factor_to_25);
    tcase_add_test(tc, outside_is_not_a_number);
    return close_run("water", tc);
}
