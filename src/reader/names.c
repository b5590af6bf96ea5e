/* names.c - the words for each enumeration of reader.h. */
#include "reader/reader.h"

#include <string.h>

static const char *const kinds[READER_KINDS] = {
    "crack", "leak",     "broken", "slow", "fast",
    "ill",   "scrubbed", "part",   "fine", "unused",
};
static const char *const outcomes[] = {"filed", "asked", "not-report"};
static const char *const signs[READER_SIGNS] = {"blood", "ricewater", "dry",
                                                "dead"};
static const char *const parts[] = {"", "tap", "lid", "bucket"};
static const char *const commands[READER_COMMANDS] = {
    "",     "help", "language", "stop",   "start",   "yes",
    "no",   "gave", "visit",    "tested", "swapped", "moved",
    "list", "seen", "closed",   "why",    "digest",  "recall",
};
static const char *const whys[READER_WHYS] = {
    "clear",      "check",      "two_pots",  "no_pot",  "contrary",
    "impossible", "no_time",    "no_amount", "level",   "counts",
    "no_part",    "no_trouble", "unsure",    "unclear",
};

static const char *name_at(const char *const *names, size_t n, int i)
{
    return i >= 0 && (size_t)i < n ? names[i] : "";
}

const char *reader_kind_name(enum reader_kind kind)
{
    return name_at(kinds, KW_COUNT(kinds), (int)kind);
}

int reader_kind_from_name(const char *name)
{
    for (int i = 0; i < READER_KINDS; i++) {
        if (strcmp(kinds[i], name) == 0)
            return i;
    }
    return KW_ENOENT;
}

const char *reader_outcome_name(enum reader_outcome o)
{
    return name_at(outcomes, KW_COUNT(outcomes), (int)o);
}

const char *reader_sign_name(unsigned sign)
{
    for (int i = 0; i < READER_SIGNS; i++) {
        if (sign == 1u << i)
            return signs[i];
    }
    return "";
}

const char *reader_part_name(enum reader_part part)
{
    return name_at(parts, KW_COUNT(parts), (int)part);
}

const char *reader_command_name(enum reader_command c)
{
    return name_at(commands, KW_COUNT(commands), (int)c);
}

const char *reader_why_name(enum reader_why why)
{
    return name_at(whys, KW_COUNT(whys), (int)why);
}
