/* words.c - observations, verdicts, signs and alerts in words for people. */
#include "page/page.h"
#include "reader/reader.h"

#include <math.h>
#include <string.h>

static const struct {
    const char *name, *words;
} verdicts[] = {
    {"fine", "fine"},
    {"scrub", "low: scrub, measure again"},
    {"replace", "low after scrubbing: replace"},
    {"stop", "too fast: stop drinking, may be cracked"},
};

const char *page_verdict(const char *verdict)
{
    for (size_t i = 0; i < KW_COUNT(verdicts); i++) {
        if (strcmp(verdicts[i].name, verdict) == 0)
            return verdicts[i].words;
    }
    return verdict;
}

static const struct {
    unsigned bit;
    const char *words;
} sign_words[READER_SIGNS] = {
    {READER_BLOOD, "blood in the stool"},
    {READER_RICEWATER, "stool like rice water"},
    {READER_DRY, "very weak or cannot drink"},
    {READER_DEAD, "a death"},
};

void page_signs(unsigned signs, struct kw_buf *out)
{
    const char *between = "";

    for (size_t i = 0; i < READER_SIGNS; i++) {
        if (!(signs & sign_words[i].bit))
            continue;
        kw_buf_puts(out, between);
        kw_buf_puts(out, sign_words[i].words);
        between = ", ";
    }
}

json_t *page_json_signs(unsigned signs)
{
    json_t *all = json_array();

    for (int i = 0; i < READER_SIGNS; i++) {
        if (signs & (1u << i))
            json_array_append_new(all, json_string(reader_sign_name(1u << i)));
    }
    return all;
}

const char *page_alert_state(enum ledger_alert_state state)
{
    static const char *const names[] = {"open", "seen", "closed"};

    return (size_t)state < KW_COUNT(names) ? names[state] : "?";
}

const char *page_alert_kind(enum ledger_alert_kind kind)
{
    static const char *const names[LEDGER_ALERT_KINDS] = {
        [LEDGER_ALERT_DANGER] = "danger sign",
        [LEDGER_ALERT_FAST] = "too fast",
        [LEDGER_ALERT_BREAKAGE] = "breakage in a batch",
        [LEDGER_ALERT_LOW_FLOW] = "low flow",
    };

    return (size_t)kind < KW_COUNT(names) ? names[kind] : "?";
}

/* Names of reader_why, as one would say them. */
static const struct {
    const char *name, *words;
} whys[] = {
    {"check", "the serial's check digits are wrong"},
    {"two_pots", "two pots in one text"},
    {"no_pot", "which pot?"},
    {"contrary", "it says two things"},
    {"impossible", "a measure that cannot be"},
    {"no_time", "in how many hours?"},
    {"no_amount", "how far did it fall?"},
    {"level", "how high stood the water?"},
    {"counts", "numbers of ill that do not fit"},
    {"no_part", "which part?"},
    {"no_trouble", "what is wrong?"},
    {"unsure", "is that so?"},
    {"unclear", "not clear"},
};

static const char *why_words(const char *name)
{
    for (size_t i = 0; i < KW_COUNT(whys); i++) {
        if (strcmp(whys[i].name, name) == 0)
            return whys[i].words;
    }
    return page_or_dash(name);
}

/* "fell 4 fingers in 10 h", "2 litres came in 90 min" */
static void put_measure(const struct look_obs *o, struct kw_buf *out)
{
    bool many = fabs(o->value - 1) > 1e-9 && strcmp(o->unit, "cm") != 0;
    bool drop = strcmp(o->measure, "drop") == 0;

    if (o->measure[0] == '\0')
        return;
    kw_buf_puts(out, ": ");
    if (drop)
        kw_buf_puts(out, "fell ");
    kw_buf_printf(out, "%.4g %s%s", o->value, o->unit, many ? "s" : "");
    if (!drop)
        kw_buf_puts(out, " came");
    if (o->minutes >= 120)
        kw_buf_printf(out, " in %.4g h", o->minutes / 60);
    else if (o->minutes > 0)
        kw_buf_printf(out, " in %.4g min", o->minutes);
    if (isfinite(o->start_cm))
        kw_buf_printf(out, " from %.4g cm", o->start_cm);
    if (isfinite(o->water_degc))
        kw_buf_printf(out, ", water %.3g °C", o->water_degc);
}

static void put_ill(const struct look_obs *o, struct kw_buf *out)
{
    if (o->people > 0)
        kw_buf_printf(out, ": %s", page_count(o->people, "person", "people").s);
    if (o->under5 > 0)
        kw_buf_printf(out, "%s %d under five", o->people > 0 ? "," : ":",
                      o->under5);
    if (o->signs != 0) {
        kw_buf_puts(out, o->people > 0 || o->under5 > 0 ? ", " : ": ");
        page_signs(o->signs, out);
    }
}

void page_obs(const struct look_report *r, struct kw_buf *out)
{
    for (size_t i = 0; i < r->n_obs; i++) {
        const struct look_obs *o = &r->obs[i];

        kw_buf_puts(out, i > 0 ? "; " : "");
        kw_buf_puts(out, o->kind);
        put_measure(o, out);
        put_ill(o, out);
        if (o->part[0] != '\0')
            kw_buf_printf(out, ": %s", o->part);
    }
    if (r->n_obs == 0)
        kw_buf_puts(out, "-");
}

void page_made(const struct look_report *r, struct kw_buf *out)
{
    if (r->test)
        kw_buf_puts(out, "workshop's test");
    else if (r->id != 0)
        kw_buf_puts(out, "filed");
    else if (strcmp(r->outcome, "asked") == 0)
        kw_buf_printf(out, "asked back: %s", why_words(r->why));
    else if (strcmp(r->outcome, "not-report") == 0)
        kw_buf_puts(out, "not a report");
    else
        kw_buf_puts(out, r->outcome[0] != '\0' ? r->outcome : "not read yet");
    if (isfinite(r->first_hour_l))
        kw_buf_printf(out, "; %.2f L, %s", r->first_hour_l,
                      page_verdict(r->verdict));
}

#define PHONE_DIGITS      7  /* behind a plus, fewer are no number (E.164) */
#define PHONE_DIGITS_BARE 10 /* without one: longer than a serial */

/* Octets of the phone number that begins there, 0 none. */
static size_t phone_at(const char *s)
{
    size_t plus = s[0] == '+', n = strspn(s + plus, "0123456789");

    if (n < (plus ? PHONE_DIGITS : PHONE_DIGITS_BARE))
        return 0;
    return plus + n;
}

void page_put_words(const struct page *p, const char *words, struct kw_buf *out)
{
    bool in_digits = false;

    while (*words != '\0') {
        size_t len = in_digits || p->phones ? 0 : phone_at(words);
        char number[32] = "", shown[48];

        if (len > 0 && kw_copy(number, sizeof(number), words, len) == 0) {
            screen_phone(number, false, shown, sizeof(shown));
            kw_buf_puts(out, shown);
            words += len;
            continue;
        }
        if (len > 0) { /* longer than any number: nothing of it is shown */
            kw_buf_puts(out, "…");
            words += len;
            continue;
        }
        in_digits = *words >= '0' && *words <= '9';
        kw_buf_putc(out, *words++);
    }
}
