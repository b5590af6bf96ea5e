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

static inline uint64_t load(const unsigned char *at)
{
    uint64_t eight;

    memcpy(&eight, at, sizeof(eight));
    return eight;
}

/* The lanes in variables of their own, which stay in registers. */
static const unsigned char *sum_rounds(uint64_t lanes[LANES],
                                       const unsigned char *at, size_t rounds)
{
    uint64_t a = lanes[0], b = lanes[1], c = lanes[2], d = lanes[3];

    for (; rounds > 0; rounds--, at += LANES * 8) {
        a = step(a, load(at));
        b = step(b, load(at + 8));
        c = step(c, load(at + 16));
        d = step(d, load(at + 24));
    }
    lanes[0] = a;
    lanes[1] = b;
    lanes[2] = c;
    lanes[3] = d;
    return at;
}

uint64_t kw_sum(uint64_t sum, const void *data, size_t len)
{
    const unsigned char *at = data, *end = at + len;
    uint64_t lanes[LANES], rest;

    for (uint64_t i = 0; i < LANES; i++)
        lanes[i] = sum + (i + 1) * FACTOR;
    at = sum_rounds(lanes, at, len / (LANES * 8));
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
