/* keys.c - the table of what can be said. */
#include "desk/keys.h"

#include <string.h>

#define TEXT(n, cap)                                                           \
    {                                                                          \
#n, SLOT_TEXT, offsetof(struct reply_slots, n), cap                    \
    }
#define INT(n, cap)                                                            \
    {                                                                          \
#n, SLOT_INT, offsetof(struct reply_slots, n), cap                     \
    }
#define REAL(n, cap)                                                           \
    {                                                                          \
#n, SLOT_REAL, offsetof(struct reply_slots, n), cap                    \
    }

/* Longest values: serial_format() of SERIAL_CHARS_MAX and two dashes, E.164
 * with its plus; names of places and clinics are cut at theirs. */
const struct slot_def slot_defs[SLOTS] = {
    [SLOT_SERIAL] = TEXT(serial, 13),
    [SLOT_GROUP] = TEXT(group, 8),
    [SLOT_OTHER] = TEXT(other, 13),
    [SLOT_CLINIC] = TEXT(clinic, 24),
    [SLOT_PLACE] = TEXT(place, 18),
    [SLOT_BATCH] = TEXT(batch, 10),
    [SLOT_WORDS] = TEXT(words, 36),
    [SLOT_SIGNS] = TEXT(signs, 40),
    [SLOT_PHONE] = TEXT(phone, 16),
    [SLOT_LINE] = TEXT(line, 90),
    [SLOT_ALERT] = {"alert", SLOT_I64, offsetof(struct reply_slots, alert), 6},
    [SLOT_LITRES] = REAL(litres, 5),
    [SLOT_DEGC] = REAL(degc, 5),
    [SLOT_EXPECTED] = REAL(expected, 5),
    [SLOT_RATIO] = REAL(ratio, 5),
    [SLOT_LOW] = REAL(low, 5),
    [SLOT_HIGH] = REAL(high, 5),
    [SLOT_PEOPLE] = INT(people, 3),
    [SLOT_DAYS] = INT(days, 4),
    [SLOT_COUNT] = INT(count, 5),
    [SLOT_TOTAL] = INT(total, 5),
    [SLOT_TEXTS] = INT(texts, 6),
    [SLOT_REPORTS] = INT(reports, 6),
    [SLOT_FAILED] = INT(failed, 5),
    [SLOT_ILL] = INT(ill, 5),
    [SLOT_OPEN] = INT(open, 5),
    [SLOT_REPLACE] = INT(replace, 5),
    [SLOT_WAITING] = INT(waiting, 6),
    [SLOT_PLACES] = INT(places, 3),
    [SLOT_ASIDE] = INT(aside, 4),
    [SLOT_DAY] = TEXT(day, 10),
    [SLOT_SAID] = TEXT(said, 40),
};

#define B(slot) (1u << SLOT_##slot)
#define WORD(n, cap)                                                           \
    {                                                                          \
        n, ROOM_WORD, 0, 0, cap                                                \
    }

