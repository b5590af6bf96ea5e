#ifndef KW_SERIAL_H
#define KW_SERIAL_H
/*
 * serial.h - the number stamped on a pot: batch, pot, check characters.
 * Canonical form: the characters without separators, letters upper case.
 * Source of the checks: ISO/IEC 7064:2003 (MOD 97-10 pure, MOD 37,36 hybrid).
 */
#include "base/kw.h"

#define SERIAL_CAP       16 /* canonical characters and NUL */
#define SERIAL_CHARS_MAX 11 /* so that serial_key fits 63 bits */

enum serial_check { SERIAL_MOD_97_10, SERIAL_MOD_37_36, SERIAL_NO_CHECK };

struct serial_layout {
    enum serial_check check;
    int batch_chars; /* 97-10: 4; for no check: the marks in the field */
    int pot_chars;   /* 97-10: 3 */
};

/* Characters of a whole serial: batch + pot + 2, 1 or 0. */
int serial_chars(const struct serial_layout *l);
/* "97-10", "37,36", "none"; KW_EINVAL for another word. */
int serial_check_from_name(const char *name, enum serial_check *out);

/*
 * As people write it ("0214-073-19", "37.a5.b"): the separators " .-_/:" away,
 * letters upper case. KW_EINVAL for other characters, too many, or none; dst
 * is a string all the same.
 */
int serial_bare(const char *text, char dst[SERIAL_CAP]);
/* 0, or KW_EINVAL: wrong length, wrong characters, or the check fails. */
int serial_verify(const struct serial_layout *l, const char *s, size_t len);
/* Builds the canonical serial of a batch and pot. 0 or KW_EINVAL. */
int serial_make(const struct serial_layout *l, const char *batch,
                const char *pot, char dst[SERIAL_CAP]);
/* The batch characters of a canonical serial. */
void serial_batch(const struct serial_layout *l, const char *serial,
                  char dst[SERIAL_CAP]);
/* As it is stamped: "0214-073-19". cap at least SERIAL_CAP + 4. */
void serial_format(const struct serial_layout *l, const char *serial, char *dst,
                   size_t cap);

/*
 * One integer for each canonical serial of up to SERIAL_CHARS_MAX characters
 * 0-9A-Z: base 36 behind a leading 1, so that lengths do not collide. The
 * ledger's key of the pot. KW_EINVAL when it is not of such characters.
 */
int serial_key(const char *serial, int64_t *key);
int serial_from_key(int64_t key, char dst[SERIAL_CAP]);
#endif
