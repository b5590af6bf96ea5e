#ifndef KW_PAGE_MAP_H
#define KW_PAGE_MAP_H
/*
 * map.h - places as letters where they lie, north up, in a terminal. Pure.
 * A plate carrée with the scale of its middle latitude: true enough for a
 * valley or a district.
 */
#include "page/screen.h"

struct map_spot {
    double lat_deg, lon_deg; /* WGS 84 */
    char mark;               /* a letter of one column */
    int rank;                /* what is higher keeps its cell, others shift */
};

/*
 * Draws them. Returns the distance from edge to edge, west to east, in km, or
 * 0 and draws nothing when they do not lie apart.
 */
double map_put(const struct screen *s, const struct map_spot *spots, size_t n);
#endif