const struct key_def key_defs[] = {
    /* Words. The clinic's is used when the configuration names none. */
    WORD("word-clinic", 24),
    WORD("word-failed", 16),
    WORD("word-recalled", 16),
    WORD("kind-crack", 16),
    WORD("kind-leak", 16),
    WORD("kind-broken", 16),
    WORD("kind-slow", 16),
    WORD("kind-fast", 16),
    WORD("kind-ill", 16),
    WORD("kind-scrubbed", 16),
    WORD("kind-part", 16),
    WORD("kind-fine", 16),
    WORD("kind-unused", 16),
    WORD("sign-blood", 18),
    WORD("sign-ricewater", 18),
    WORD("sign-dry", 18),
    WORD("sign-dead", 18),
    WORD("part-tap", 16),
    WORD("part-lid", 16),
    WORD("part-bucket", 16),
    WORD("unit-cup", 10),
    WORD("unit-bottle", 10),
    WORD("fact-peak", 14),
    WORD("fact-sawdust", 14),
    WORD("fact-test", 14),
    WORD("fact-silver", 14),
    WORD("fact-cone", 14),

    /* Filed, most serious first. */
    {"danger", ROOM_REPLY, B(CLINIC), B(CLINIC), 0},
    {"danger-short", ROOM_TAIL, B(CLINIC), B(CLINIC), 0},
    {"death", ROOM_REPLY, B(CLINIC), B(CLINIC), 0},
    {"unsafe", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"unsafe-still", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"recalled", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"fast", ROOM_REPLY, B(SERIAL) | B(LITRES), B(SERIAL), 0},
    {"fast-fine", ROOM_REPLY, B(SERIAL) | B(LITRES), B(SERIAL), 0},
    {"replace", ROOM_REPLY, B(SERIAL) | B(LITRES), B(SERIAL), 0},
    {"scrub", ROOM_REPLY, B(SERIAL) | B(LITRES) | B(DAYS), B(SERIAL), 0},
    {"slow", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"slow-fine", ROOM_REPLY, B(SERIAL) | B(LITRES), B(SERIAL), 0},
    {"slow-scrubbed", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"ill", ROOM_REPLY, B(SERIAL) | B(CLINIC), 0, 0},
    {"part", ROOM_REPLY, B(SERIAL) | B(WORDS), B(SERIAL) | B(WORDS), 0},
    {"unused", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"scrubbed", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"fine", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"too-unsafe", ROOM_TAIL, B(SERIAL), B(SERIAL), 0},
    {"too-slow", ROOM_TAIL, B(SERIAL), 0, 0},
    {"too-ill", ROOM_TAIL, B(CLINIC), 0, 0},
    {"too-noted", ROOM_TAIL, B(SERIAL) | B(WORDS), B(WORDS), 0},

    /* Asked. */
    {"ask-group", ROOM_ASK, B(GROUP) | B(SERIAL), B(GROUP), 0},
    {"ask-number", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-length", ROOM_ASK, B(COUNT) | B(TOTAL), B(TOTAL), 0},
    {"ask-two", ROOM_ASK, B(SERIAL) | B(OTHER), B(SERIAL) | B(OTHER), 0},
    {"ask-pot", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-which", ROOM_ASK, B(SERIAL) | B(OTHER), B(SERIAL), 0},
    {"ask-contrary", ROOM_ASK, B(WORDS) | B(SERIAL), B(WORDS), 0},
    {"ask-both", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-impossible", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-time", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-amount", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-level", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-counts", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-part", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-trouble", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-sure", ROOM_ASK, B(SERIAL) | B(SAID), B(SERIAL) | B(SAID), 0},
    {"ask-unclear", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-unknown", ROOM_ASK, B(SERIAL), B(SERIAL), 0},
    {"ask-elsewhere", ROOM_ASK, B(SERIAL), B(SERIAL), 0},
    {"ask-unfinished", ROOM_ASK, B(SERIAL), 0, 0},
    {"ask-not-out", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"till-then", ROOM_SHORT, 0, 0, 0},
    {"too-asked", ROOM_TAIL, 0, 0, 0},

    /* Not a report, and what anyone may say. */
    {"how-to", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"help", ROOM_REPLY, B(SERIAL), 0, 0},
    {"stopped", ROOM_REPLY, 0, 0, 0},
    {"started", ROOM_REPLY, 0, 0, 0},
    {"language", ROOM_REPLY, B(WORDS), B(WORDS), 0},
    {"languages", ROOM_REPLY, B(WORDS), B(WORDS), 0},
    {"busy", ROOM_REPLY, 0, 0, 0},
    {"not-taken", ROOM_REPLY, 0, 0, 0},
    {"no-question", ROOM_REPLY, 0, 0, 0},
    {"not-mine", ROOM_REPLY, B(SERIAL), 0, 0},
    {"noted", ROOM_REPLY, B(SERIAL), 0, 0},

    /* To those who work. */
    {"help-work", ROOM_REPLY, 0, 0, 0},
    {"help-lead", ROOM_REPLY, 0, 0, 0},
    {"not-yours", ROOM_REPLY, 0, 0, 0},
    {"seen", ROOM_REPLY, B(ALERT), B(ALERT), 0},
    {"closed", ROOM_REPLY, B(ALERT), B(ALERT), 0},
    {"already", ROOM_REPLY, B(ALERT), B(ALERT), 0},
    {"no-alert", ROOM_REPLY, B(ALERT), B(ALERT), 0},
    {"which-alert", ROOM_REPLY, B(WORDS), 0, 0},
    {"why-alert", ROOM_REPLY, B(ALERT) | B(LINE) | B(COUNT) | B(DAYS),
     B(ALERT) | B(LINE), 0},
    {"why-batch", ROOM_REPLY,
     B(BATCH) | B(COUNT) | B(TOTAL) | B(LINE) | B(LITRES),
     B(BATCH) | B(COUNT) | B(TOTAL), 0},
    {"why-pot", ROOM_REPLY, B(SERIAL) | B(BATCH) | B(PLACE) | B(LINE),
     B(SERIAL), 0},
    {"why-place", ROOM_REPLY,
     B(PLACE) | B(COUNT) | B(FAILED) | B(REPORTS) | B(ILL),
     B(PLACE) | B(FAILED), 0},
    {"why-nothing", ROOM_REPLY, 0, 0, 0},
    {"digest", ROOM_DIGEST,
     B(TEXTS) | B(REPORTS) | B(FAILED) | B(ILL) | B(OPEN) | B(REPLACE) |
         B(WAITING) | B(LINE),
     B(OPEN), 0},
    {"recall-ask", ROOM_REPLY, B(BATCH) | B(COUNT), B(BATCH) | B(COUNT), 0},
    {"recall-done", ROOM_REPLY, B(BATCH) | B(COUNT) | B(TOTAL),
     B(BATCH) | B(COUNT), 0},
    {"recall-home", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"no-batch", ROOM_REPLY, B(BATCH), 0, 0},
    {"gave-done", ROOM_REPLY, B(SERIAL) | B(PLACE) | B(PHONE),
     B(SERIAL) | B(PLACE), 0},
    {"gave-what", ROOM_REPLY, B(SERIAL), 0, 0},
    {"gave-failed", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"gave-tested", ROOM_REPLY, B(SERIAL) | B(LITRES), B(SERIAL), 0},
    {"gave-recalled", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"moved-what", ROOM_REPLY, B(SERIAL), 0, 0},
    {"no-place", ROOM_REPLY, B(PLACE), 0, 0},
    {"swapped-done", ROOM_REPLY, B(SERIAL) | B(OTHER), B(SERIAL) | B(OTHER), 0},
    {"swapped-what", ROOM_REPLY, B(SERIAL) | B(OTHER), 0, 0},
    {"moved-done", ROOM_REPLY, B(SERIAL) | B(PLACE), B(SERIAL), 0},
    {"tested-done", ROOM_REPLY, B(SERIAL) | B(LITRES) | B(LOW) | B(HIGH),
     B(SERIAL) | B(LITRES), 0},
    {"tested-out", ROOM_REPLY, B(SERIAL) | B(LITRES) | B(LOW) | B(HIGH),
     B(SERIAL) | B(LITRES), 0},
    {"tested-what", ROOM_ASK, B(SERIAL), 0, 0},
    {"list", ROOM_REPLY, B(COUNT) | B(LINE), B(LINE), 0},
    {"list-none", ROOM_REPLY, 0, 0, 0},
    {"new-pot", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},

    /* Sent unasked. */
    {"remind", ROOM_REPLY, B(SERIAL), B(SERIAL), 0},
    {"alert-danger", ROOM_REPLY,
     B(ALERT) | B(SIGNS) | B(PLACE) | B(PHONE) | B(SERIAL),
     B(ALERT) | B(SIGNS) | B(PHONE), 0},
    {"alert-fast", ROOM_REPLY,
     B(ALERT) | B(SERIAL) | B(PLACE) | B(PHONE) | B(LITRES),
     B(ALERT) | B(SERIAL), 0},
    {"alert-fast-said", ROOM_REPLY, B(ALERT) | B(SERIAL) | B(PLACE) | B(PHONE),
     B(ALERT) | B(SERIAL), 0},
    {"alert-low", ROOM_REPLY,
     B(ALERT) | B(SERIAL) | B(PLACE) | B(PHONE) | B(LITRES),
     B(ALERT) | B(SERIAL), 0},
    {"alert-breakage", ROOM_REPLY,
     B(ALERT) | B(BATCH) | B(COUNT) | B(TOTAL) | B(EXPECTED) | B(RATIO) |
         B(LOW) | B(HIGH),
     B(ALERT) | B(BATCH) | B(COUNT) | B(EXPECTED), 0},
    {"gave-hold", ROOM_REPLY, B(SERIAL) | B(BATCH), B(SERIAL) | B(BATCH), 0},
    {"alert-failing", ROOM_REPLY,
     B(ALERT) | B(BATCH) | B(COUNT) | B(TOTAL) | B(EXPECTED) | B(RATIO) |
         B(LOW) | B(HIGH) | B(PLACES) | B(ASIDE),
     B(ALERT) | B(BATCH) | B(COUNT) | B(EXPECTED) | B(RATIO), 0},
    {"alert-failing-place", ROOM_REPLY,
     B(ALERT) | B(BATCH) | B(COUNT) | B(TOTAL) | B(EXPECTED) | B(RATIO) |
         B(LOW) | B(HIGH) | B(PLACE) | B(ASIDE),
     B(ALERT) | B(BATCH) | B(COUNT) | B(EXPECTED) | B(PLACE), 0},
    {"alert-delivery", ROOM_REPLY,
     B(ALERT) | B(PLACE) | B(DAY) | B(COUNT) | B(EXPECTED) | B(RATIO) | B(LOW) |
         B(HIGH),
     B(ALERT) | B(PLACE) | B(DAY) | B(COUNT) | B(EXPECTED), 0},
    {"alert-cost", ROOM_REPLY, B(COUNT) | B(TOTAL), B(COUNT) | B(TOTAL), 0},
    {"alert-credit", ROOM_REPLY, B(WORDS) | B(COUNT), B(WORDS), 0},
};
const size_t n_key_defs = KW_COUNT(key_defs);

int key_find(const char *name, size_t len)
{
    for (size_t i = 0; i < n_key_defs; i++) {
        if (strlen(key_defs[i].name) == len &&
            memcmp(key_defs[i].name, name, len) == 0)
            return (int)i;
    }
    return KW_ENOENT;
}
