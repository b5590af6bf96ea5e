#include "carrier/tpdu_field.h"
#include "carrier/gsm7.h"

#include <string.h>

#define SEMI_OCTETS_MOST 20
static const char digits[] = "0123456789*#abc";

/* 7-bit packed; the length counts useful semi-octets. 9.1.2.5. */
static int get_name(struct tpdu_address *a, const uint8_t *octets, size_t semi)
{
    uint8_t septets[SEMI_OCTETS_MOST * 4 / 7];
    struct kw_buf text;
    size_t n = semi * 4 / 7;
    int err;

    n = gsm7_unpack(octets, (semi + 1) / 2, 0, n, septets);
    kw_buf_init(&text, sizeof(a->text) - 1);
    gsm7_decode((struct alphabet_shift){0}, septets, n, &text);
    err = kw_copy(a->text, sizeof(a->text), kw_buf_text(&text), text.len);
    kw_buf_release(&text);
    return err < 0 ? KW_EINVAL : 0;
}

static void get_digits(struct tpdu_address *a, const uint8_t *octets,
                       size_t semi)
{
    size_t n = 0;

    for (size_t i = 0; i < semi; i++) {
        unsigned d = (i % 2 == 0 ? octets[i / 2] : octets[i / 2] >> 4) & 15;

        if (d < 15) /* F fills */
            a->text[n++] = digits[d];
    }
    a->text[n] = '\0';
}

int tpdu_field_get_address(struct kw_cur *c, struct tpdu_address *a)
{
    size_t semi = kw_cur_u8(c);
    uint8_t type = kw_cur_u8(c);
    const uint8_t *octets;

    *a = (struct tpdu_address){.ton = (type >> 4) & 7, .npi = type & 15};
    if (semi > SEMI_OCTETS_MOST)
        return KW_EINVAL;
    octets = kw_cur_octets(c, (semi + 1) / 2);
    if (octets == NULL)
        return KW_EINVAL;
    if (a->ton == TPDU_TON_ALPHANUMERIC)
        return get_name(a, octets, semi);
    get_digits(a, octets, semi);
    return 0;
}

static int put_name(const struct tpdu_address *a,
                    uint8_t dst[TPDU_ADDRESS_OCTETS])
{
    uint8_t septets[SEMI_OCTETS_MOST * 4 / 7];
    size_t n;

    if (gsm7_encode((struct alphabet_shift){0}, a->text, strlen(a->text),
                    septets, sizeof(septets), &n) < 0)
        return KW_EINVAL;
    dst[0] = (uint8_t)((n * 7 + 3) / 4);
    if (gsm7_pack(septets, n, 0, dst + 2, TPDU_ADDRESS_OCTETS - 2) < 0)
        return KW_EINVAL;
    return 2 + (dst[0] + 1) / 2;
}

int tpdu_field_put_address(const struct tpdu_address *a,
                           uint8_t dst[TPDU_ADDRESS_OCTETS])
{
    size_t n = strlen(a->text);

    memset(dst, 0, TPDU_ADDRESS_OCTETS);
    dst[1] = (uint8_t)(0x80 | (a->ton & 7) << 4 | (a->npi & 15));
    if (a->ton == TPDU_TON_ALPHANUMERIC)
        return put_name(a, dst);
    if (n > SEMI_OCTETS_MOST)
        return KW_EINVAL;
    dst[0] = (uint8_t)n;
    for (size_t i = 0; i < n; i++) {
        const char *d = memchr(digits, a->text[i], sizeof(digits) - 1);
        unsigned v;

        if (d == NULL)
            return KW_EINVAL;
        v = (unsigned)(d - digits);
        dst[2 + i / 2] |= (uint8_t)(i % 2 == 0 ? v : v << 4);
    }
    if (n % 2 == 1)
        dst[2 + n / 2] |= 0xf0;
    return 2 + (int)(n + 1) / 2;
}

static int swapped(uint8_t octet)
{
    unsigned tens = octet & 15, ones = octet >> 4;

    return tens > 9 || ones > 9 ? -1 : (int)(tens * 10 + ones);
}

