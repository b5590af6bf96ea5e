#ifndef KW_PAGE_SVG_H
#define KW_PAGE_SVG_H
/*
 * svg.h - what the pictures share: SVG 1.1 (W3C) of 480 units' width with text
 * at 22, so that it is eleven pixels high where the picture is 240 wide.
 */
#include "base/buf.h"

#define SVG_WIDE 480
#define SVG_TEXT 22

/*
 * Words from outside as XML character data: broken UTF-8 and control
 * characters become a mark, & and < and > references. At most so many columns
 * (0: all), then an ellipsis.
 */
void svg_words(struct kw_buf *out, const char *s, int columns);
#endif
