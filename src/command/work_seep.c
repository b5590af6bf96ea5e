/* work_seep.c - `kilnword work seep`: what was seen -> first-hour litres. */
#include "command/work.h"

#include "base/number.h"
#include "watch/seep.h"

#include <math.h>
#include <string.h>

enum {
    ID,
    SHAPE,
    BASE_RADIUS,
    RIM_RADIUS,
    DEPTH,
    WALL,
    BASE,
    PROFILE,
    START,
    DROP,
    LITRES,
    HOURS,
    DEGC,
    START_SE,
    DROP_SE,
    LITRES_SE,
    HOURS_SE,
    DEGC_SE,
    PEOPLE,
    N_COLUMNS
};

#define NUMBER(name, unit, help, least, most, otherwise)                       \
    {                                                                          \
        name, unit, help, WORK_NUMBER, false, least, most, otherwise           \
    }
#define TEXT(name, help)                                                       \
    {                                                                          \
        name, "", help, WORK_TEXT, false, 0, 0, 0                              \
    }

static const struct work_column columns[N_COLUMNS] = {
    [ID] = TEXT("id", "yours, given back; else the line number"),
    [SHAPE] = TEXT("shape", "frustum, cylinder, paraboloid, hemisphere or "
                            "profile (else frustum)"),
    [BASE_RADIUS] =
        NUMBER("base_radius_mm", "mm", "inner radius at the base", 0, 2000, 95),
    [RIM_RADIUS] =
        NUMBER("rim_radius_mm", "mm",
               "inner radius at the rim; of the hemisphere", 0, 2000, 120),
    [DEPTH] =
        NUMBER("depth_mm", "mm", "rim above the inner base", 0, 2000, 220),
    [WALL] = NUMBER("wall_mm", "mm", "thickness of the wall", 0, 2000, 12),
    [BASE] = NUMBER("base_mm", "mm", "thickness of the base", 0, 2000, 15),
    [PROFILE] = TEXT("profile", "shape profile: height:radius:wall in mm, "
                                "from the base up, spaces between"),
    [START] = NUMBER("start_cm", "cm", "level at the start; 0 is brim-full", 0,
                     200, 0),
    [DROP] = NUMBER("drop_cm", "cm", "fall of the level", 0, 200, NAN),
    [LITRES] = NUMBER("litres", "L", "or what was collected", 0, 200, NAN),
    [HOURS] = {"hours", "h", "that it took", WORK_NUMBER, true, 0, 168, 0},
    [DEGC] = NUMBER("water_degc", "degC", "of the water", 0, 60, 25),
    [START_SE] =
        NUMBER("start_se_cm", "cm", "standard error, 0 the default", 0, 200, 0),
    [DROP_SE] = NUMBER("drop_se_cm", "cm", "likewise", 0, 200, 0),
    [LITRES_SE] = NUMBER("litres_se", "L", "likewise", 0, 200, 0),
    [HOURS_SE] = NUMBER("hours_se", "h", "likewise", 0, 168, 0),
    [DEGC_SE] = NUMBER("water_se_degc", "degC", "likewise", 0, 60, 0),
    [PEOPLE] = NUMBER("people", "", "who drink from it", 1, 1000, NAN),
};

static const struct work_result results[] = {
    {"id", "", "as given"},
    {"k_m_s", "m/s", "hydraulic conductivity at the water's temperature"},
    {"k25_m_s", "m/s", "the same at 25 degC"},
    {"first_hour_l", "L", "in the first hour from brim-full at 25 degC"},
    {"first_hour_se_l", "L", "its standard error, of the reading alone"},
    {"log_se", "", "standard error of its natural logarithm"},
    {"day_l_1", "L", "a day, filled to the rim once, at the water's degC"},
    {"day_l_2", "L", "filled twice, at equal gaps"},
    {"day_l_3", "L", "filled three times"},
    {"person_l_2", "L",
     "for each of the people, filled twice; the need is "
     "2.5 to 3"},
};

static const char *const shapes[] = {"frustum", "cylinder", "paraboloid",
                                     "hemisphere", "profile"};

/* "0:95:12 220:120:12". */
static int read_profile(const char *text, struct seep_pot *pot)
{
    pot->n_profile = 0;
    for (text += strspn(text, " "); *text != '\0'; text += strspn(text, " ")) {
        double mm[3];

        if (pot->n_profile == SEEP_PROFILE_MOST)
            return KW_EFULL;
        for (int i = 0; i < 3; i++) {
            size_t len = strcspn(text, i < 2 ? ":" : " ");

            if (kw_parse_double(text, len, 0, 2000, &mm[i]) < 0)
                return KW_EINVAL;
            text += len;
            if (i < 2 && *text++ != ':')
                return KW_EINVAL;
        }
        pot->profile[pot->n_profile++] =
            (struct seep_point){mm[0] / 1000, mm[1] / 1000, mm[2] / 1000};
    }
    return 0;
}

static double metres(const struct work_table *t, size_t row, int column,
                     double per_metre)
{
    return work_at(t, row, column)->num / per_metre;
}

