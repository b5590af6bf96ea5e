/* image.c - see image.h. */
#include "reader/image.h"

#include "base/sum.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#define OCTETS_MOST (1u << 30)

static const char magic[8] = {'k', 'w', 'i', 'm', 'a', 'g', 'e', '\n'};

struct place { /* of a table */
    uint64_t at, n, size;
};

struct head {
    char magic[8];
    uint64_t sum; /* of all that follows */
    uint64_t len; /* of the file */
    uint64_t maker, files;
    uint64_t n_tables;
    struct place places[IMAGE_TABLES_MOST];
};

struct image {
    const char *data;
    size_t len;
    bool mapped;
};

const char *image_state_words(enum image_state s)
{
    static const char *const words[] = {
        [IMAGE_SERVES] = "is there",
        [IMAGE_MISSING] = "is not there",
        [IMAGE_UNREADABLE] = "cannot be read",
        [IMAGE_NONE] = "is no image of words",
        [IMAGE_CUT] = "is not whole",
        [IMAGE_MAKER] = "is of another version of kilnword",
        [IMAGE_FILES] = "is of other words than the files have now",
        [IMAGE_DAMAGED] = "is damaged"};

    return words[s];
}

static size_t aligned(size_t n)
{
    return (n + IMAGE_ALIGN - 1) / IMAGE_ALIGN * IMAGE_ALIGN;
}

static uint64_t sum_of(const char *data, size_t len)
{
    const size_t from = offsetof(struct head, len);

    return kw_sum(0, data + from, len - from);
}

void image_build(const struct image_key *key, const struct image_table *tables,
                 size_t n, char **data, size_t *len)
{
    struct head h = {.maker = key->maker, .files = key->files, .n_tables = n};
    size_t at = aligned(sizeof(h));

    for (size_t i = 0; i < n; i++) {
        h.places[i] = (struct place){at, tables[i].n, tables[i].size};
        at = aligned(at + tables[i].n * tables[i].size);
    }
    h.len = *len = at;
    *data = kw_calloc(at, 1);
    for (size_t i = 0; i < n; i++) {
        if (tables[i].n > 0)
            memcpy(*data + h.places[i].at, *(void **)tables[i].at,
                   tables[i].n * tables[i].size);
    }
    memcpy(h.magic, magic, sizeof(magic));
    memcpy(*data, &h, sizeof(h));
    h.sum = sum_of(*data, at);
    memcpy(*data, &h, sizeof(h));
}

/* Does every table lie within the file? */
static bool places_fit(const struct head *h)
{
    if (h->n_tables > IMAGE_TABLES_MOST)
        return false;
    for (size_t i = 0; i < h->n_tables; i++) {
        const struct place *p = &h->places[i];
        uint64_t octets;

        if (p->at % IMAGE_ALIGN != 0 || p->at > h->len ||
            __builtin_mul_overflow(p->n, p->size, &octets) ||
            octets > h->len - p->at)
            return false;
    }
    return true;
}

static enum image_state look(const char *data, size_t len,
                             const struct image_key *key)
{
    struct head h;

    if (len < sizeof(magic) || memcmp(data, magic, sizeof(magic)) != 0)
        return IMAGE_NONE;
    if (len < sizeof(h))
        return IMAGE_CUT;
    memcpy(&h, data, sizeof(h));
    if (h.maker != key->maker)
        return IMAGE_MAKER;
    if (h.files != key->files)
        return IMAGE_FILES;
    if (h.len != len)
        return IMAGE_CUT;
    return sum_of(data, len) == h.sum && places_fit(&h) ? IMAGE_SERVES
                                                        : IMAGE_DAMAGED;
}

enum image_state image_of(const void *data, size_t len,
                          const struct image_key *key, struct image **out)
{
    enum image_state s = look(data, len, key);

    *out = NULL;
    if (s == IMAGE_SERVES) {
        *out = kw_malloc(sizeof(**out));
        **out = (struct image){data, len, false};
    }
    return s;
}

/* The whole file; NULL when it cannot be, or is empty. */
static void *map(int fd, size_t *len, enum image_state *s)
{
    struct stat st;
    void *data;

    if (fstat(fd, &st) < 0) {
        *s = IMAGE_UNREADABLE;
        return NULL;
    }
    if (!S_ISREG(st.st_mode) || st.st_size <= 0 || st.st_size > OCTETS_MOST) {
        *s = IMAGE_NONE;
        return NULL;
    }
    *len = (size_t)st.st_size;
    data = mmap(NULL, *len, PROT_READ, MAP_SHARED, fd, 0);
    *s = IMAGE_UNREADABLE;
    return data == MAP_FAILED ? NULL : data;
}

enum image_state image_open(const char *path, const struct image_key *key,
                            struct image **out)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
    enum image_state s;
    size_t len;
    void *data;

    *out = NULL;
    if (fd < 0)
        return errno == ENOENT || errno == ENOTDIR ? IMAGE_MISSING
                                                   : IMAGE_UNREADABLE;
    data = map(fd, &len, &s);
    close(fd);
    if (data == NULL)
        return s;
    madvise(data, len, MADV_WILLNEED);
    if ((s = image_of(data, len, key, out)) == IMAGE_SERVES)
        (*out)->mapped = true;
    else
        munmap(data, len);
    return s;
}

void image_close(struct image *m)
{
    if (m == NULL)
        return;
    if (m->mapped)
        munmap((void *)(uintptr_t)m->data, m->len);
    kw_free(m);
}

bool image_take(const struct image *m, size_t first,
                const struct image_table *tables, size_t n)
{
    struct head h;

    memcpy(&h, m->data, sizeof(h));
    if (first > h.n_tables || n > h.n_tables - first)
        return false;
    for (size_t i = 0; i < n; i++) {
        const struct place *p = &h.places[first + i];

        if (p->n != tables[i].n || p->size != tables[i].size)
            return false;
        *(void **)tables[i].at =
            p->n > 0 ? (void *)(uintptr_t)(m->data + p->at) : NULL;
    }
    return true;
}

void image_settle(const struct image *m)
{
    if (m->mapped)
        madvise((void *)(uintptr_t)m->data, m->len, MADV_DONTNEED);
}
