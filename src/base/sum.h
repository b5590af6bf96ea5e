#ifndef KW_SUM_H
#define KW_SUM_H
/*
 * sum.h - a sum of 64 bits over octets, to notice that they are others than
 * before. Fast, and of this kind of machine only: the order of its octets is
 * in the sum. It guards against accidents, not against someone who makes
 * octets to fit a sum.
 */
#include "base/kw.h"

/* Goes on from the sum of what came before; 0 at first. */
uint64_t kw_sum(uint64_t sum, const void *data, size_t len);
#endif
