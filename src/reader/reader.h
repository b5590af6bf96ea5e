#ifndef KW_READER_H
#define KW_READER_H
/*
 * reader.h - text in, meaning out. Pure: no ledger, clock, log or socket.
 * A reader is built once from the files in grammar/ and is then constant:
 * any number of threads may read with it, each with a scratch of its own.
 */
#include "base/fault.h"
#include "reader/serial.h"

#define READER_OBS_MOST     8
#define READER_TEXT_MOST    1600 /* octets read; what is beyond is left out */
#define READER_LANG_CAP     12   /* BCP 47 tag and NUL */
#define READER_NUMBERS_MOST 4

enum reader_kind { /* what was seen of a pot or a home */
                   READER_CRACK,
                   READER_LEAK,
                   READER_BROKEN,
                   READER_SLOW,
                   READER_FAST,
                   READER_ILL,
                   READER_SCRUBBED,
                   READER_PART,
                   READER_FINE,
                   READER_UNUSED,
                   READER_KINDS
};
/* "crack" …: the word used in JSON, the ledger and the replies. */
const char *reader_kind_name(enum reader_kind kind);
int reader_kind_from_name(const char *name); /* or KW_ENOENT */

enum reader_outcome { READER_FILED, READER_ASKED, READER_NOT_REPORT };
const char *reader_outcome_name(enum reader_outcome o); /* "filed" … */

enum reader_measure_type { READER_NO_MEASURE, READER_DROP, READER_YIELD };
enum reader_unit {
    READER_FINGER,
    READER_CM,
    READER_LITRE,
    READER_CUP,
    READER_BOTTLE
};

struct reader_measure {
    enum reader_measure_type type;
    enum reader_unit unit; /* finger, cm: drop; litre, cup, bottle: yield */
    double value;          /* > 0 */
    double minutes;        /* > 0; 0 when the time was not said */
    bool from_brim;        /* was told to have been filled to the rim */
    double start_cm; /* told height of the water when it began; 0 not said */
    bool warm;       /* the water's temperature was told: */
    double degc;
};

#define READER_BLOOD     0x1u /* blood in the stool */
#define READER_RICEWATER 0x2u /* stool like rice water */
#define READER_DRY       0x4u /* very weak, sunken eyes, cannot drink */
#define READER_DEAD      0x8u
#define READER_SIGNS     4
const char *reader_sign_name(unsigned sign); /* "blood" … for one bit */

enum reader_part { READER_NO_PART, READER_TAP, READER_LID, READER_BUCKET };
const char *reader_part_name(enum reader_part part);

struct reader_obs {
    enum reader_kind kind;
    struct reader_measure measure; /* slow and fast */
    int people;                    /* ill: 0 when not said */
    int under5;                    /* ill: 0 when not said; <= people */
    unsigned signs;                /* ill: READER_BLOOD | … */
    enum reader_part part;         /* part; READER_NO_PART when asked which */
    bool inferred;                 /* no word said so: a measure did */
};

enum reader_command { /* everything that is not an observation */
                      READER_NO_COMMAND,
                      READER_HELP,
                      READER_LANGUAGE,
                      READER_STOP,
                      READER_START, /* anyone */
                      READER_YES,
                      READER_NO,
                      READER_GAVE,
                      READER_VISIT,
                      READER_TESTED,
                      READER_SWAPPED,
                      READER_MOVED,
                      READER_LIST,
                      READER_SEEN,
                      READER_CLOSED,
                      READER_WHY,
                      READER_DIGEST,
                      READER_RECALL,
                      READER_COMMANDS
};
const char *reader_command_name(enum reader_command c); /* "help" … */

/* Why a text was asked about, in the order of what to say first. */
enum reader_why {
    READER_CLEAR,
    READER_WHY_CHECK,      /* a serial that fails its check */
    READER_WHY_TWO_POTS,   /* two serials, one report */
    READER_WHY_NO_POT,     /* no serial and not exactly one pot in the hint */
    READER_WHY_CONTRARY,   /* crack good; fast slow */
    READER_WHY_IMPOSSIBLE, /* a measure that cannot be */
    READER_WHY_NO_TIME,    /* 6f: in how many hours? */
    READER_WHY_NO_AMOUNT,  /* 8h: how far did it fall? */
    READER_WHY_LEVEL,   /* not full, or two levels: how high was the water? */
    READER_WHY_COUNTS,  /* of the ill: they do not fit together */
    READER_WHY_NO_PART, /* "part": which one? */
    READER_WHY_NO_TROUBLE, /* for us, but what is wrong is not said */
    READER_WHY_UNSURE,  /* what obs has, or is it another thing? Yes files it */
    READER_WHY_UNCLEAR, /* our words, but not a sentence; too long; limits */
    READER_WHYS
};
const char *reader_why_name(enum reader_why why); /* "check" … */

