#ifndef KW_YT_H
#define KW_YT_H
/*
 * yt.h - the yardsticks that keeping a text is held against:
 *
 *   Ys  4 KiB appended to a file and fdatasync: p50
 *   Yt  the least transaction that files a text, in bare SQLite: look up a
 *       phone and a pot, insert the text with the key that finds repeats, the
 *       report and the reply (with the index of a queue), update the pot; the
 *       ledger's own settings (WAL, FULL, 8 MiB, checkpoint at 1,000 pages),
 *       keys in the order of arrival. All pots have been read before.
 *
 * To be taken in turns with what they measure, in one run. What goes wrong
 * ends the bench.
 */
#include "base/kw.h"

#define YT_GROUP        64         /* texts in a commit */
#define YT_FIRST_S      1772323200 /* 2026-03-01 */
#define YT_FIRST_MSISDN 99970000000
#define YT_BODY         "021407319 slow fell 4 fingers in 10 h"
#define YT_REPLY                                                               \
    "Pot 0214-073-19: slow, 1.2 L in the first hour. Scrub the inside with "   \
    "a clean brush and clean water, then measure again within 7 days."

double ys_us(const char *file, int n); /* the file is removed */

struct yt_text {
    int64_t at_s, phone_id, pot_key; /* pots from 1 */
    char ref[33];
};
/* A text of one of so many pots. */
void yt_next(struct yt_text *t, int pots);

struct yt;
struct yt *yt_open(const char *file, int pots);
void yt_close(struct yt *y);
void yt_group(struct yt *y, int n); /* so many texts in one commit */
double yt_pages(struct yt *y);      /* written to its log so far */
#endif
