#ifndef KW_ALPHABET_H
#define KW_ALPHABET_H
/*
 * alphabet.h - which character a septet stands for, and which septet a
 * character has. A national language identifier chooses a locking shift table
 * (in place of the default alphabet) and a single shift table (after ESC, in
 * place of the extension table); 0 is the default of both.
 * Source: 3GPP TS 23.038, 6.2.1 and Annex A.
 */
#include "base/kw.h"

#define ALPHABET_LANGUAGES 14     /* identifiers 0..13 */
#define ALPHABET_ESC       0x1b   /* the next septet is of the single table */
#define ALPHABET_NONE      0xfffd /* shown where no table has a character */

struct alphabet_shift {
    uint8_t locking; /* national language identifiers; 0 default */
    uint8_t single;
};

/* The cells; 0 where a code is undefined, and all of Spanish locking. */
extern const uint16_t alphabet_locking[ALPHABET_LANGUAGES][128];
extern const uint16_t alphabet_single[ALPHABET_LANGUAGES][128];

/* Is there such a table? Unknown identifiers are to be passed over. */
bool alphabet_has_locking(uint8_t language);
bool alphabet_has_single(uint8_t language);

/* The character of a septet; ALPHABET_NONE when undefined. */
uint32_t alphabet_char(struct alphabet_shift shift, uint8_t septet);
/*
 * The character after ESC: of the single table, else that of the locking
 * table at the code (TS 23.038, 6.2.1.1); ESC ESC is a space.
 */
uint32_t alphabet_escaped(struct alphabet_shift shift, uint8_t septet);
/*
 * The septets of a character: writes one or two and returns how many, or 0
 * when the tables cannot write it.
 */
size_t alphabet_septets(struct alphabet_shift shift, uint32_t code_point,
                        uint8_t septets[2]);
/* The identifier of a BCP 47 primary language ("tr"), or 0. */
uint8_t alphabet_language(const char *tag);
#endif