static uint8_t swap(int v)
{
    if (v < 0)
        return 0xff; /* was no number */
    return (uint8_t)((v % 10) << 4 | (v / 10) % 10);
}

static int days_in(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};

    return days[month - 1] + (month == 2 && year % 4 == 0 &&
                              (year % 100 != 0 || year % 400 == 0));
}

static bool is_time(const struct tpdu_time *t)
{
    return t->month >= 1 && t->month <= 12 && t->day >= 1 &&
           t->day <= days_in(t->year, t->month) && t->hour >= 0 &&
           t->hour <= 23 && t->minute >= 0 && t->minute <= 59 &&
           t->second >= 0 && t->second <= 59;
}

void tpdu_field_get_time(struct kw_cur *c, struct tpdu_time *at)
{
    const uint8_t *o = kw_cur_octets(c, TPDU_TIME_OCTETS);
    int zone, year;

    *at = (struct tpdu_time){0};
    if (o == NULL)
        return;
    year = swapped(o[0]);
    /* The sign is the top bit of the tens, bit 3 as sent. 9.2.3.11. */
    zone = swapped(o[6] & 0xf7);
    at->year = 2000 + year;
    at->month = swapped(o[1]);
    at->day = swapped(o[2]);
    at->hour = swapped(o[3]);
    at->minute = swapped(o[4]);
    at->second = swapped(o[5]);
    at->zone = (o[6] & 8) != 0 ? -zone : zone;
    at->valid = year >= 0 && zone >= 0 && is_time(at);
}

void tpdu_field_put_time(const struct tpdu_time *at,
                         uint8_t dst[TPDU_TIME_OCTETS])
{
    int zone = at->zone < 0 ? -at->zone : at->zone;

    dst[0] = swap(at->year % 100);
    dst[1] = swap(at->month);
    dst[2] = swap(at->day);
    dst[3] = swap(at->hour);
    dst[4] = swap(at->minute);
    dst[5] = swap(at->second);
    dst[6] = (uint8_t)(swap(zone) | (at->zone < 0 ? 8 : 0));
}

/* Days since 1970-01-01 of a day of the Gregorian calendar. */
static int64_t day_number(int year, int month, int day)
{
    int64_t days = day - 1;

    for (int m = 1; m < month; m++)
        days += days_in(year, m);
    year--; /* leap days before this year */
    return days + (int64_t)(year - 1969) * 365 + year / 4 - year / 100 +
           year / 400 - (1969 / 4 - 1969 / 100 + 1969 / 400);
}

int64_t tpdu_time_utc(const struct tpdu_time *at)
{
    if (!at->valid)
        return 0;
    return day_number(at->year, at->month, at->day) * 86400 + at->hour * 3600 +
           at->minute * 60 + at->second - (int64_t)at->zone * 900;
}

void tpdu_address_text(const struct tpdu_address *a, char *dst, size_t cap)
{
    size_t n = strlen(a->text);
    bool plus = a->ton == TPDU_TON_INTERNATIONAL && n > 0;

    if (cap < n + plus + 1) {
        if (cap > 0)
            dst[0] = '\0';
        return;
    }
    if (plus)
        dst[0] = '+';
    memcpy(dst + plus, a->text, n + 1);
}

int tpdu_address_from(struct tpdu_address *a, const char *text)
{
    uint8_t dst[TPDU_ADDRESS_OCTETS];
    bool plus = text[0] == '+';
    size_t n = strlen(text + plus);

    *a = (struct tpdu_address){
        .ton = plus ? TPDU_TON_INTERNATIONAL : TPDU_TON_UNKNOWN, .npi = 1};
    if (n == 0)
        return KW_EINVAL;
    if (strspn(text + plus, "0123456789*#") != n) {
        if (plus)
            return KW_EINVAL;
        a->ton = TPDU_TON_ALPHANUMERIC;
        a->npi = 0;
    }
    if (kw_copy(a->text, sizeof(a->text), text + plus, n) < 0)
        return KW_EINVAL;
    return tpdu_field_put_address(a, dst) < 0 ? KW_EINVAL : 0;
}
