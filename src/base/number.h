#ifndef KW_NUMBER_H
#define KW_NUMBER_H
/*
 * number.h - numbers and days read from text, whole or not at all.
 * Each returns 0, KW_EINVAL (not such a thing) or KW_ERANGE.
 */
#include "base/kw.h"

/* Decimal digits with an optional sign; the whole of s. */
int kw_parse_i64(const char *s, size_t len, int64_t min, int64_t max,
                 int64_t *out);
/* A finite decimal number, '.' as the point; the whole of s. */
int kw_parse_double(const char *s, size_t len, double min, double max,
                    double *out);

/*
 * An E.164 number ("+", 7 to 15 digits) as the integer of its digits.
 * Spaces, dots, dashes and brackets between digits are passed over.
 */
int kw_parse_msisdn(const char *s, size_t len, int64_t *out);
/* Writes "+digits"; cap at least 17. */
void kw_format_msisdn(int64_t msisdn, char *dst, size_t cap);
#endif
