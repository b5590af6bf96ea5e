/*
 * serial.c - check characters and forms of the number stamped on a pot.
 * Source: ISO/IEC 7064:2003, MOD 97-10 (pure, two digits) and MOD 37,36
 * (hybrid, one character 0-9A-Z).
 */
#include "reader/serial.h"

#include <ctype.h>
#include <string.h>

#define DIGITS_AT_ONCE 17 /* behind a rest below 97, in 64 bits */

/* 0-35 for 0-9A-Z, or -1. Lower case is not canonical. */
static int char_value(char c)
{
    if (c >= '0' && c <= '9')
        return c - '0';
    if (c >= 'A' && c <= 'Z')
        return c - 'A' + 10;
    return -1;
}

static char value_char(int v)
{
    return (char)(v < 10 ? '0' + v : 'A' + v - 10);
}

static int check_chars(enum serial_check check)
{
    return check == SERIAL_MOD_97_10 ? 2 : check == SERIAL_MOD_37_36 ? 1 : 0;
}

int serial_chars(const struct serial_layout *l)
{
    return l->batch_chars + l->pot_chars + check_chars(l->check);
}

int serial_check_from_name(const char *name, enum serial_check *out)
{
    static const char *const names[] = {"97-10", "37,36", "none"};

    for (size_t i = 0; i < KW_COUNT(names); i++) {
        if (strcmp(name, names[i]) == 0) {
            *out = (enum serial_check)i;
            return 0;
        }
    }
    return KW_EINVAL;
}

static bool layout_fits(const struct serial_layout *l)
{
    return l->batch_chars > 0 && l->pot_chars >= 0 &&
           serial_chars(l) <= SERIAL_CHARS_MAX;
}

/* The remainder of a decimal string, or -1 when it is not one. */
static int mod97(const char *s, size_t len)
{
    uint64_t rest = 0;

    for (size_t i = 0; i < len; rest %= 97) {
        size_t end = len - i < DIGITS_AT_ONCE ? len : i + DIGITS_AT_ONCE;

        for (; i < end; i++) {
            unsigned v = (unsigned char)s[i] - (unsigned)'0';

            if (v > 9)
                return -1;
            rest = rest * 10 + v;
        }
    }
    return (int)rest;
}

/* The product P of MOD 37,36 after all characters, or -1. */
static int hybrid36(const char *s, size_t len)
{
    int p = 36;

    for (size_t i = 0; i < len; i++) {
        int v = char_value(s[i]);

        if (v < 0)
            return -1;
        p = (p + v) % 36;
        p = (p == 0 ? 36 : p) * 2 % 37;
    }
    return p;
}

static int verify_hybrid36(const char *s, size_t len)
{
    int p = hybrid36(s, len - 1), v = char_value(s[len - 1]);

    if (p < 0 || v < 0 || (p + v) % 36 != 1)
        return KW_EINVAL;
    return 0;
}

int serial_verify(const struct serial_layout *l, const char *s, size_t len)
{
    if (!layout_fits(l) || len != (size_t)serial_chars(l))
        return KW_EINVAL;
    switch (l->check) {
    case SERIAL_MOD_97_10:
        return mod97(s, len) == 1 ? 0 : KW_EINVAL;
    case SERIAL_MOD_37_36:
        return verify_hybrid36(s, len);
    case SERIAL_NO_CHECK:
        return hybrid36(s, len) < 0 ? KW_EINVAL : 0;
    }
    return KW_EINVAL;
}

int serial_bare(const char *text, char dst[SERIAL_CAP])
{
    size_t n = 0;

    dst[0] = '\0';
    for (; *text != '\0'; text++) {
        if (isalnum((unsigned char)*text)) {
            if (n + 1 >= SERIAL_CAP)
                return KW_EINVAL;
            dst[n++] = (char)toupper((unsigned char)*text);
            dst[n] = '\0';
        } else if (strchr(" .-_/:", *text) == NULL) {
            return KW_EINVAL;
        }
    }
    return n > 0 ? 0 : KW_EINVAL;
}

/* Right-aligned in width places, noughts before it, letters upper case. */
static int put_field(char *dst, int width, const char *src)
{
    size_t n = strlen(src);

    if (n == 0 || n > (size_t)width)
        return KW_EINVAL;
    memset(dst, '0', (size_t)width - n);
    for (size_t i = 0; i < n; i++) {
        char c = src[i];

        if (c >= 'a' && c <= 'z')
            c = (char)(c - 'a' + 'A');
        if (char_value(c) < 0)
            return KW_EINVAL;
        dst[(size_t)width - n + i] = c;
    }
    return 0;
}

int serial_make(const struct serial_layout *l, const char *batch,
                const char *pot, char dst[SERIAL_CAP])
{
    size_t n;
    int v;

    dst[0] = '\0';
    if (!layout_fits(l))
        return KW_EINVAL;
    if (put_field(dst, l->batch_chars, batch) < 0 ||
        (l->pot_chars > 0 &&
         put_field(dst + l->batch_chars, l->pot_chars, pot) < 0))
        goto wrong;
    n = (size_t)(l->batch_chars + l->pot_chars);
    if (l->check == SERIAL_MOD_97_10) {
        if ((v = mod97(dst, n)) < 0)
            goto wrong;
        v = 98 - v * 100 % 97;
        dst[n++] = value_char(v / 10);
        dst[n++] = value_char(v % 10);
    } else if (l->check == SERIAL_MOD_37_36) {
        v = hybrid36(dst, n);
        dst[n++] = value_char((37 - v) % 36);
    }
    dst[n] = '\0';
    return 0;
wrong:
    dst[0] = '\0';
    return KW_EINVAL;
}

void serial_batch(const struct serial_layout *l, const char *serial,
                  char dst[SERIAL_CAP])
{
    size_t n = strlen(serial);

    if (n > (size_t)l->batch_chars)
        n = (size_t)l->batch_chars;
    kw_copy(dst, SERIAL_CAP, serial, n);
}

void serial_format(const struct serial_layout *l, const char *serial, char *dst,
                   size_t cap)
{
    size_t at = 0;
    int batch = l->batch_chars, pot = batch + l->pot_chars;

    for (int i = 0; serial[i] != '\0' && at + 2 < cap; i++) {
        if (i > 0 && (i == batch || i == pot))
            dst[at++] = '-';
        dst[at++] = serial[i];
    }
    if (cap > 0)
        dst[at] = '\0';
}

int serial_key(const char *serial, int64_t *key)
{
    int64_t k = 1;
    size_t n = strlen(serial);

    if (n == 0 || n > SERIAL_CHARS_MAX)
        return KW_EINVAL;
    for (size_t i = 0; i < n; i++) {
        int v = char_value(serial[i]);

        if (v < 0)
            return KW_EINVAL;
        k = k * 36 + v;
    }
    *key = k;
    return 0;
}

int serial_from_key(int64_t key, char dst[SERIAL_CAP])
{
    char back[SERIAL_CAP];
    size_t n = 0;

    dst[0] = '\0';
    if (key <= 1)
        return KW_EINVAL;
    while (key > 1 && n < SERIAL_CHARS_MAX) {
        back[n++] = value_char((int)(key % 36));
        key /= 36;
    }
    if (key != 1 || n == 0)
        return KW_EINVAL;
    for (size_t i = 0; i < n; i++)
        dst[i] = back[n - 1 - i];
    dst[n] = '\0';
    return 0;
}
