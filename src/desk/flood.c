/*
 * flood.c - how many answers a phone has had of late. Kept in memory only: a
 * limit against loops, not a record. A text that the writer runs again counts
 * twice.
 */
#include "desk/inner.h"

enum flood_says flood_count(struct flood *f, int64_t phone_id, int64_t now_s)
{
    uint64_t mixed = (uint64_t)phone_id * 0x9e3779b97f4a7c15u;
    size_t at = (size_t)(mixed >> 32) % FLOOD_PHONES;
    int64_t since = now_s - f->phones[at].since_s;

    if (f->phones[at].phone_id != phone_id || since >= FLOOD_WINDOW_S ||
        since < 0) {
        f->phones[at].phone_id = phone_id;
        f->phones[at].since_s = now_s;
        f->phones[at].n = 0;
    }
    if (f->phones[at].n > FLOOD_ANSWERS)
        return FLOOD_SILENT;
    return ++f->phones[at].n > FLOOD_ANSWERS ? FLOOD_BUSY : FLOOD_ANSWER;
}
