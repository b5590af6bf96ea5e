#ifndef KW_DESK_FIXTURE_H
#define KW_DESK_FIXTURE_H
/*
 * desk_fixture.h - a desk over a ledger in a folder of its own, with a few
 * homes and pots; texts to it and what it said. All made up; +999 is a
 * country code that nobody has.
 */
#include "desk/desk.h"
#include "tests/ledger_fixture.h"

#define ANA    "+99970012345" /* one pot */
#define BINTA  "+99970012346" /* two pots */
#define CHIEF  "+99970000001" /* coordinator */
#define FIELD  "+99970000002" /* field worker */
#define NOBODY "+99970099999"
#define START  1772524800 /* 2026-03-03 08:00 UTC */

#define SET(dst, src) kw_copy(dst, sizeof(dst), src, strlen(src))

extern struct config *conf;
extern struct desk *desk;
extern struct ledger *lg;
extern struct desk_answer got; /* to the last text */
extern int64_t now_s;          /* goes on by a minute a text */
/* 0 Ana's, 1 and 2 Binta's, 3 stock, 4 scrapped, 5 not in the notebook */
extern char serials[8][SERIAL_CAP];

void open_all(void);
void close_all(void);

/* i: its place in serials, -1 none. The pot's key. */
int64_t put_pot(int i, const char *batch, int64_t batch_id, int number);
int64_t put_home(const char *code, const char *phone, int64_t place);
void give(int64_t pot, int64_t home, int64_t at_s);

void send_text(const struct desk_text *in);
/* Sends a text; the answer, borrowed until the next. */
const char *text(const char *from, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
int64_t rows(const char *table);
/* Alerts to the coordinator whose body is like that. */
int64_t told(const char *like);

#define SAYS(reply, part)                                                      \
    do {                                                                       \
        const char *reply_ = (reply);                                          \
        ck_assert_msg(strstr(reply_, part) != NULL, "no '%s' in: %s", part,    \
                      reply_);                                                 \
    } while (0)
/* Runs a suite of one case of texts; the exit code of the program. */
int fixture_texts(const char *name, void (*add)(TCase *t));
#endif
