/*
 * fold.c - see fold.h. Two ways: octets of ASCII through a table, all others
 * through utf8proc, code point by code point. Octets that are no UTF-8 are
 * taken as ISO 8859-1 letters where they could be, else as a gap.
 */
#include "reader/fold.h"

#include <pthread.h>
#include <string.h>
#include <utf8proc.h>

#define LATIN_FIRST 0xC0
#define LATIN_LAST  0x17F
#define LATIN_BYTES 0xFD /* those above stand in no text of our languages */
#define DEVA_FIRST  0x900
#define DEVA_LAST   0x97F
#define DROP        1 /* table value: leave this octet out */

#define D(c)   [c] = FOLD_DIGIT
#define L(c)   [c] = FOLD_LETTER
#define L4(c)  L(c), L((c) + 1), L((c) + 2), L((c) + 3)
#define L16(c) L4(c), L4((c) + 4), L4((c) + 8), L4((c) + 12)
const uint8_t fold_class[256] = {
    D('0'),    D('1'),    D('2'),    D('3'),    D('4'),    D('5'),    D('6'),
    D('7'),    D('8'),    D('9'),    L4('a'),   L4('e'),   L4('i'),   L4('m'),
    L4('q'),   L4('u'),   L('y'),    L('z'),    L16(0x80), L16(0x90), L16(0xA0),
    L16(0xB0), L16(0xC0), L16(0xD0), L16(0xE0), L16(0xF0)};
#undef L16
#undef L4
#undef L
#undef D

static char ascii[128];
/* By octet: the same where it stays what it is wherever it stands, else 0. */
static char plain[256];
/* One or two ASCII letters for the letters of Latin-1 and Latin Extended-A. */
static char latin[LATIN_LAST - LATIN_FIRST + 1][3];
/* What the letters of Devanagari become, as fold_code() finds it. */
static struct {
    char text[7];
    uint8_t len; /* 0: not known */
} deva[DEVA_LAST - DEVA_FIRST + 1];
static pthread_once_t prepared = PTHREAD_ONCE_INIT;

/* Letters of other scripts that look like Latin ones, lower case. */
static const struct {
    uint32_t code;
    char as;
} look_alikes[] = {
    {0x0131, 'i'}, {0x03B1, 'a'}, {0x03B5, 'e'}, {0x03B9, 'i'}, {0x03BA, 'k'},
    {0x03BD, 'v'}, {0x03BF, 'o'}, {0x03C1, 'p'}, {0x03C4, 't'}, {0x03C5, 'u'},
    {0x03C7, 'x'}, {0x0430, 'a'}, {0x0432, 'b'}, {0x0435, 'e'}, {0x043A, 'k'},
    {0x043C, 'm'}, {0x043D, 'h'}, {0x043E, 'o'}, {0x0440, 'p'}, {0x0441, 'c'},
    {0x0442, 't'}, {0x0443, 'y'}, {0x0445, 'x'}, {0x0455, 's'}, {0x0456, 'i'},
    {0x0458, 'j'}, {0x04BB, 'h'}, {0x0501, 'd'}, {0x0578, 'n'}, {0x0585, 'o'},
    {0x057D, 'u'}, {0x0261, 'g'}, {0x0251, 'a'}, {0x1D04, 'c'}, {0x0254, 'o'},
    {0x025B, 'e'},
};

/* Other marks that stand for an ASCII one. */
static const struct {
    uint32_t code;
    char as;
} marks[] = {
    {0x2018, '\''}, {0x2019, '\''}, {0x02BC, '\''}, {0x201B, '\''},
    {0x00B4, '\''}, {0x0060, '\''}, {0x2032, '\''}, {0x2010, '-'},
    {0x2011, '-'},  {0x2012, '-'},  {0x2013, '-'},  {0x2014, '-'},
    {0x2212, '-'},  {0x0964, '.'},  {0x0965, '.'},  {0x3002, '.'},
    {0x060C, ','},  {0x061B, ';'},  {0x061F, '?'},  {0x2044, '/'},
    {0x00B7, '.'},  {0x2022, '.'},  {0x066B, '.'},  {0x00BF, ' '},
    {0x00A1, ' '},  {0x2217, '*'},  {0x204E, '*'},  {0x2605, '*'},
};

static void prepare_ascii(void)
{
    for (int c = 0; c < 128; c++) {
        ascii[c] = (char)(c < 0x20 || c == 0x7F ? ' ' : c);
        if (c >= 'A' && c <= 'Z')
            ascii[c] = (char)(c - 'A' + 'a');
    }
    ascii[0] = DROP;
    ascii['\n'] = ascii['\r'] = ';'; /* a line's end is a pause */
    ascii['`'] = '\'';
    for (int c = 0; c < 128; c++)
        plain[c] = (char)(ascii[c] == DROP || ascii[c] == '\'' ? 0 : ascii[c]);
}

