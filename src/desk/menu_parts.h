#ifndef KW_MENU_PARTS_H
#define KW_MENU_PARTS_H
/* menu_parts.h - the screens as they are kept; inner to the menu. */
#include "desk/menu.h"

#define LANGS_MOST   12
#define SCREENS_MOST 64
#define WAYS_MOST    11 /* ten digits and one typed number */
#define FILE_MOST    (128 * 1024)
#define NAME_CAP     24
#define SERIAL_LEAST 4 /* digits of a typed pot number */
#define SERIAL_MOST  16

enum way_kind { WAY_DIGIT, WAY_NUMBER, WAY_SERIAL };

struct way { /* one way on from a screen */
    enum way_kind kind;
    char digit;
    int64_t least, most;
    char writes[48];
    char goes[NAME_CAP]; /* "" ends */
    int to;              /* screen, -1 ends */
    char *labels[LANGS_MOST];
    char *words[LANGS_MOST]; /* instead of writes; NULL: writes */
    int line;
};

struct screen {
    char name[NAME_CAP];
    char *labels[LANGS_MOST];
    struct way ways[WAYS_MOST];
    size_t n;
    int line;
    bool reached;
};

struct menu {
    char langs[LANGS_MOST][12];
    size_t n_langs;
    struct screen *screens;
    size_t n, cap;
    struct press_key { /* takes a press back, or ends; press "" none */
        char press[8];
        char *labels[LANGS_MOST];
        int line;
    } back, cancel;
};

/* What a screen shows in a language: how to go back, and how to end where
 * there is room for it. */
void menu_show(const struct menu *m, size_t at, size_t lang,
               struct kw_buf *out);
#endif
