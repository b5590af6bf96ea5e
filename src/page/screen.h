#ifndef KW_SCREEN_H
#define KW_SCREEN_H
/*
 * screen.h - plain text for a terminal, no line wider than asked. What
 * households wrote may hold any octets: everything passes screen_clean, so
 * that no control character reaches the terminal.
 * Widths: East Asian Width (UAX #11) and graphemes (UAX #29), by utf8proc.
 */
#include "base/buf.h"

#define SCREEN_WIDTH 80
#define SCREEN_LEAST 40 /* narrower is not readable */
#define SCREEN_LABEL 13 /* columns of a field's label with its gap */

struct screen {
    struct kw_buf *out; /* borrowed */
    int width;          /* columns that no line exceeds, SCREEN_LEAST and up */
    bool plain;         /* ASCII alone */
};

/*
 * Appends s so that a terminal shows it and does nothing else: line ends and
 * tabs become spaces, control and direction characters and broken UTF-8 a
 * replacement mark. plain: accents are taken off, signs such as a degree are
 * spelt, other scripts become one '?' a letter.
 */
void screen_clean(const char *s, size_t len, bool plain, struct kw_buf *out);
/* Columns that cleaned text takes. */
int screen_columns(const char *s, size_t len);
/*
 * Octets of the longest beginning of cleaned text that fits the columns: up
 * to a space when there is one, else never inside a grapheme. At least one
 * grapheme, so that a caller moves on. Spaces at the end are not counted.
 */
size_t screen_fit(const char *s, size_t len, int columns);

/* A heading with a line under it. */
void screen_title(const struct screen *s, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
/* An empty line, the section's name and what it means (NULL: nothing). */
void screen_section(const struct screen *s, const char *name,
                    const char *meaning);
/* A paragraph, wrapped behind the indent. */
void screen_text(const struct screen *s, int indent, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
/* The same behind a dash, which stands at the indent. */
void screen_item(const struct screen *s, int indent, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
/* "  label      value", the value wrapped below itself. */
void screen_field(const struct screen *s, const char *label, const char *fmt,
                  ...) __attribute__((format(printf, 3, 4)));

/*
 * A number as people may see it: "+999…2345", or all of it when whole. Short
 * numbers show their last two characters only.
 */
void screen_phone(const char *number, bool whole, char *dst, size_t cap);
#endif
