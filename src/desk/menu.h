#ifndef KW_MENU_H
#define KW_MENU_H
/*
 * menu.h - screens for phones that are led by numbers, from grammar/menu. A
 * session composes the words of a text, which the reader then reads as any
 * other: one meaning, one path. Sizes of a screen: 182 septets, or 80 UCS-2
 * units (3GPP TS 23.038, 5 and 6.1.2.3: 160 octets of USSD).
 */
#include "base/buf.h"
#include "base/fault.h"

#define MENU_SEPTETS    182
#define MENU_UCS2_UNITS 80
#define MENU_PRESSES    4   /* the most that a report takes */
#define MENU_WORDS_CAP  161 /* of a composed text, with NUL */

struct menu;

/* 0, KW_ESYNTAX or KW_EIO with faults added. Reads folder/menu. */
int menu_open(const char *folder, struct fault_list *faults, struct menu **out);
void menu_close(struct menu *m);

size_t menu_screens(const struct menu *m);
size_t menu_langs(const struct menu *m);
const char *menu_lang(const struct menu *m, size_t i);

enum menu_step {
    MENU_SCREEN = 0,   /* out: the screen to show */
    MENU_TEXT = 1,     /* out: the words of the text; the session is over */
    MENU_AGAIN = 2,    /* the last press is none of it; out: the screen again */
    MENU_CANCELLED = 3 /* menu_settle() alone */
};
/*
 * The presses that count of all that were made: those taken back and those
 * that were none of the screen's are left out, what comes after the end too.
 * What comes out stands as menu_next() wants it.
 */
int menu_settle(const struct menu *m, const char *presses, struct kw_buf *out);
/* What was composed so far by presses of menu_settle(). 0 or KW_EFULL. */
int menu_words(const struct menu *m, const char *lang, const char *presses,
               struct kw_buf *out);
/*
 * Where a session stands after its presses, "" or "4*3*10" (each press a
 * digit or a typed number, stars between). Unknown lang: the first one.
 * A negative return: KW_EINVAL, presses that come after the end of a session
 * or follow one that was none of it; KW_EFULL.
 */
int menu_next(const struct menu *m, const char *lang, const char *presses,
              struct kw_buf *out);

/*
 * Every whole session there is in that language: for typed numbers the least
 * and the most, for a pot's number serial. A negative return of f stops and is
 * returned.
 */
int menu_each_session(
    const struct menu *m, const char *lang, const char *serial,
    int (*f)(const char *presses, const char *text, void *arg), void *arg);
#endif
