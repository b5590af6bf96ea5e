#ifndef KW_FLOWSVG_H
#define KW_FLOWSVG_H
/*
 * flowsvg.h - a pot's flow over its life as an SVG picture of its own: no
 * scripts, no fonts of others, less than FLOWSVG_OCTETS_MOST, readable at 240
 * pixels. SVG 1.1 (W3C).
 */
#include "page/flowtrack.h"

#define FLOWSVG_OCTETS_MOST (14 * 1024)
#define FLOWSVG_READS_MOST  32 /* the newest are drawn, and their scrubs */
#define FLOWSVG_SPOTS_MOST  80 /* of the line */

/* serial: as stamped. A pot without readings gets a picture that says so. */
void flowsvg_put(const struct page *p, const char *serial,
                 const struct flow_track *t, struct kw_buf *out);
#endif
