#ifndef KW_SHOW_H
#define KW_SHOW_H
/* show.h - what `kilnword show` can show, for its command line alone. */
#include "ledger/ledger.h"
#include "page/need.h"
#include "page/page.h"

#include <jansson.h>

struct show {
    struct page page;
    struct ledger *lg;
    struct kw_buf out;
    bool json, csv;
    struct need_setting need;
    json_t *tree;    /* with --json, owned */
    const char *svg; /* with --svg: the file */
    const char *map; /* with --map: likewise */
};

struct show_kind {
    const char *kind;
    const char *name; /* of what must be given, NULL nothing */
    /* 0, an exit code after saying why, or a KW_E code. */
    int (*show)(struct show *s, const char *name);
    bool svg; /* has a picture */
    bool map; /* has a map */
    bool all; /* looks at all pots */
};

#define SHOW_KINDS 11
extern const struct show_kind show_kinds[SHOW_KINDS];
#endif