struct reader_meaning {
    enum reader_outcome outcome;
    enum reader_why why; /* READER_CLEAR when filed or not a report */
    /*
     * An order. help is asked about, gave, swapped and moved are filed, visit
     * and tested are judged by what was seen, all others are no report; whoever
     * takes the meaning looks at the command first.
     */
    enum reader_command command;
    char lang[READER_LANG_CAP]; /* what most words were written in, or "" */

    /* The pot. serial: canonical, "" when none was said or none is usable. */
    char serial[SERIAL_CAP];
    char serial_other[SERIAL_CAP]; /* the second one, when two stand there */
    char serial_wrong[SERIAL_CAP]; /* what was written where a check failed */
    bool serial_from_hint;         /* the sender's one pot was meant */

    /* A half measure alone ("10h") is a slow with that half, and asked about.
     */
    struct reader_obs obs[READER_OBS_MOST];
    size_t n_obs;
    /* tested: what the workshop read, and then no obs; minutes 60 when they
     * were not said. */
    struct reader_measure test;
    bool test_hour;  /* the minutes were not said */
    unsigned danger; /* all signs said, whatever the outcome */
    /* Contrary, and crack, leak, broken or fast was one side; or nothing but
     * a doubt about the water was said. */
    bool unsafe_said;
    const char
        *doubt; /* of READER_WHY_UNSURE, _UNCLEAR: what is, or NULL. Static */
    bool courtesy; /* greetings and thanks, "ok thanks", and nothing else */

    /* What commands carry: alert number, batch code, phone, language. */
    int64_t numbers[READER_NUMBERS_MOST];
    size_t n_numbers;
    char word[32];  /* language tag asked for; place or batch code */
    char phone[20]; /* digits as written, "+" first when it was */
};

struct reader_limits { /* what cannot be, from the pot in the configuration */
    double depth_cm;   /* rim above the inner base */
    double volume_l;   /* brim-full */
    double finger_cm, cup_l, bottle_l;
    double minutes_max; /* a longer time was not watched: 2 days */
    int people_max;     /* in one home: 30 */
};

/* Whatever is added here belongs into a wording, too: wording.h. */
struct reader_hint {
    const char *lang; /* sender's language or NULL; breaks ties only */
    const char *pot;  /* canonical serial of the sender's one pot, or NULL */
};

struct reader;
struct reader_scratch;

/*
 * Loads report.abnf and every *.words of the folder. All faults are added to
 * the list; the reader is made only when there are none.
 * Returns 0, KW_ESYNTAX (faults added) or KW_EIO (a fault tells).
 */
int reader_open(const char *folder, const struct serial_layout *layout,
                const struct reader_limits *limits, struct fault_list *faults,
                struct reader **out);
void reader_close(struct reader *r);

/*
 * The same in no time, out of an image of the tables: a file made from that
 * folder by reader_image_make(), NULL for READER_IMAGE in the folder itself.
 * When the image will not do, the files are read, and *why says what is wrong
 * with it, in words to stand behind its name ("is not there"); else NULL.
 */
#define READER_IMAGE "words.image"
int reader_open_quick(const char *folder, const char *image,
                      const struct serial_layout *layout,
                      const struct reader_limits *limits,
                      struct fault_list *faults, const char **why,
                      struct reader **out);
/* What reader_open_quick() would find wrong with the image, or NULL. */
const char *reader_image_wrong(const char *folder, const char *image);
/*
 * Reads the files and writes an image of them. 0, KW_ESYNTAX (faults added),
 * KW_EIO (errno tells, or a fault) or KW_EAGAIN: the files changed meanwhile.
 */
int reader_image_make(const char *folder, const char *image,
                      struct fault_list *faults);

struct reader_scratch *reader_scratch_new(const struct reader *r);
void reader_scratch_free(struct reader_scratch *s);

/*
 * Reads any octets, len of them, in bounded time. Never fails: what cannot
 * be read is asked about or is not a report. out is wholly written.
 */
void reader_read(const struct reader *r, struct reader_scratch *s,
                 const char *text, size_t len, const struct reader_hint *hint,
                 struct reader_meaning *out);

/*
 * How the last text of this scratch was folded, cut, repaired, matched and
 * judged, in lines for the person who keeps the words files.
 */
struct kw_buf;
void reader_explain(const struct reader *r, struct reader_scratch *s,
                    struct kw_buf *out);

/* Number of languages, and the tag of each; order of the file names. */
size_t reader_languages(const struct reader *r);
const char *reader_language(const struct reader *r, size_t i);

#endif
