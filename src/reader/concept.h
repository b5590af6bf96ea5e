#ifndef KW_CONCEPT_H
#define KW_CONCEPT_H
/*
 * concept.h - what words can stand for. The grammar's prose-vals and the
 * keys of the words files are these names; a text becomes a sequence of
 * them. What a concept is for tells how far it makes a text a report.
 */
#include "base/kw.h"

enum concept_class {
    CLASS_MARK,     /* made by the reader, never by a word */
    CLASS_LETTER,   /* a letter of the card */
    CLASS_SEEN,     /* an observation */
    CLASS_SIGN,     /* a danger sign, or a part of one */
    CLASS_OURS,     /* of pots, water and measures: ours, but says nothing */
    CLASS_UNIT,     /* finger, hour … */
    CLASS_SICKNESS, /* of people and illness */
    CLASS_SMALL,    /* the, is, of: passed over */
    CLASS_POLITE,   /* greetings, thanks */
    CLASS_ALIEN,    /* makes a text chat, or a defect another thing's */
    CLASS_ASKING,   /* trouble, help */
    CLASS_ORDER,    /* words of commands */
    CLASS_COUNT
};

/* X(identifier, name, class) */
#define CONCEPT_LIST(X)                                                        \
    X(BEGIN, "begin", CLASS_MARK)                                              \
    X(END, "end", CLASS_MARK)                                                  \
    X(SERIAL, "serial", CLASS_MARK)                                            \
    X(WRONG, "wrong", CLASS_MARK)                                              \
    X(PHONE, "phone", CLASS_MARK)                                              \
    X(NUMBER, "number", CLASS_MARK)                                            \
    X(CLOCK, "clock", CLASS_MARK)                                              \
    X(PAUSE, "pause", CLASS_MARK)                                              \
    X(WORD, "word", CLASS_MARK)                                                \
    X(LETTER_C, "c", CLASS_LETTER)                                             \
    X(LETTER_L, "l", CLASS_LETTER)                                             \
    X(LETTER_B, "b", CLASS_LETTER)                                             \
    X(LETTER_S, "s", CLASS_LETTER)                                             \
    X(LETTER_F, "f", CLASS_LETTER)                                             \
    X(LETTER_I, "i", CLASS_LETTER)                                             \
    X(LETTER_W, "w", CLASS_LETTER)                                             \
    X(LETTER_T, "t", CLASS_LETTER)                                             \
    X(LETTER_G, "g", CLASS_LETTER)                                             \
    X(LETTER_U, "u", CLASS_LETTER)                                             \
    X(LETTER_H, "h", CLASS_LETTER)                                             \
    X(LETTER_M, "m", CLASS_LETTER)                                             \
    X(CRACK, "crack", CLASS_SEEN)                                              \
    X(LEAK, "leak", CLASS_SEEN)                                                \
    X(BROKEN, "broken", CLASS_SEEN)                                            \
    X(SLOW, "slow", CLASS_SEEN)                                                \
    X(FAST, "fast", CLASS_SEEN)                                                \
    X(SCRUBBED, "scrubbed", CLASS_SEEN)                                        \
    X(FINE, "fine", CLASS_SEEN)                                                \
    X(UNUSED, "unused", CLASS_SEEN)                                            \
    X(LOST, "lost", CLASS_SEEN)                                                \
    X(FAULTY, "faulty", CLASS_SEEN)                                            \
    X(PART, "part", CLASS_OURS)                                                \
    X(TAP, "tap", CLASS_OURS)                                                  \
    X(LID, "lid", CLASS_OURS)                                                  \
    X(BUCKET, "bucket", CLASS_OURS)                                            \
    X(POT, "pot", CLASS_OURS)                                                  \
    X(WATER, "water", CLASS_OURS)                                              \
    X(COME, "come", CLASS_OURS)                                                \
    X(OUTSIDE, "outside", CLASS_SMALL)                                         \
    X(UNFILTERED, "unfiltered", CLASS_OURS)                                    \
    X(UNHOLDING, "unholding", CLASS_OURS)                                      \
    X(RATE, "rate", CLASS_OURS)                                                \
    X(DOWN, "down", CLASS_OURS)                                                \
    X(GOT, "got", CLASS_OURS)                                                  \
    X(BRIM, "brim", CLASS_OURS)                                                \
    X(LEVEL, "level", CLASS_OURS)                                              \
    X(TO, "to", CLASS_SMALL)                                                   \
    X(LITTLE, "little", CLASS_SMALL)                                           \
    X(ONLY, "only", CLASS_SMALL)                                               \
    X(USE, "use", CLASS_SMALL)                                                 \
    X(QUIT, "quit", CLASS_SMALL)                                               \
    X(NO, "no", CLASS_SMALL)                                                   \
    X(NE, "ne", CLASS_SMALL)                                                   \
    X(CANNOT, "cannot", CLASS_SMALL)                                           \
    X(IF, "if", CLASS_SMALL)                                                   \
    X(WILL, "will", CLASS_SMALL)                                               \
    X(ILL, "ill", CLASS_SICKNESS)                                              \
    X(GUT, "gut", CLASS_SICKNESS)                                              \
    X(STOOLS, "stools", CLASS_SICKNESS)                                        \
    X(SINCE, "since", CLASS_SMALL)                                             \
    X(UNWELL, "unwell", CLASS_SICKNESS)                                        \
    X(CURED, "cured", CLASS_SMALL)                                             \
    X(HEALTHY, "healthy", CLASS_SMALL)                                         \
    X(FEVER, "fever", CLASS_SICKNESS)                                          \
    X(AILMENT, "ailment", CLASS_SMALL)                                         \
    X(STOOL, "stool", CLASS_SICKNESS)                                          \
    X(LIQUID, "liquid", CLASS_SMALL)                                           \
    X(PERSON, "person", CLASS_SICKNESS)                                        \
    X(CHILD, "child", CLASS_SICKNESS)                                          \
    X(BABY, "baby", CLASS_SICKNESS)                                            \
    X(ONE, "one-person", CLASS_SICKNESS)                                       \
    X(UNDER5, "under-five", CLASS_SICKNESS)                                    \
    X(TIMES, "times", CLASS_SMALL)                                             \
    X(BLOOD, "blood", CLASS_SIGN)                                              \
    X(SURE_BLOOD, "sure-blood", CLASS_SIGN)                                    \
    X(RICE, "ricewater", CLASS_SIGN)                                           \
    X(RICE_GRAIN, "rice", CLASS_SMALL)                                         \
    X(RED, "red", CLASS_SMALL)                                                 \
    X(SUCKLE, "suckle", CLASS_SMALL)                                           \
    X(IS_NOT, "is-not", CLASS_SMALL)                                           \
    X(NOT_THE, "not-the", CLASS_SMALL)                                         \
    X(NOT_SO, "not-so", CLASS_SMALL)                                           \
    X(ALL_DAY, "all-day", CLASS_SMALL)                                         \
    X(DAILY, "daily", CLASS_SMALL)                                             \
    X(ALL, "all", CLASS_SMALL)                                                 \
    X(ALL_BUT, "all-but", CLASS_SMALL)                                         \
    X(REST, "rest", CLASS_SMALL)                                               \
    X(WE_ARE, "we-are", CLASS_SMALL)                                           \
    X(OUT_OF, "out-of", CLASS_SMALL)                                           \
    X(OF_THOSE, "of-those", CLASS_SMALL)                                       \
    X(ME, "me", CLASS_SMALL)                                                   \
    X(DRY, "dry", CLASS_SIGN)                                                  \
    X(SURE_DRY, "sure-dry", CLASS_SIGN)                                        \
    X(DEAD, "dead", CLASS_SIGN)                                                \
    X(ABLE, "able", CLASS_SMALL)                                               \
    X(EYES, "eyes", CLASS_SMALL)                                               \
    X(SUNKEN, "sunken", CLASS_SMALL)                                           \
    X(DRINK, "drink", CLASS_SMALL)                                             \
    X(FEED, "feed", CLASS_SMALL)                                               \
    X(FINGER, "finger", CLASS_UNIT)                                            \
    X(CM, "cm", CLASS_UNIT)                                                    \
    X(MILLIMETRE, "millimetre", CLASS_UNIT)                                    \
    X(LITRE, "litre", CLASS_UNIT)                                              \
    X(CUP, "cup", CLASS_UNIT)                                                  \
    X(BOTTLE, "bottle", CLASS_UNIT)                                            \
    X(HOUR, "hour", CLASS_UNIT)                                                \
    X(MINUTE, "minute", CLASS_UNIT)                                            \
    X(DEGREE, "degree", CLASS_UNIT)                                            \
    X(DAY, "day", CLASS_SMALL)                                                 \
    X(YEAR, "year", CLASS_SMALL)                                               \
    X(MONTH, "month", CLASS_SMALL)                                             \
    X(AT_HOUR, "at-hour", CLASS_SMALL)                                         \
    X(O_CLOCK, "o-clock", CLASS_SMALL)                                         \
    X(MORNING, "morning", CLASS_SMALL)                                         \
    X(EVENING, "evening", CLASS_SMALL)                                         \
    X(NOON, "noon", CLASS_SMALL)                                               \
    X(HALF, "half", CLASS_SMALL)                                               \
    X(QUARTER, "quarter", CLASS_SMALL)                                         \
    X(QUARTER_MORE, "quarter-more", CLASS_SMALL)                               \
    X(QUARTER_LESS, "quarter-less", CLASS_SMALL)                               \
    X(SPAN, "span", CLASS_SMALL)                                               \
    X(A, "a", CLASS_SMALL)                                                     \
    X(PER, "per", CLASS_SMALL)                                                 \
    X(AND, "and", CLASS_SMALL)                                                 \
    X(OR, "or", CLASS_SMALL)                                                   \
    X(BUT, "but", CLASS_SMALL)                                                 \
    X(OF, "of", CLASS_SMALL)                                                   \
    X(AT, "at", CLASS_SMALL)                                                   \
    X(VERY, "very", CLASS_SMALL)                                               \
    X(FILLER, "filler", CLASS_SMALL)                                           \
    X(POLITE, "polite", CLASS_POLITE)                                          \
    X(TROUBLE, "trouble", CLASS_ASKING)                                        \
    X(FOUL, "foul", CLASS_ASKING)                                              \
    X(SAFE, "safe", CLASS_ASKING)                                              \
    X(NEW, "new", CLASS_ASKING)                                                \
    X(CHAT, "chat", CLASS_ALIEN)                                               \
    X(PASSED_ON, "passed-on", CLASS_ALIEN)                                     \
    X(NEWS, "news", CLASS_ALIEN)                                               \
    X(BURIED, "buried", CLASS_ALIEN)                                           \
    X(MONEY, "money", CLASS_ALIEN)                                             \
    X(THING, "thing", CLASS_ALIEN)                                             \
    X(ANIMAL, "animal", CLASS_ALIEN)                                           \
    X(BODY, "body", CLASS_SMALL)                                               \
    X(WOUND, "wound", CLASS_SMALL)                                             \
    X(NEIGHBOUR, "neighbour", CLASS_ALIEN)                                     \
    X(BEFORE, "before", CLASS_SMALL)                                           \
    X(LONG_AGO, "long-ago", CLASS_SMALL)                                       \
    X(NOW, "now", CLASS_SMALL)                                                 \
    X(RATHER, "rather", CLASS_SMALL)                                           \
    X(THEN, "then", CLASS_SMALL)                                               \
    X(THOUGHT, "thought", CLASS_SMALL)                                         \
    X(SAID, "said", CLASS_SMALL)                                               \
    X(CANNOT_TELL, "cannot-tell", CLASS_SMALL)                                 \
    X(WELL, "well", CLASS_SMALL)                                               \
    X(NUMBERED, "numbered", CLASS_SMALL)                                       \
    X(MINE, "mine", CLASS_SMALL)                                               \
    X(AGAIN, "again", CLASS_SMALL)                                             \
    X(OLD_POT, "old-pot", CLASS_OURS)                                          \
    X(OLD, "old", CLASS_SMALL)                                                 \
    X(OF_THEM, "of-them", CLASS_SMALL)                                         \
    X(OTHER, "other", CLASS_SMALL)                                             \
    X(CALL, "call", CLASS_SMALL)                                               \
    X(HELP, "help", CLASS_ASKING)                                              \
    X(LANGUAGE, "language", CLASS_ORDER)                                       \
    X(LANG_NAME, "name", CLASS_ORDER)                                          \
    X(STOP, "stop", CLASS_ORDER)                                               \
    X(START, "start", CLASS_ORDER)                                             \
    X(YES, "yes", CLASS_ORDER)                                                 \
    X(GAVE, "gave", CLASS_ORDER)                                               \
    X(VISIT, "visit", CLASS_ORDER)                                             \
    X(SWAPPED, "swapped", CLASS_ORDER)                                         \
    X(MOVED, "moved", CLASS_ORDER)                                             \
    X(LIST, "list", CLASS_ORDER)                                               \
    X(SEEN, "seen", CLASS_ORDER)                                               \
    X(CLOSED, "closed", CLASS_ORDER)                                           \
    X(WHY, "why", CLASS_ORDER)                                                 \
    X(DIGEST, "digest", CLASS_ORDER)                                           \
    X(RECALL, "recall", CLASS_ORDER)                                           \
    X(TESTED, "tested", CLASS_ORDER)                                           \
    X(BATCH, "batch", CLASS_ORDER)