static void prepare_latin(void)
{
    for (int32_t c = LATIN_FIRST; c <= LATIN_LAST; c++) {
        utf8proc_int32_t parts[8];
        int last = 0, n = 0;
        char *to = latin[c - LATIN_FIRST];
        ssize_t got =
            utf8proc_decompose_char(c, parts, 8,
                                    UTF8PROC_DECOMPOSE | UTF8PROC_COMPAT |
                                        UTF8PROC_CASEFOLD | UTF8PROC_STRIPMARK,
                                    &last);

        for (ssize_t i = 0; i < got && n < 2; i++) {
            if (parts[i] >= 'a' && parts[i] <= 'z')
                to[n++] = (char)parts[i];
        }
    }
    latin[0xE6 - LATIN_FIRST][0] = latin[0xC6 - LATIN_FIRST][0] = 'a';
    latin[0xE6 - LATIN_FIRST][1] = latin[0xC6 - LATIN_FIRST][1] = 'e';
    latin[0xF8 - LATIN_FIRST][0] = latin[0xD8 - LATIN_FIRST][0] = 'o';
    latin[0x131 - LATIN_FIRST][0] = 'i';
}

/*
 * A letter after an apostrophe: "l'eau" is two words, "don't" is one. The
 * particles are those of French and its like.
 */
static void join_apostrophe(struct fold *f)
{
    size_t at = f->len - 1, n = 0;

    while (n < at && fold_is_letter(f->text[at - 1 - n]))
        n++;
    if (n == 0)
        return;
    if ((n == 1 && strchr("ldsjncmt", f->text[at - 1]) != NULL) ||
        (n == 2 && memcmp(f->text + at - 2, "qu", 2) == 0))
        f->text[at] = ' ';
    else
        f->len--;
}

static inline void put(struct fold *f, char c)
{
    if (f->len > 0 && f->text[f->len - 1] == '\'' && fold_is_letter(c))
        join_apostrophe(f);
    if (f->len < FOLD_CAP)
        f->text[f->len++] = c;
}

/* The value of a decimal digit of any script, or -1. */
static int digit_value(utf8proc_int32_t c)
{
    int v = 0;

    if (utf8proc_category(c) != UTF8PROC_CATEGORY_ND)
        return -1;
    while (v < 10 && utf8proc_category(c - v - 1) == UTF8PROC_CATEGORY_ND)
        v++;
    return v % 10;
}

/* Combining marks of European scripts, and the dot of Hindi's borrowed z. */
static bool is_loose_mark(utf8proc_int32_t c)
{
    return (c >= 0x300 && c <= 0x36F) || (c >= 0x1AB0 && c <= 0x1AFF) ||
           (c >= 0x1DC0 && c <= 0x1DFF) || (c >= 0x20D0 && c <= 0x20FF) ||
           (c >= 0xFE20 && c <= 0xFE2F) || c == 0x93C;
}

static bool is_unseen(utf8proc_int32_t c)
{
    utf8proc_category_t cat = utf8proc_category(c);

    return cat == UTF8PROC_CATEGORY_CF || (c >= 0xFE00 && c <= 0xFE0F) ||
           (c >= 0xE0100 && c <= 0xE01EF) || c == 0x034F || c == 0x115F ||
           c == 0x1160 || c == 0x3164 || c == 0xFFA0;
}

static char ascii_for(utf8proc_int32_t c)
{
    for (size_t i = 0; i < KW_COUNT(look_alikes); i++) {
        if ((utf8proc_int32_t)look_alikes[i].code == c)
            return look_alikes[i].as;
    }
    for (size_t i = 0; i < KW_COUNT(marks); i++) {
        if ((utf8proc_int32_t)marks[i].code == c)
            return marks[i].as;
    }
    return 0;
}

static bool is_word_part(utf8proc_int32_t c)
{
    utf8proc_category_t cat = utf8proc_category(c);

    return (cat >= UTF8PROC_CATEGORY_LU && cat <= UTF8PROC_CATEGORY_ME) ||
           cat == UTF8PROC_CATEGORY_NL;
}

/* One code point that is already decomposed and case-folded. */
static void put_code(struct fold *f, utf8proc_int32_t c)
{
    utf8proc_uint8_t octets[4];
    int value;
    char as;

    if (c < 0x80) {
        if (c != 0)
            put(f, ascii[c]);
        return;
    }
    if (is_loose_mark(c) || is_unseen(c))
        return;
    if ((as = ascii_for(c)) != 0) {
        put(f, as);
        return;
    }
    if ((value = digit_value(c)) >= 0) {
        put(f, (char)('0' + value));
        return;
    }
    if (c == 0x901)
        c = 0x902; /* Devanagari: candrabindu is often written as a dot */
    if (!is_word_part(c)) {
        put(f, ' ');
        return;
    }
    for (ssize_t i = 0, n = utf8proc_encode_char(c, octets); i < n; i++)
        put(f, (char)octets[i]);
}

