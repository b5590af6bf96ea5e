/* reader_image.c - see reader_image.h, and reader.h for what others call. */
#include "reader/reader_image.h"

#include "base/file.h"
#include "base/sum.h"
#include "reader/fold.h"
#include "reader/grammar_parts.h"
#include "reader/reader.h"
#include "reader/stamp.h"

#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <utf8proc.h>

#define FILE_MOST  (4u << 20)
#define PATH_CAP   4096
#define OWN_TABLES (1 + LEXICON_TABLES + GRAMMAR_TABLES)

_Static_assert(OWN_TABLES <= IMAGE_TABLES_MOST, "more tables than places");

/* The first table, one row: what has a size of its own. No addresses. */
struct fixed {
    struct lexicon lex;
    struct grammar grammar;
};

/* ---- what an image must be of ---- */

/* The sources, how this compiler lays out rows and bits of them, and the
 * tables that words are folded by. */
static uint64_t maker(void)
{
    const struct lexicon_node node = {1, 2, 3, 4};
    const struct lexicon_word word = {1, 2, 3, 4, 1, 5, 0, 6, 7};
    const struct way way = {1, 2, 3, 4, 1, 0, {0}};
    const struct begin begin = {1, 1, 0, 2};
    const size_t sizes[] = {sizeof(struct fixed),
                            sizeof(struct lexicon_word),
                            sizeof(struct lexicon_more),
                            sizeof(struct lexicon_edge),
                            sizeof(struct spelling),
                            sizeof(struct concept_set),
                            IMAGE_ALIGN};
    const char *folding = utf8proc_version();
    uint64_t sum = kw_sum(0, READER_STAMP, sizeof(READER_STAMP));

    sum = kw_sum(sum, folding, strlen(folding));
    sum = kw_sum(sum, &node, sizeof(node));
    sum = kw_sum(sum, &word, sizeof(word));
    sum = kw_sum(sum, &way, sizeof(way));
    sum = kw_sum(sum, &begin, sizeof(begin));
    return kw_sum(sum, sizes, sizeof(sizes));
}

static int add_file(const char *folder, const char *name, uint64_t *sum)
{
    char path[PATH_CAP], *data;
    size_t len;

    if (file_join(path, sizeof(path), folder, name) < 0 ||
        file_read(path, FILE_MOST, &data, &len) < 0)
        return KW_EIO;
    *sum = kw_sum(*sum, name, strlen(name));
    *sum = kw_sum(*sum, data, len);
    kw_free(data);
    return 0;
}

int reader_image_key(const char *folder, struct image_key *key)
{
    struct dirent **entries;
    int n = scandir(folder, &entries, lexicon_is_words_file, alphasort);
    int err = n < 0 ? KW_EIO : 0;

    *key = (struct image_key){.maker = maker()};
    if (err == 0)
        err = add_file(folder, "report.abnf", &key->files);
    for (int i = 0; i < n; i++) {
        if (err == 0)
            err = add_file(folder, entries[i]->d_name, &key->files);
        free(entries[i]);
    }
    if (n >= 0)
        free(entries);
    return err;
}

/* ---- out of an image ---- */

static size_t list_tables(struct lexicon *lex, struct grammar *g,
                          struct image_table *t)
{
    size_t n = lexicon_tables(lex, t);

    return n + grammar_tables(g, t + n);
}

/* Points both into the image. */
static bool take_tables(const struct image *m, struct lexicon *lex,
                        struct grammar *g)
{
    struct image_table t[LEXICON_TABLES + GRAMMAR_TABLES];
    size_t n = list_tables(lex, g, t);

    return image_take(m, 1, t, n);
}

bool reader_image_take(const struct image *m, struct lexicon **lex,
                       struct grammar **g)
{
    const struct fixed *fixed;
    const struct image_table first = {&fixed, 1, sizeof(*fixed)};

    if (!image_take(m, 0, &first, 1))
        return false;
    *lex = kw_malloc(sizeof(**lex));
    *g = kw_malloc(sizeof(**g));
    memcpy(*lex, &fixed->lex, sizeof(**lex));
    memcpy(*g, &fixed->grammar, sizeof(**g));
    (*lex)->borrowed = (*g)->borrowed = true;
    (*lex)->sets_full = false;
    (*g)->making = NULL;
    if (take_tables(m, *lex, *g) && lexicon_is_sound(*lex) &&
        grammar_is_sound(*g, (*lex)->n_sets)) {
        grammar_making_begin(*g);
        return true;
    }
    grammar_free(*g);
    lexicon_free(*lex);
    *g = NULL;
    *lex = NULL;
    return false;
}

