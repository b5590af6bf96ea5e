/* reply.c - the languages, and the writing of replies into their room. */
#include "desk/reply.h"

#include "base/file.h"
#include "base/septet.h"
#include "desk/keys.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <utf8proc.h>

#define SUFFIX ".replies"

static int compare_names(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

/* The tags that have a file, sorted. Freed by the caller. */
static int list_tags(const char *folder, char ***out, size_t *n)
{
    DIR *dir = opendir(folder);
    struct dirent *e;
    size_t cap = 0;

    *out = NULL;
    *n = 0;
    if (dir == NULL)
        return KW_EIO;
    while ((e = readdir(dir)) != NULL) {
        size_t len = strlen(e->d_name), tail = strlen(SUFFIX);

        if (len <= tail || e->d_name[0] == '.' ||
            strcmp(e->d_name + len - tail, SUFFIX) != 0)
            continue;
        kw_grow(out, &cap, *n + 1, sizeof(**out));
        (*out)[(*n)++] = kw_strndup(e->d_name, len - tail);
    }
    closedir(dir);
    if (*n > 0)
        qsort(*out, *n, sizeof(**out), compare_names);
    return 0;
}

static void read_tag(struct replies *r, const char *folder, const char *tag,
                     struct fault_list *faults)
{
    char name[64], path[4096];

    snprintf(name, sizeof(name), "%.40s" SUFFIX, tag);
    if (file_join(path, sizeof(path), folder, name) < 0)
        return;
    if (strlen(tag) >= READER_LANG_CAP) {
        fault_add(faults, path, 0,
                  "the file's name is no language tag; it is as short as "
                  "'es' or 'pt-BR'");
        return;
    }
    kw_grow(&r->langs, &r->cap, r->n + 1, sizeof(*r->langs));
    reply_file_read(path, tag, faults, &r->langs[r->n++]);
}

int replies_open(const char *folder, struct fault_list *faults,
                 struct replies **out)
{
    struct replies *r;
    char **tags;
    size_t n, before = faults->n + faults->dropped;

    *out = NULL;
    if (list_tags(folder, &tags, &n) < 0) {
        fault_add(faults, folder, 0,
                  "the grammar folder cannot be read; set grammar.folder in "
                  "the configuration");
        return KW_EIO;
    }
    r = kw_calloc(1, sizeof(*r));
    for (size_t i = 0; i < n; i++) {
        read_tag(r, folder, tags[i], faults);
        kw_free(tags[i]);
    }
    kw_free(tags);
    if (r->n == 0)
        fault_add(faults, folder, 0,
                  "there is no file of replies here; there must be one such "
                  "as en.replies");
    if (faults->n + faults->dropped > before) {
        replies_close(r);
        return KW_ESYNTAX;
    }
    *out = r;
    return 0;
}

void replies_close(struct replies *r)
{
    if (r == NULL)
        return;
    for (size_t i = 0; i < r->n; i++)
        reply_lang_release(&r->langs[i]);
    kw_free(r->langs);
    kw_free(r);
}

static const struct reply_lang *find(const struct replies *r, const char *tag,
                                     size_t len)
{
    for (size_t i = 0; i < r->n; i++) {
        if (strlen(r->langs[i].tag) == len &&
            memcmp(r->langs[i].tag, tag, len) == 0)
            return &r->langs[i];
    }
    return NULL;
}

/* The tag itself, else its first subtag, else NULL. */
static const struct reply_lang *find_near(const struct replies *r,
                                          const char *tag)
{
    const struct reply_lang *lang;

    if (tag == NULL || tag[0] == '\0')
        return NULL;
    lang = find(r, tag, strlen(tag));
    return lang != NULL ? lang : find(r, tag, strcspn(tag, "-_"));
}

const struct reply_lang *reply_lang_find(const struct replies *r,
                                         const char *tag)
{
    const struct reply_lang *lang = find_near(r, tag);

    return lang != NULL ? lang : &r->langs[0];
}

bool replies_has_lang(const struct replies *r, const char *lang)
{
    return find_near(r, lang) != NULL;
}

size_t replies_langs(const struct replies *r)
{
    return r->n;
}

const char *replies_tag(const struct replies *r, size_t i)
{
    return r->langs[i].tag;
}

const char *replies_name(const struct replies *r, size_t i)
{
    return r->langs[i].name;
}

bool replies_draft(const struct replies *r, size_t i)
{
    return r->langs[i].draft;
}

const char *replies_signed(const struct replies *r, size_t i)
{
    return r->langs[i].signed_by;
}

size_t replies_keys(void)
{
    return n_key_defs;
}

const char *replies_key(size_t i)
{
    return key_defs[i].name;
}

/* ---- rendering ---- */

/* The character written with the letters of the GSM alphabet, or "?". */
static size_t put_plain(utf8proc_int32_t cp, char dst[8])
{
    utf8proc_int32_t parts[8];
    utf8proc_ssize_t n = utf8proc_decompose_char(
        cp, parts, KW_COUNT(parts),
        UTF8PROC_DECOMPOSE | UTF8PROC_COMPAT | UTF8PROC_STRIPMARK, NULL);

    if (n >= 1 && parts[0] >= 0x20 && septet_cost((uint32_t)parts[0]) > 0) {
        utf8proc_ssize_t k =
            utf8proc_encode_char(parts[0], (utf8proc_uint8_t *)dst);

        dst[k] = '\0';
        return (size_t)septet_cost((uint32_t)parts[0]);
    }
    memcpy(dst, "?", 2);
    return 1;
}

static size_t unit_cost(const struct reply_lang *lang, utf8proc_int32_t cp)
{
    if (lang->ucs2)
        return cp > 0xffff ? 2 : 1;
    return (size_t)septet_cost((uint32_t)cp);
}

/* At most room units of a value, in the language's alphabet. */
static void put_value(const struct reply_lang *lang, const char *value,
                      size_t room, struct kw_buf *out)
{
    const utf8proc_uint8_t *at = (const utf8proc_uint8_t *)value;
    size_t left = strlen(value), used = 0;

    while (left > 0) {
        utf8proc_int32_t cp;
        utf8proc_ssize_t n = utf8proc_iterate(at, (utf8proc_ssize_t)left, &cp);
        char c[8] = "?";
        size_t cost;

        if (n <= 0)
            n = 1, cp = '?';
        at += n;
        left -= (size_t)n;
        if (cp < 0x20 || cp == 0x7f)
            cp = ' ';
        cost = unit_cost(lang, cp);
        if (cost > 0)
            c[utf8proc_encode_char(cp, (utf8proc_uint8_t *)c)] = '\0';
        else
            cost = put_plain(cp, c);
        if (used + cost > room)
            return;
        used += cost;
        kw_buf_puts(out, c);
    }
}

/* The longest value, for the proof. */
static void put_longest(const struct reply_lang *lang,
                        const struct slot_def *def, struct kw_buf *out)
{
    const char *one = lang->ucs2 ? "\xe0\xa4\x95" : "W";
    size_t len = lang->ucs2 ? 3 : 1;

    for (size_t i = 0; i < def->longest; i++)
        kw_buf_put(out, one, len);
}

static int64_t clamp_digits(int64_t v, size_t digits)
{
    int64_t most = 1;

    while (digits-- > 0)
        most *= 10;
    if (v < 0)
        return 0;
    return v >= most ? most - 1 : v;
}

/* "1.2", "0.45", "12.3", "1234": within five characters. */
static void format_real(double v, char dst[16])
{
    if (!isfinite(v) || v < 0)
        v = 0;
    if (v >= 99999)
        v = 99999;
    snprintf(dst, 16,
             v < 0.995 && v > 0 ? "%.2f"
             : v < 99.95        ? "%.1f"
                                : "%.0f",
             v);
}

static void put_slot(const struct reply_lang *lang, enum slot_id id,
                     const struct reply_slots *slots, struct kw_buf *out)
{
    const struct slot_def *def = &slot_defs[id];
    const char *at = (const char *)slots + def->offset;
    char text[24];

    switch (def->type) {
    case SLOT_TEXT: {
        const char *value = *(const char *const *)(const void *)at;

        put_value(lang, value != NULL ? value : "?", def->longest, out);
        break;
    }
    case SLOT_REAL:
        format_real(*(const double *)(const void *)at, text);
        kw_buf_puts(out, text);
        break;
    default: {
        int64_t v = def->type == SLOT_INT ? *(const int *)(const void *)at
                                          : *(const int64_t *)(const void *)at;

        snprintf(text, sizeof(text), "%lld",
                 (long long)clamp_digits(v, def->longest));
        kw_buf_puts(out, text);
    }
    }
}

static int slot_named(const char *name, size_t len)
{
    for (int i = 0; i < SLOTS; i++) {
        if (strlen(slot_defs[i].name) == len &&
            memcmp(slot_defs[i].name, name, len) == 0)
            return i;
    }
    return -1;
}

void reply_render(const struct reply_lang *lang, const char *text,
                  const struct reply_slots *slots, struct kw_buf *out)
{
    while (*text != '\0') {
        size_t plain = strcspn(text, "{"), name;
        int slot;

        kw_buf_put(out, text, plain);
        text += plain;
        if (*text == '\0')
            return;
        name = strcspn(text + 1, "}");
        slot = text[1 + name] == '}' ? slot_named(text + 1, name) : -1;
        if (slot < 0) { /* a fault has told */
            kw_buf_putc(out, *text++);
            continue;
        }
        if (slots == NULL)
            put_longest(lang, &slot_defs[slot], out);
        else
            put_slot(lang, (enum slot_id)slot, slots, out);
        text += 2 + name;
    }
}

/* The clinic as the configuration calls it, when it fits its slot. */
static const char *clinic_or_word(const struct reply_lang *lang,
                                  const char *clinic)
{
    size_t room = slot_defs[SLOT_CLINIC].longest;

    if (clinic == NULL || clinic[0] == '\0' ||
        reply_units(lang, clinic, strlen(clinic)) > room)
        return lang->texts[key_find("word-clinic", 11)];
    return clinic;
}

static int write_lang(const struct reply_lang *lang, const char *key,
                      const struct reply_slots *slots, struct kw_buf *out)
{
    int k = key_find(key, strlen(key));
    struct reply_slots filled =
        slots != NULL ? *slots : (struct reply_slots){0};

    if (k < 0)
        return KW_ENOENT;
    filled.clinic = clinic_or_word(lang, filled.clinic);
    reply_render(lang, lang->texts[k], &filled, out);
    return out->err;
}

int reply_write(const struct replies *r, const char *lang, const char *key,
                const struct reply_slots *slots, struct kw_buf *out)
{
    return write_lang(reply_lang_find(r, lang), key, slots, out);
}

bool reply_fits(const struct replies *r, const char *lang, const char *text,
                size_t len)
{
    const struct reply_lang *l = reply_lang_find(r, lang);

    return reply_units(l, text, len) <= reply_room(l, ROOM_REPLY);
}

/* Whether a full stop, or the like of it, stands at the end. */
static bool ends_sentence(const struct kw_buf *b)
{
    static const char *const ends[] = {".", "!", "?", "\xe0\xa5\xa4"};

    for (size_t i = 0; i < KW_COUNT(ends); i++) {
        size_t n = strlen(ends[i]);

        if (b->len >= n && memcmp(b->data + b->len - n, ends[i], n) == 0)
            return true;
    }
    return false;
}

int reply_add(const struct replies *r, const char *lang, const char *key,
              const struct reply_slots *slots, struct kw_buf *out)
{
    struct kw_buf both;
    int err;

    kw_buf_init(&both, out->cap);
    kw_buf_put(&both, kw_buf_text(out), out->len);
    if (out->len > 0)
        kw_buf_puts(&both, ends_sentence(out) ? " " : ". ");
    err = reply_write(r, lang, key, slots, &both);
    if (err == 0 && !reply_fits(r, lang, kw_buf_text(&both), both.len))
        err = KW_EFULL;
    if (err == 0) {
        kw_buf_clear(out);
        kw_buf_put(out, kw_buf_text(&both), both.len);
    }
    kw_buf_release(&both);
    return err;
}

/* ---- lists of words ---- */

/* Adds a word behind a comma unless it was there or the room is over. */
static void list_word(const struct reply_lang *lang, const char *key,
                      size_t room, struct kw_buf *out)
{
    int k = key_find(key, strlen(key));
    const char *word = k >= 0 ? lang->texts[k] : key;

    if (out->len > 0 && strstr(kw_buf_text(out), word) != NULL)
        return;
    if (reply_units(lang, kw_buf_text(out), out->len) + 2 +
            reply_units(lang, word, strlen(word)) >
        room)
        return;
    if (out->len > 0)
        kw_buf_puts(out, ", ");
    kw_buf_puts(out, word);
}

void reply_signs(const struct replies *r, const char *lang, unsigned signs,
                 struct kw_buf *out)
{
    const struct reply_lang *l = reply_lang_find(r, lang);

    for (unsigned i = 0; i < READER_SIGNS; i++) {
        char key[32];

        if (!(signs & (1u << i)))
            continue;
        snprintf(key, sizeof(key), "sign-%s", reader_sign_name(1u << i));
        list_word(l, key, slot_defs[SLOT_SIGNS].longest, out);
    }
}

void reply_kinds(const struct replies *r, const char *lang,
                 const struct reader_obs *obs, size_t n, struct kw_buf *out)
{
    const struct reply_lang *l = reply_lang_find(r, lang);

    for (size_t i = 0; i < n; i++) {
        char key[32];

        if (obs[i].kind == READER_PART && obs[i].part != READER_NO_PART)
            snprintf(key, sizeof(key), "part-%s",
                     reader_part_name(obs[i].part));
        else
            snprintf(key, sizeof(key), "kind-%s",
                     reader_kind_name(obs[i].kind));
        list_word(l, key, slot_defs[SLOT_WORDS].longest, out);
    }
}
