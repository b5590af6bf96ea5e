/* map.c - see map.h. */
#include "page/map.h"

#include <math.h>
#include <string.h>

#define COLUMNS_MOST 60
#define ROWS_MOST    20
#define KM_A_DEGREE  111.2 /* of latitude: 40,030 km around (mean radius) */

struct frame {
    double west, north; /* degrees; of longitude after scaling */
    double step;        /* degrees of latitude a row; half of it a column */
    double scale;       /* cosine of the middle latitude */
    double turn;        /* longitudes below it are east of the date line */
    int columns, rows;
    char cells[ROWS_MOST][COLUMNS_MOST];
};

static double east_of(const struct frame *f, double lon_deg)
{
    return f->scale * (lon_deg < f->turn ? lon_deg + 360 : lon_deg);
}

/* False: all lie on one spot. */
static bool make_frame(struct frame *f, const struct screen *s,
                       const struct map_spot *spots, size_t n)
{
    double south = INFINITY, east = -INFINITY, low = INFINITY, high = -INFINITY;
    double wide, tall;

    memset(f, 0, sizeof(*f));
    memset(f->cells, ' ', sizeof(f->cells));
    f->north = -INFINITY;
    f->west = INFINITY;
    for (size_t i = 0; i < n; i++) {
        f->north = fmax(f->north, spots[i].lat_deg);
        south = fmin(south, spots[i].lat_deg);
        low = fmin(low, spots[i].lon_deg);
        high = fmax(high, spots[i].lon_deg);
    }
    f->scale = cos((f->north + south) / 2 * 3.14159265358979323846 / 180);
    f->turn = high - low > 180 ? 0 : -INFINITY;
    for (size_t i = 0; i < n; i++) {
        f->west = fmin(f->west, east_of(f, spots[i].lon_deg));
        east = fmax(east, east_of(f, spots[i].lon_deg));
    }
    wide = east - f->west;
    tall = f->north - south;
    if (!(wide > 1e-6 || tall > 1e-6)) /* a decimetre */
        return false;
    f->columns = s->width - 4 < COLUMNS_MOST ? s->width - 4 : COLUMNS_MOST;
    f->step = fmax(2 * wide / (f->columns - 1), tall / (ROWS_MOST - 1));
    f->columns = 1 + (int)lround(2 * wide / f->step);
    f->rows = 1 + (int)lround(tall / f->step);
    return true;
}

/* Into its cell, or the nearest one beside it that is free. */
static void put_spot(struct frame *f, const struct map_spot *spot)
{
    static const int aside[][2] = {{0, 0},   {0, 1}, {0, -1}, {1, 0},
                                   {-1, 0},  {1, 1}, {-1, 1}, {1, -1},
                                   {-1, -1}, {0, 2}, {0, -2}};
    int row = (int)lround((f->north - spot->lat_deg) / f->step);
    int column =
        (int)lround(2 * (east_of(f, spot->lon_deg) - f->west) / f->step);

    for (size_t i = 0; i < KW_COUNT(aside); i++) {
        int r = row + aside[i][0], c = column + aside[i][1];

        if (r < 0 || r >= f->rows || c < 0 || c >= f->columns ||
            f->cells[r][c] != ' ')
            continue;
        f->cells[r][c] = spot->mark;
        return;
    }
}

double map_put(const struct screen *s, const struct map_spot *spots, size_t n)
{
    struct frame f;
    int highest = 0;

    if (n < 2 || !make_frame(&f, s, spots, n))
        return 0;
    for (size_t i = 0; i < n; i++)
        highest = spots[i].rank > highest ? spots[i].rank : highest;
    for (int rank = highest; rank >= 0; rank--)
        for (size_t i = 0; i < n; i++)
            if (spots[i].rank == rank)
                put_spot(&f, &spots[i]);
    for (int r = 0; r < f.rows; r++) {
        int end = f.columns;

        while (end > 0 && f.cells[r][end - 1] == ' ')
            end--;
        kw_buf_printf(s->out, "%s%.*s\n", end > 0 ? "    " : "", end,
                      f.cells[r]);
    }
    return (f.columns - 1) * f.step / 2 * KM_A_DEGREE;
}