static bool read_pot(struct work_table *t, size_t row, struct seep_pot *pot)
{
    const struct work_cell *shape = work_at(t, row, SHAPE);
    const struct work_cell *profile = work_at(t, row, PROFILE);
    size_t i = 0;

    while (shape->given && i < KW_COUNT(shapes) &&
           strcmp(shape->text, shapes[i]) != 0)
        i++;
    if (i == KW_COUNT(shapes)) {
        work_fault(t, row,
                   "shape is '%.40s'; it is frustum, cylinder, "
                   "paraboloid, hemisphere or profile",
                   shape->text);
        return false;
    }
    *pot = (struct seep_pot){.shape = (enum seep_shape)i,
                             .base_radius_m = metres(t, row, BASE_RADIUS, 1e3),
                             .rim_radius_m = metres(t, row, RIM_RADIUS, 1e3),
                             .depth_m = metres(t, row, DEPTH, 1e3),
                             .wall_m = metres(t, row, WALL, 1e3),
                             .base_m = metres(t, row, BASE, 1e3)};
    if (pot->shape == SEEP_PROFILE) {
        pot->depth_m = 0; /* the profile's own */
        if (!profile->given || read_profile(profile->text, pot) < 0) {
            work_fault(t, row,
                       "the profile is not right; write 2 to %d "
                       "points height:radius:wall in mm, such as "
                       "\"0:95:12 220:120:12\"",
                       SEEP_PROFILE_MOST);
            return false;
        }
    }
    if (seep_pot_check(pot) < 0) {
        work_fault(t, row,
                   "there is no such pot; lengths go from 0.1 mm to "
                   "2 m, a hemisphere is no deeper than its radius, "
                   "heights of a profile rise from 0");
        return false;
    }
    return true;
}

static bool read_reading(struct work_table *t, size_t row,
                         struct seep_reading *r)
{
    bool drop = work_at(t, row, DROP)->given;

    if (drop == work_at(t, row, LITRES)->given) {
        work_fault(t, row, "give either drop_cm or litres");
        return false;
    }
    *r = (struct seep_reading){
        .seen = drop ? SEEP_DROP : SEEP_YIELD,
        .start_m = metres(t, row, START, 100),
        .drop_m = drop ? metres(t, row, DROP, 100) : 0,
        .yield_l = drop ? 0 : work_at(t, row, LITRES)->num,
        .elapsed_s = work_at(t, row, HOURS)->num * 3600,
        .water_degc = work_at(t, row, DEGC)->num,
        .start_se_m = metres(t, row, START_SE, 100),
        .drop_se_m = metres(t, row, DROP_SE, 100),
        .yield_se_l = work_at(t, row, LITRES_SE)->num,
        .elapsed_se_s = work_at(t, row, HOURS_SE)->num * 3600,
        .water_se_degc = work_at(t, row, DEGC_SE)->num};
    return true;
}

static void put_flow(struct work_table *t, size_t row,
                     const struct seep_pot *pot, const struct seep_flow *flow)
{
    double day[3] = {NAN, NAN, NAN};

    for (int fills = 1; fills <= 3; fills++)
        seep_daily_yield_l(pot, flow->k_m_s, fills, &day[fills - 1]);
    work_put_id(t, row, ID);
    work_put_number(t, flow->k_m_s);
    work_put_number(t, flow->k25_m_s);
    work_put_number(t, flow->first_hour_l);
    work_put_number(t, flow->first_hour_se_l);
    work_put_number(t, flow->log_se);
    for (int i = 0; i < 3; i++)
        work_put_number(t, day[i]);
    work_put_number(t, day[1] / work_at(t, row, PEOPLE)->num);
}

static void run(struct work_table *t)
{
    for (size_t row = 0; row < t->n; row++) {
        struct seep_pot pot;
        struct seep_reading r;
        struct seep_flow flow;
        int err;

        if (!read_pot(t, row, &pot) || !read_reading(t, row, &r))
            continue;
        err = seep_solve(&pot, &r, &flow);
        if (err == KW_EINVAL)
            work_fault(t, row,
                       "this cannot be: the pot holds %.2f L and its "
                       "rim is at %.1f cm; look at start_cm, drop_cm "
                       "or litres",
                       seep_full_l(&pot), 100 * seep_rim_m(&pot));
        else if (err < 0)
            work_fault(t, row,
                       "hours and the fall or the litres must be "
                       "over 0, a reading a week at most");
        else
            put_flow(t, row, &pot, &flow);
    }
}

const struct work_method work_seep = {
    .name = "seep",
    .summary = "a fall of the level or a yield -> litres in the first hour",
    .help = "From how far the water fell in a pot, or how much came, to the "
            "pot's standard\nflow: litres in the first hour from brim-full "
            "at 25 degC, by Darcy seepage under\nfalling head through wall "
            "and base.\n\nexample:\n  id,start_cm,drop_cm,hours,water_degc\n"
            "  overnight,15,10,12,25",
    .columns = columns,
    .n_columns = N_COLUMNS,
    .results = results,
    .n_results = KW_COUNT(results),
    .run = run,
};
