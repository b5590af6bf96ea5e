#ifndef KW_GRAMMAR_H
#define KW_GRAMMAR_H
/*
 * grammar.h - report.abnf as PCRE2 patterns over rows of symbols (32 bit,
 * lexicon.h), with JIT and limits: one for each alternative of a text, tried
 * in their order where the first two symbols allow it. Rules with the names
 * below become named groups: one that matched says that the thing was said,
 * and where.
 */
#include "base/fault.h"
#include "reader/image.h"
#include "reader/lexicon.h"

/* X(identifier, rule) */
#define GRAMMAR_RULES(X)                                                       \
    X(CRACK, "crack")                                                          \
    X(LEAK, "leak")                                                            \
    X(BROKEN, "broken")                                                        \
    X(SLOW, "slow")                                                            \
    X(MAYBE_SLOW, "maybe-slow")                                                \
    X(NO_FLOW, "no-flow")                                                      \
    X(PASSES_IN, "passes-in")                                                  \
    X(FAST, "fast")                                                            \
    X(ILL, "ill")                                                              \
    X(GUT, "gut")                                                              \
    X(SCRUBBED, "scrubbed")                                                    \
    X(PART_STILL, "part-still")                                                \
    X(PART, "part")                                                            \
    X(FINE, "fine")                                                            \
    X(UNUSED, "unused")                                                        \
    X(TAP, "tap")                                                              \
    X(LID, "lid")                                                              \
    X(BUCKET, "bucket")                                                        \
    X(LONE_PART, "lone-part")                                                  \
    X(WHO, "who")                                                              \
    X(PEOPLE, "people")                                                        \
    X(AND_PEOPLE, "and-people")                                                \
    X(UNDER5, "under-five")                                                    \
    X(AMONG, "among")                                                          \
    X(AMONG_ONE, "among-one")                                                  \
    X(AGE, "age")                                                              \
    X(U5_SAID, "u5-said")                                                      \
    X(AND_ONE, "and-one")                                                      \
    X(PAIR, "pair")                                                            \
    X(HOUSE, "house")                                                          \
    X(REST_NO, "rest-no")                                                      \
    X(STOOL_COUNT, "stool-count")                                              \
    X(UNWELL, "unwell")                                                        \
    X(FEVER, "fever")                                                          \
    X(HEALTHY, "healthy")                                                      \
    X(AILMENT, "ailment")                                                      \
    X(BLOOD, "blood")                                                          \
    X(MAYBE_BLOOD, "maybe-blood")                                              \
    X(RICEWATER, "ricewater")                                                  \
    X(MAYBE_RICE, "maybe-rice")                                                \
    X(STOOL, "stool")                                                          \
    X(UNSUCKLING, "unsuckling")                                                \
    X(GONE, "gone")                                                            \
    X(BLOOD_NO, "blood-no")                                                    \
    X(ONE_ILL, "one-ill")                                                      \
    X(AGES, "ages")                                                            \
    X(AGED_WHO, "aged-who")                                                    \
    X(ALL_U5, "all-u5")                                                        \
    X(ILL_NO, "ill-no")                                                        \
    X(DRY, "dry")                                                              \
    X(SURE_DRY, "sure-dry")                                                    \
    X(MAYBE_DRY, "maybe-dry")                                                  \
    X(UNDRINKING, "undrinking")                                                \
    X(UNABLE, "unable")                                                        \
    X(NUMBER_U5, "number-u5")                                                  \
    X(DEAD, "dead")                                                            \
    X(FRONT_NO, "front-no")                                                    \
    X(DENIAL, "denial")                                                        \
    X(ALIEN, "alien")                                                          \
    X(LETTER, "letter")                                                        \
    X(TROUBLE, "trouble")                                                      \
    X(DOUBT, "doubt")                                                          \
    X(TROUBLE_FINE, "trouble-fine")                                            \
    X(TROUBLE_FAULTY, "trouble-faulty")                                        \
    X(BRIM, "brim")                                                            \
    X(MEASURE, "measure")                                                      \
    X(AMOUNT, "amount")                                                        \
    X(SPAN_SAID, "span-said")                                                  \
    X(CLOCK_SAID, "clock-said")                                                \
    X(NOON, "noon")                                                            \
    X(LEVELS, "levels")                                                        \
    X(LEVEL_SAID, "level-said")                                                \
    X(NOT_BRIM, "not-brim")                                                    \
    X(WARMTH, "warmth")                                                        \
    X(RANGE, "range")                                                          \
    X(HALF, "half")                                                            \
    X(AND_HALF, "and-half")                                                    \
    X(AND_QUARTERS, "and-quarters")                                            \
    X(ONE_HALF, "one-half")                                                    \
    X(AND_QUARTER, "and-quarter")                                              \
    X(QUARTER, "quarter")                                                      \
    X(HALF_MORE, "half-more")                                                  \
    X(QUARTER_MORE, "quarter-more")                                            \
    X(QUARTER_LESS, "quarter-less")                                            \
    X(ONE, "one")                                                              \
    X(FINGER, "finger")                                                        \
    X(FINGER_FIRST, "finger-word")                                             \
    X(CM, "cm")                                                                \
    X(CM_FIRST, "cm-word")                                                     \
    X(MILLIMETRE, "millimetre")                                                \
    X(LITRE, "litre")                                                          \
    X(LITRE_FIRST, "litre-word")                                               \
    X(CUP, "cup")                                                              \
    X(CUP_FIRST, "cup-word")                                                   \
    X(BOTTLE_FIRST, "bottle-word")                                             \
    X(BOTTLE, "bottle")                                                        \
    X(HOUR, "hour")                                                            \
    X(HOUR_FIRST, "hour-word")                                                 \
    X(MINUTE, "minute")                                                        \
    X(MINUTE_FIRST, "minute-word")                                             \
    X(HELP, "help")                                                            \
    X(LANGUAGE, "language")                                                    \
    X(LANGUAGE_NAME, "language-name")                                          \
    X(STOP, "stop")                                                            \
    X(START, "start")                                                          \
    X(YES, "yes")                                                              \
    X(NO, "no")                                                                \
    X(GAVE, "gave")                                                            \
    X(VISIT, "visit")                                                          \
    X(TESTED, "tested")                                                        \
    X(SWAPPED, "swapped")                                                      \
    X(MOVED, "moved")                                                          \
    X(LIST, "list")                                                            \
    X(SEEN, "seen")                                                            \
    X(CLOSED, "closed")                                                        \
    X(WHY, "why")                                                              \
    X(DIGEST, "digest")                                                        \
    X(RECALL, "recall")                                                        \
    X(ALERT, "alert")                                                          \
    X(BATCH, "batch")                                                          \
    X(PHONE, "phone")                                                          \
    X(PLACE, "place")                                                          \
    X(POT_SERIAL, "pot-serial")                                                \
    X(NEW_SERIAL, "new-serial")

