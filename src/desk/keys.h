#ifndef KW_DESK_KEYS_H
#define KW_DESK_KEYS_H
/*
 * keys.h - the table of what can be said: every key, the slots it may have
 * and must have, and how much room there is. Inner to the replies.
 */
#include "desk/reply.h"

enum slot_id {
    SLOT_SERIAL,
    SLOT_GROUP,
    SLOT_OTHER,
    SLOT_CLINIC,
    SLOT_PLACE,
    SLOT_BATCH,
    SLOT_WORDS,
    SLOT_SIGNS,
    SLOT_PHONE,
    SLOT_LINE,
    SLOT_ALERT,
    SLOT_LITRES,
    SLOT_DEGC,
    SLOT_EXPECTED,
    SLOT_RATIO,
    SLOT_LOW,
    SLOT_HIGH,
    SLOT_PEOPLE,
    SLOT_DAYS,
    SLOT_COUNT,
    SLOT_TOTAL,
    SLOT_TEXTS,
    SLOT_REPORTS,
    SLOT_FAILED,
    SLOT_ILL,
    SLOT_OPEN,
    SLOT_REPLACE,
    SLOT_WAITING,
    SLOT_PLACES,
    SLOT_ASIDE,
    SLOT_DAY,
    SLOT_SAID,
    SLOTS
};

enum slot_type { SLOT_TEXT, SLOT_INT, SLOT_I64, SLOT_REAL };

struct slot_def {
    const char *name;
    enum slot_type type;
    size_t offset;  /* in struct reply_slots */
    size_t longest; /* septets, or UCS-2 units: what is longer is cut */
};
extern const struct slot_def slot_defs[SLOTS];

enum key_room {
    ROOM_WORD,  /* a word or few that go into a slot */
    ROOM_REPLY, /* one reply: one segment, or two of UCS-2 */
    ROOM_TAIL,  /* added to a reply: half a reply at most, two always fit */
    ROOM_ASK,   /* a question; the warning of ROOM_SHORT fits behind it */
    ROOM_SHORT,
    ROOM_DIGEST /* twice a reply */
};

struct key_def {
    const char *name;
    enum key_room room;
    unsigned may, must; /* bits of slots; must is part of may */
    size_t longest;     /* ROOM_WORD: units */
};
extern const struct key_def key_defs[];
extern const size_t n_key_defs;
/* Index of a key, or KW_ENOENT. */
int key_find(const char *name, size_t len);

struct reply_lang {
    char tag[READER_LANG_CAP];
    char *name;      /* what its speakers call it */
    bool ucs2;       /* the GSM alphabet cannot write it */
    bool draft;      /* by a non-native hand */
    char *signed_by; /* health authority that signed it off, NULL: a draft */
    char **texts;    /* one for each key */
    int *lines;      /* where each stood */
};

struct replies {
    struct reply_lang *langs;
    size_t n, cap;
};

/* Reads and proves one file. The language is filled in as far as it goes. */
void reply_file_read(const char *path, const char *tag,
                     struct fault_list *faults, struct reply_lang *lang);
void reply_lang_release(struct reply_lang *lang);
const struct reply_lang *reply_lang_find(const struct replies *r,
                                         const char *tag);

/* Writes a template. slots NULL: the longest value of every slot. */
void reply_render(const struct reply_lang *lang, const char *text,
                  const struct reply_slots *slots, struct kw_buf *out);
/* Room of one reply in units of the language's alphabet. */
size_t reply_room(const struct reply_lang *lang, enum key_room room);
size_t reply_units(const struct reply_lang *lang, const char *text, size_t len);
#endif
