/* grammar_memo.c - see grammar_memo.h. */
#include "reader/grammar_memo.h"

#include <string.h>

#define MEMO_BITS   12
#define KEY_WORDS   (GRAMMAR_MEMO_LONGEST / 4) /* four symbols in each */
#define GROUPS_MOST 12 /* more are not kept: an entry is 64 octets */

struct kept {
    uint64_t key[KEY_WORDS];
    uint8_t n; /* symbols of the row; 0 nothing yet */
    bool found;
    uint8_t to, n_groups; /* places count from the head of the row */
    struct {
        uint8_t rule, first, end;
    } groups[GROUPS_MOST];
};

struct grammar_memo {
    struct kept kept[1u << MEMO_BITS];
};

_Static_assert(GRAMMAR_RULE_COUNT <= UINT8_MAX, "a rule is kept in an octet");

struct grammar_memo *grammar_memo_new(void)
{
    return kw_calloc(1, sizeof(struct grammar_memo));
}

void grammar_memo_free(struct grammar_memo *memo)
{
    kw_free(memo);
}

/* A symbol has less than 16 bits: PATTERN_SYMBOLS_MOST. */
static void pack(const uint32_t *row, size_t n, uint64_t key[KEY_WORDS])
{
    uint16_t symbols[GRAMMAR_MEMO_LONGEST] = {0};

    for (size_t i = 0; i < n; i++)
        symbols[i] = (uint16_t)row[i];
    memcpy(key, symbols, sizeof(symbols));
}

static size_t place_of(const uint64_t key[KEY_WORDS])
{
    uint64_t sum = key[0] * UINT64_C(0x9E3779B97F4A7C15) +
                   key[1] * UINT64_C(0xC2B2AE3D27D4EB4F) +
                   key[2] * UINT64_C(0x165667B19E3779F9);

    return (size_t)((sum ^ sum >> 29) * UINT64_C(0x9E3779B97F4A7C15) >>
                    (64 - MEMO_BITS));
}

static bool is_same(const struct kept *k, const uint64_t key[KEY_WORDS],
                    size_t n)
{
    uint64_t other = k->n ^ n;

    for (size_t i = 0; i < KEY_WORDS; i++)
        other |= k->key[i] ^ key[i];
    return other == 0;
}

int grammar_memo_find(const struct grammar_memo *memo, const uint32_t *row,
                      size_t n, size_t at, struct grammar_match *m)
{
    uint64_t key[KEY_WORDS];
    const struct kept *k;

    pack(row, n, key);
    k = &memo->kept[place_of(key)];
    if (!is_same(k, key, n))
        return KW_ENOENT;
    if (!k->found)
        return 0;
    m->from = at;
    m->to = at + k->to;
    m->said[0] = m->said[1] = 0;
    for (size_t i = 0; i < k->n_groups; i++) {
        unsigned r = k->groups[i].rule;

        m->said[r / 64] |= UINT64_C(1) << (r % 64);
        m->first[r] = (uint16_t)(at + k->groups[i].first);
        m->end[r] = (uint16_t)(at + k->groups[i].end);
    }
    return 1;
}

static void keep_groups(struct kept *k, const struct grammar_match *m)
{
    k->to = (uint8_t)(m->to - m->from);
    for (unsigned half = 0; half < 2; half++) {
        for (uint64_t said = m->said[half]; said != 0; said &= said - 1) {
            unsigned r = half * 64 + (unsigned)__builtin_ctzll(said);

            if (k->n_groups == GROUPS_MOST) {
                k->n = 0;
                return;
            }
            k->groups[k->n_groups].rule = (uint8_t)r;
            k->groups[k->n_groups].first = (uint8_t)(m->first[r] - m->from);
            k->groups[k->n_groups++].end = (uint8_t)(m->end[r] - m->from);
        }
    }
}

void grammar_memo_keep(struct grammar_memo *memo, const uint32_t *row, size_t n,
                       int found, const struct grammar_match *m)
{
    uint64_t key[KEY_WORDS];
    struct kept *k;

    pack(row, n, key);
    k = &memo->kept[place_of(key)];
    k->n = (uint8_t)n;
    k->found = found == 1;
    k->n_groups = 0;
    memcpy(k->key, key, sizeof(key));
    if (k->found)
        keep_groups(k, m);
}
