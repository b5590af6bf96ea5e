/* slip_cost.c - see slip_cost.h. */
#include "reader/slip_cost.h"

#include <string.h>
#include <utf8proc.h>

bool slip_decode(const char *s, size_t len, struct runes *r)
{
    size_t at = 0;

    r->n = 0;
    while (at < len) {
        ssize_t n;

        if (r->n == RUNES_MOST)
            return false;
        if ((unsigned char)s[at] < 0x80) {
            r->at[r->n++] = s[at++];
            continue;
        }
        n = utf8proc_iterate((const utf8proc_uint8_t *)s + at,
                             (ssize_t)(len - at), &r->at[r->n]);
        if (n <= 0)
            return false;
        r->n++;
        at += (size_t)n;
    }
    return true;
}

/* The vowels of Latin letters, and the vowel signs of Devanagari. */
bool slip_is_vowel(int32_t c)
{
    const unsigned latin = 1u << ('a' & 31) | 1u << ('e' & 31) |
                           1u << ('i' & 31) | 1u << ('o' & 31) |
                           1u << ('u' & 31) | 1u << ('y' & 31);

    if (c < 0x80)
        return c >= 'a' && (latin >> (c & 31) & 1);
    return (c >= 0x93E && c <= 0x94D) || (c >= 0x901 && c <= 0x914);
}

/* Are two letters the same sound often enough to be mixed up? */
bool slip_sounds_like(int32_t a, int32_t b)
{
    static const char *const groups[] = {"bv", "szxc", "ckq", "iy", "gj",
                                         "jh", "uw",   "fp",  "ou", "ei"};

    if (a >= 0x80 || b >= 0x80)
        return a >= 0x900 && a < 0x980 && b >= 0x900 && b < 0x980 &&
               slip_is_vowel(a) && slip_is_vowel(b);
    for (size_t i = 0; i < KW_COUNT(groups); i++) {
        if (strchr(groups[i], (int)a) != NULL &&
            strchr(groups[i], (int)b) != NULL)
            return true;
    }
    return false;
}

/* Beside each other on a small keyboard, or on one key of a number pad. */
static bool are_near_keys(int32_t a, int32_t b)
{
    static const char *const rows[] = {"qwertyuiop", "asdfghjkl", "zxcvbnm"};
    static const char keys[] = "22233344455566677778889999";
    int row[2] = {-1, -1}, col[2] = {0, 0};
    int32_t c[2] = {a, b};

    if (a < 'a' || a > 'z' || b < 'a' || b > 'z')
        return false;
    if (keys[a - 'a'] == keys[b - 'a'])
        return true;
    for (int k = 0; k < 2; k++) {
        for (int i = 0; i < 3; i++) {
            const char *p = strchr(rows[i], (int)c[k]);

            if (p != NULL) {
                row[k] = i;
                col[k] = (int)(p - rows[i]);
            }
        }
    }
    if (row[0] == row[1])
        return col[0] - col[1] == 1 || col[1] - col[0] == 1;
    if (row[0] > row[1])
        return row[0] - row[1] == 1 &&
               (col[1] - col[0] == 0 || col[1] - col[0] == 1);
    return row[1] - row[0] == 1 &&
           (col[0] - col[1] == 0 || col[0] - col[1] == 1);
}

static int cost_of_pair(int32_t a, int32_t b)
{
    if (slip_sounds_like(a, b))
        return COST_SOUND;
    if (slip_is_vowel(a) && slip_is_vowel(b))
        return COST_VOWEL;
    return are_near_keys(a, b) ? COST_NEAR : COST_FAR;
}

static inline bool is_plain(int32_t c)
{
    return c >= 'a' && c <= 'z';
}

static int cost_other(const struct lexicon *lex, int32_t a, int32_t b)
{
    return is_plain(a) && is_plain(b) ? lex->costs[a - 'a'][b - 'a']
                                      : cost_of_pair(a, b);
}

void slip_prepare_costs(struct lexicon *lex)
{
    for (int a = 'a'; a <= 'z'; a++) {
        for (int b = 'a'; b <= 'z'; b++)
            lex->costs[a - 'a'][b - 'a'] = (uint8_t)cost_of_pair(a, b);
    }
}

/* The cost of a letter more or less, at place i of r. */
static int cost_extra(const struct runes *r, int i)
{
    if (i > 0 && r->at[i] == r->at[i - 1])
        return COST_DOUBLE;
    if (r->at[i] == 'h')
        return COST_SOUND;
    return slip_is_vowel(r->at[i]) ? COST_VOWEL : COST_LETTER;
}

void slip_weigh_extras(struct runes *r)
{
    for (int i = 0; i < r->n; i++)
        r->extra[i] = (uint8_t)cost_extra(r, i);
}

static int least(int a, int b)
{
    return a < b ? a : b;
}

/* Weighted optimal string alignment; stops counting above most. Extras are
 * weighed. */
int slip_distance(const struct lexicon *lex, const struct runes *a,
                  const struct runes *b, int most)
{
    int rows[3][RUNES_MOST + 2];
    int *before = rows[0], *last = rows[1], *now = rows[2];
    int best_before = 0;

    last[0] = 0;
    for (int j = 1; j <= b->n; j++)
        last[j] = last[j - 1] + b->extra[j - 1];
    for (int i = 1; i <= a->n; i++) {
        int best = now[0] = last[0] + a->extra[i - 1], *spare;

        for (int j = 1; j <= b->n; j++) {
            int32_t x = a->at[i - 1], y = b->at[j - 1];

            now[j] = last[j - 1] + (x == y ? 0 : cost_other(lex, x, y));
            now[j] = least(now[j], last[j] + a->extra[i - 1]);
            now[j] = least(now[j], now[j - 1] + b->extra[j - 1]);
            if (i > 1 && j > 1 && x != y && x == b->at[j - 2] &&
                y == a->at[i - 2])
                now[j] = least(now[j], before[j - 2] + COST_SWAP);
            best = least(best, now[j]);
        }
        /* A swap comes from the row before the last. */
        if (best > most && best_before + COST_SWAP > most)
            return COST_MUCH;
        best_before = best;
        spare = before;
        before = last;
        last = now;
        now = spare;
    }
    return last[b->n];
}
