#include "carrier/alphabet.h"

#include <string.h>

bool alphabet_has_locking(uint8_t language)
{
    /* Every table has a space; Spanish (2) has no locking table. */
    return language < ALPHABET_LANGUAGES &&
           alphabet_locking[language][0x20] != 0;
}

bool alphabet_has_single(uint8_t language)
{
    /* Every table has the euro sign. */
    return language < ALPHABET_LANGUAGES && alphabet_single[language][0x65];
}

static const uint16_t *locking_table(struct alphabet_shift shift)
{
    return alphabet_locking[alphabet_has_locking(shift.locking) ? shift.locking
                                                                : 0];
}

static const uint16_t *single_table(struct alphabet_shift shift)
{
    return alphabet_single[alphabet_has_single(shift.single) ? shift.single
                                                             : 0];
}

uint32_t alphabet_char(struct alphabet_shift shift, uint8_t septet)
{
    uint16_t cp = locking_table(shift)[septet & 0x7f];

    return cp != 0 ? cp : ALPHABET_NONE;
}

uint32_t alphabet_escaped(struct alphabet_shift shift, uint8_t septet)
{
    uint16_t cp = single_table(shift)[septet & 0x7f];

    if (septet == ALPHABET_ESC)
        return ' ';
    return cp != 0 ? cp : alphabet_char(shift, septet);
}

/* The code of a character in a table, or -1. */
static int code_of(const uint16_t *table, uint32_t code_point)
{
    if (code_point == 0)
        return -1;
    /* Letters and digits stand at their ASCII codes. */
    if (code_point < 128 && code_point != ALPHABET_ESC &&
        table[code_point] == code_point)
        return (int)code_point;
    for (int i = 0; i < 128; i++) {
        if (table[i] == code_point && i != ALPHABET_ESC)
            return i;
    }
    return -1;
}

size_t alphabet_septets(struct alphabet_shift shift, uint32_t code_point,
                        uint8_t septets[2])
{
    int code = code_of(locking_table(shift), code_point);

    if (code >= 0) {
        septets[0] = (uint8_t)code;
        return 1;
    }
    code = code_of(single_table(shift), code_point);
    if (code < 0)
        return 0;
    septets[0] = ALPHABET_ESC;
    septets[1] = (uint8_t)code;
    return 2;
}

uint8_t alphabet_language(const char *tag)
{
    static const char tags[ALPHABET_LANGUAGES][3] = {
        "",   "tr", "es", "pt", "bn", "gu", "hi",
        "kn", "ml", "or", "pa", "ta", "te", "ur"};
    size_t n = strcspn(tag, "-_");

    for (uint8_t i = 1; i < ALPHABET_LANGUAGES; i++) {
        if (n == 2 && strncmp(tag, tags[i], 2) == 0)
            return i;
    }
    return 0;
}