enum concept {
    CONCEPT_NONE,
#define X(id, name, class) CONCEPT_##id,
    CONCEPT_LIST(X)
#undef X
        CONCEPT_COUNT
};

const char *concept_name(enum concept c);
enum concept_class concept_class_of(enum concept c);
/* The concept of that name, or CONCEPT_NONE. */
enum concept concept_from_name(const char *name, size_t len);

/* A set of concepts: what one word may mean. */
#define CONCEPT_SET_WORDS 3
struct concept_set {
    uint64_t bits[CONCEPT_SET_WORDS];
};

/* Bits of word k of a constant set. */
#define CONCEPT_BIT(c, k) ((c) / 64 == (k) ? UINT64_C(1) << ((c) % 64) : 0)

static inline void concept_set_add(struct concept_set *s, enum concept c)
{
    s->bits[c / 64] |= UINT64_C(1) << (c % 64);
}

static inline bool concept_set_has(const struct concept_set *s, enum concept c)
{
    return (s->bits[c / 64] >> (c % 64)) & 1;
}

/* Is a concept in both? */
static inline bool concept_set_meets(const struct concept_set *a,
                                     const struct concept_set *b)
{
    uint64_t both = 0;

    for (int i = 0; i < CONCEPT_SET_WORDS; i++)
        both |= a->bits[i] & b->bits[i];
    return both != 0;
}

static inline bool concept_set_is_empty(const struct concept_set *s)
{
    return !concept_set_meets(s, s);
}

static inline bool concept_set_same(const struct concept_set *a,
                                    const struct concept_set *b)
{
    uint64_t other = 0;

    for (int i = 0; i < CONCEPT_SET_WORDS; i++)
        other |= a->bits[i] ^ b->bits[i];
    return other == 0;
}

static inline void concept_set_join(struct concept_set *a,
                                    const struct concept_set *b)
{
    for (int i = 0; i < CONCEPT_SET_WORDS; i++)
        a->bits[i] |= b->bits[i];
}

/* Takes the concepts of b out of a. */
static inline void concept_set_drop(struct concept_set *a,
                                    const struct concept_set *b)
{
    for (int i = 0; i < CONCEPT_SET_WORDS; i++)
        a->bits[i] &= ~b->bits[i];
}
#endif
