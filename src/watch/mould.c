/* mould.c - see mould.h. */
#include "watch/mould.h"

#include <string.h>

_Static_assert(CONFIG_PROFILE_MOST <= SEEP_PROFILE_MOST,
               "a profile of the configuration fits");

static const struct {
    const char *name;
    enum seep_shape shape;
} shapes[] = {{"frustum", SEEP_FRUSTUM},
              {"cylinder", SEEP_CYLINDER},
              {"paraboloid", SEEP_PARABOLOID},
              {"hemisphere", SEEP_HEMISPHERE},
              {"profile", SEEP_PROFILE}};

static void take_points(const struct config_mould *m, struct seep_pot *pot)
{
    pot->depth_m = 0; /* the last point is the rim */
    pot->n_profile = m->n_profile;
    for (size_t i = 0; i < m->n_profile; i++)
        pot->profile[i] =
            (struct seep_point){.height_m = m->profile_mm[i][0] / 1000,
                                .radius_m = m->profile_mm[i][1] / 1000,
                                .wall_m = m->profile_mm[i][2] / 1000};
}

int mould_pot(const struct config_mould *m, struct seep_pot *pot)
{
    *pot = (struct seep_pot){.base_radius_m = m->base_radius_mm / 1000,
                             .rim_radius_m = m->rim_radius_mm / 1000,
                             .depth_m = m->depth_mm / 1000,
                             .wall_m = m->wall_mm / 1000,
                             .base_m = m->base_mm / 1000};
    for (size_t k = 0; k < KW_COUNT(shapes); k++) {
        if (strcmp(m->shape, shapes[k].name) == 0)
            pot->shape = shapes[k].shape;
    }
    if (pot->shape == SEEP_CYLINDER)
        pot->rim_radius_m = pot->base_radius_m;
    if (pot->shape == SEEP_HEMISPHERE)
        pot->depth_m = pot->rim_radius_m;
    if (pot->shape == SEEP_PROFILE)
        take_points(m, pot);
    return seep_pot_check(pot);
}