enum grammar_rule {
#define X(id, rule) GRAMMAR_##id,
    GRAMMAR_RULES(X)
#undef X
        GRAMMAR_RULE_COUNT
};

struct grammar;
struct grammar_scratch;

struct grammar_match {
    size_t from, to; /* tokens [from, to) */
    uint16_t first[GRAMMAR_RULE_COUNT], end[GRAMMAR_RULE_COUNT];
    uint64_t said[2]; /* bit for each rule */
};

static inline bool grammar_said(const struct grammar_match *m,
                                enum grammar_rule r)
{
    return (m->said[r / 64] >> (r % 64)) & 1;
}

const char *grammar_rule_name(enum grammar_rule r);

/* Reads folder/report.abnf. 0, KW_ESYNTAX or KW_EIO with faults added. */
int grammar_load(const char *folder, const struct lexicon *lex,
                 struct fault_list *faults, struct grammar **out);
void grammar_free(struct grammar *g);

/* As lexicon_tables() and lexicon_is_sound(). n_symbols: of the lexicon. */
#define GRAMMAR_TABLES 6
size_t grammar_tables(struct grammar *g, struct image_table *t);
bool grammar_is_sound(const struct grammar *g, size_t n_symbols);

/* NULL when there is no memory for it. */
struct grammar_scratch *grammar_scratch_new(const struct grammar *g);
void grammar_scratch_free(struct grammar_scratch *s);

/*
 * The next piece at or behind place at. 1 found, 0 none, KW_EFULL when a
 * limit of the matching was hit.
 */
int grammar_next(const struct grammar *g, struct grammar_scratch *s,
                 const uint32_t *symbols, size_t n, size_t at,
                 struct grammar_match *m);
#endif