/* ---- into an image ---- */

/* The same, but for the addresses and what is on the heap beside tables. */
static struct fixed *fixed_of(const struct lexicon *lex,
                              const struct grammar *g)
{
    struct fixed *f = kw_calloc(1, sizeof(*f));
    struct image_table t[LEXICON_TABLES + GRAMMAR_TABLES];
    size_t n;

    memcpy(&f->lex, lex, sizeof(*lex));
    memcpy(&f->grammar, g, sizeof(*g));
    n = list_tables(&f->lex, &f->grammar, t);
    for (size_t i = 0; i < n; i++)
        *(void **)t[i].at = NULL;
    f->lex.store_cap = f->lex.words_cap = f->lex.nodes_cap = 0;
    f->lex.more_cap = f->lex.sets_cap = f->lex.classes_cap = 0;
    f->grammar.ways_cap = f->grammar.texts_cap = 0;
    f->grammar.making = NULL;
    return f;
}

void reader_image_build(const struct image_key *key, struct lexicon *lex,
                        struct grammar *g, char **data, size_t *len)
{
    struct fixed *fixed = fixed_of(lex, g);
    struct image_table t[OWN_TABLES] = {{&fixed, 1, sizeof(*fixed)}};
    size_t n = 1 + list_tables(lex, g, t + 1);

    image_build(key, t, n, data, len);
    kw_free(fixed);
}

/* ---- reader.h ---- */

static int image_path(const char *folder, const char *image,
                      char path[PATH_CAP])
{
    if (image != NULL)
        return kw_copy(path, PATH_CAP, image, strlen(image));
    return file_join(path, PATH_CAP, folder, READER_IMAGE);
}

const char *reader_image_open(const char *folder, const char *image,
                              struct reader_tables *out)
{
    char path[PATH_CAP];
    struct image_key key;
    enum image_state s;

    *out = (struct reader_tables){0};
    if (image_path(folder, image, path) < 0 ||
        reader_image_key(folder, &key) < 0)
        return image_state_words(IMAGE_UNREADABLE);
    if ((s = image_open(path, &key, &out->image)) != IMAGE_SERVES)
        return image_state_words(s);
    if (reader_image_take(out->image, &out->lex, &out->grammar)) {
        image_settle(out->image);
        return NULL;
    }
    image_close(out->image);
    out->image = NULL;
    return image_state_words(IMAGE_DAMAGED);
}

const char *reader_image_wrong(const char *folder, const char *image)
{
    struct reader_tables t;
    const char *wrong = reader_image_open(folder, image, &t);

    reader_tables_release(&t);
    return wrong;
}

static int write_image(const struct reader_tables *t, const char *path,
                       const struct image_key *key)
{
    char *data;
    size_t len;
    int err;

    reader_image_build(key, t->lex, t->grammar, &data, &len);
    err = file_write_public(path, data, len);
    kw_free(data);
    return err;
}

int reader_image_make(const char *folder, const char *image,
                      struct fault_list *faults)
{
    char path[PATH_CAP];
    struct image_key before, after;
    struct reader_tables t = {0};
    int err = image_path(folder, image, path);

    fold_prepare();
    if (err == 0)
        err = reader_image_key(folder, &before);
    if (err == 0)
        err = lexicon_load(folder, faults, &t.lex);
    if (err == 0)
        err = grammar_load(folder, t.lex, faults, &t.grammar);
    if (err == 0)
        err = reader_image_key(folder, &after);
    if (err == 0 && before.files != after.files)
        err = KW_EAGAIN; /* someone is writing */
    if (err == 0)
        err = write_image(&t, path, &before);
    reader_tables_release(&t);
    return err;
}

void reader_tables_release(struct reader_tables *t)
{
    grammar_free(t->grammar);
    lexicon_free(t->lex);
    image_close(t->image);
    *t = (struct reader_tables){0};
}
