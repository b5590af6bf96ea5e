/*
 * sum.c - see sum.h. Four lanes take eight octets each in turn. A step
 * (exclusive or, rotation, product with an odd number) can be undone, so two
 * rows that differ in one lane only never have one sum.
 */
#include "base/sum.h"

#include <string.h>

#define LANES  4
#define FACTOR UINT64_C(0x9E3779B97F4A7C15)

static inline uint64_t step(uint64_t lane, uint64_t eight)
{
    lane ^= eight;
    return (lane << 29 | lane >> 35) * FACTOR;
}

static uint64_t mix(uint64_t x)
{
    x = (x ^ x >> 32) * FACTOR;
    x = (x ^ x >> 29) * FACTOR;
    return x ^ x >> 32;
}

uint64_t kw_sum(uint64_t sum, const void *data, size_t len)
{
    const unsigned char *at = data, *end = at + len;
    uint64_t lanes[LANES], eights[LANES], rest = 0;

    for (uint64_t i = 0; i < LANES; i++)
        lanes[i] = sum + (i + 1) * FACTOR;
    for (; (size_t)(end - at) >= sizeof(eights); at += sizeof(eights)) {
        memcpy(eights, at, sizeof(eights));
        for (int i = 0; i < LANES; i++)
            lanes[i] = step(lanes[i], eights[i]);
    }
    for (int i = 0; at < end; at += 8, i++) {
        size_t n = end - at < 8 ? (size_t)(end - at) : 8;

        rest = 0;
        memcpy(&rest, at, n);
        lanes[i] = step(lanes[i], rest);
        if (n < 8)
            break;
    }
    sum = mix(len);
    for (int i = 0; i < LANES; i++)
        sum = mix(step(sum, lanes[i]));
    return sum;
}
