#ifndef KW_READER_RIG_H
#define KW_READER_RIG_H
/* reader_rig.h - a reader built from the grammar of the sources. */
#include "reader/reader.h"

#include <stdlib.h>

static const struct serial_layout rig_layout = {SERIAL_MOD_97_10, 4, 3};
static const struct reader_limits rig_limits = {.depth_cm = 22,
                                                .volume_l = 8.02,
                                                .finger_cm = 2,
                                                .cup_l = 0.25,
                                                .bottle_l = 0.5,
                                                .minutes_max = 2880,
                                                .people_max = 30};

static inline const char *rig_folder(void)
{
    static char path[1024];
    const char *source = getenv("KW_SOURCE");
    size_t n = 0;

    for (const char *s = source ? source : "."; *s && n < 1000; s++)
        path[n++] = *s;
    for (const char *s = "/grammar"; *s; s++)
        path[n++] = *s;
    path[n] = '\0';
    return path;
}
#endif