static void fold_code(struct fold *f, utf8proc_int32_t c)
{
    utf8proc_int32_t parts[32];
    int last = 0;
    ssize_t n;

    if (c >= LATIN_FIRST && c <= LATIN_LAST &&
        latin[c - LATIN_FIRST][0] != '\0') {
        const char *as = latin[c - LATIN_FIRST];

        put(f, as[0]);
        if (as[1] != '\0')
            put(f, as[1]);
        return;
    }
    n = utf8proc_decompose_char(
        c, parts, 32, UTF8PROC_DECOMPOSE | UTF8PROC_COMPAT | UTF8PROC_CASEFOLD,
        &last);
    if (n > 1 && c >= 0xBC && c <= 0xBE)
        put(f, ' '); /* 1½: keep the whole apart from the half */
    if (n < 0 || n > 32)
        put(f, ' ');
    for (ssize_t i = 0; i < n && n <= 32; i++)
        put_code(f, parts[i]);
}

static void prepare_deva(void)
{
    static struct fold f;

    for (int32_t c = DEVA_FIRST; c <= DEVA_LAST; c++) {
        f.len = 0;
        fold_code(&f, c);
        if (f.len <= sizeof(deva[0].text)) {
            memcpy(deva[c - DEVA_FIRST].text, f.text, f.len);
            deva[c - DEVA_FIRST].len = (uint8_t)f.len;
        }
    }
}

static void prepare_all(void)
{
    prepare_ascii();
    prepare_latin();
    prepare_deva();
}

void fold_prepare(void)
{
    pthread_once(&prepared, prepare_all);
}

/* Three octets of Devanagari, most of Hindi; false for any others. */
static bool fold_deva(struct fold *f, const unsigned char *s, size_t len)
{
    unsigned c;

    if (len < 3 || s[0] != 0xE0 || (s[1] & 0xFE) != 0xA4 ||
        (s[2] & 0xC0) != 0x80)
        return false;
    c = (s[1] & 1u) << 6 | (s[2] & 0x3Fu);
    for (size_t i = 0; i < deva[c].len; i++)
        put(f, deva[c].text[i]);
    return deva[c].len > 0;
}

/* "18°", "18ºC": a sign for degrees behind a number, two octets of UTF-8.
 * The second one is also written for "first", so it needs its C. */
static bool put_degree(struct fold *f, const unsigned char *s, size_t len)
{
    static const char word[] = " deg ";
    size_t n = f->len;

    while (n > 0 && f->text[n - 1] == ' ')
        n--;
    if (n == 0 || !fold_is_digit(f->text[n - 1]) || len < 2 || s[0] != 0xC2 ||
        !(s[1] == 0xB0 ||
          (s[1] == 0xBA && len > 2 && (s[2] == 'C' || s[2] == 'c'))))
        return false;
    for (size_t i = 0; word[i] != '\0'; i++)
        put(f, word[i]);
    return true;
}

/* Octets that are plain, as many as stand there; how many. An apostrophe
 * before them has to be looked at. */
static size_t fold_plain(struct fold *f, const unsigned char *s, size_t len)
{
    char *to = f->text + f->len;
    size_t n = 0;

    if (f->len > 0 && to[-1] == '\'')
        return 0;
    if (len > FOLD_CAP - f->len)
        len = FOLD_CAP - f->len;
    for (; n < len && plain[s[n]] != 0; n++)
        to[n] = plain[s[n]];
    f->len += n;
    return n;
}

void fold_text(struct fold *f, const char *text, size_t len, size_t most)
{
    const unsigned char *s = (const unsigned char *)text;
    size_t at = 0;

    f->len = 0;
    f->cut = len > most;
    if (f->cut)
        len = most;
    while (at < len) {
        utf8proc_int32_t c;
        ssize_t n;

        at += fold_plain(f, s + at, len - at);
        if (at == len)
            break;
        if (s[at] < 0x80) {
            char a = ascii[s[at]];

            if (a != DROP)
                put(f, a);
            at++;
            continue;
        }
        if (put_degree(f, s + at, len - at)) {
            at += 2;
            continue;
        }
        if (fold_deva(f, s + at, len - at)) {
            at += 3;
            continue;
        }
        n = utf8proc_iterate(s + at, (ssize_t)(len - at), &c);
        if (n <= 0) {
            n = 1;
            c = s[at] >= LATIN_FIRST && s[at] <= LATIN_BYTES ? s[at] : ' ';
        }
        fold_code(f, c);
        at += (size_t)n;
    }
    f->text[f->len] = '\0';
}
