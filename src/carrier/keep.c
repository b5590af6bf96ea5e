/*
 * keep.c - records: octets that follow (4), check sum over them (4), then the
 * kind 'P' (a part) or 'D' (a ref that is done) and its fields.
 */
#include "carrier/keep.h"
#include "base/cur.h"
#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define FILE_MOST   (64 * 1024 * 1024)
#define ANEW_OCTETS (4 * 1024 * 1024) /* then only what is unfinished stays */
#define RECORD_MOST (CONCAT_PART_CAP + 4 * CONCAT_NAME_CAP)

struct keep {
    char *path;
    int fd;
    off_t size; /* of whole records */
    bool torn;  /* a write failed: cut back before the next */
    bool dirty;
};

/* FNV-1a, 32 bits: finds a torn record. */
static uint32_t sum_of(const void *data, size_t len)
{
    const uint8_t *p = data;
    uint32_t sum = 2166136261u;

    for (size_t i = 0; i < len; i++)
        sum = (sum ^ p[i]) * 16777619u;
    return sum;
}

static void put_number(struct kw_buf *b, uint64_t v, int octets)
{
    for (int shift = 8 * (octets - 1); shift >= 0; shift -= 8)
        kw_buf_putc(b, (char)(uint8_t)(v >> shift));
}

static void put_text(struct kw_buf *b, const char *s, size_t len)
{
    put_number(b, len, 2);
    kw_buf_put(b, s, len);
}

/* A cut of what a failed write left. */
static int cut_back(struct keep *k)
{
    if (ftruncate(k->fd, k->size) < 0 || lseek(k->fd, k->size, SEEK_SET) < 0)
        return KW_EIO;
    k->torn = false;
    return 0;
}

static int append(struct keep *k, const struct kw_buf *body)
{
    struct kw_buf record;
    ssize_t wrote;

    if (body->err != 0)
        return body->err;
    if (k->torn && cut_back(k) < 0)
        return KW_EIO;
    kw_buf_init(&record, RECORD_MOST + 8);
    put_number(&record, body->len, 4);
    put_number(&record, sum_of(body->data, body->len), 4);
    kw_buf_put(&record, body->data, body->len);
    wrote = write(k->fd, record.data, record.len);
    if (wrote != (ssize_t)record.len)
        k->torn = true;
    else
        k->size += wrote;
    kw_buf_release(&record);
    k->dirty = true;
    return k->torn ? KW_EIO : 0;
}

int keep_part(struct keep *k, const struct concat_part *p)
{
    struct kw_buf b;
    int err;

    kw_buf_init(&b, RECORD_MOST);
    kw_buf_putc(&b, 'P');
    put_number(&b, p->ref, 2);
    put_number(&b, p->wide, 1);
    put_number(&b, p->total, 1);
    put_number(&b, p->seq, 1);
    put_number(&b, (uint64_t)p->at_s, 8);
    put_text(&b, p->from, strlen(p->from));
    put_text(&b, p->to, strlen(p->to));
    put_text(&b, p->text, p->len);
    err = append(k, &b);
    kw_buf_release(&b);
    return err;
}

int keep_sync(struct keep *k)
{
    if (k->torn)
        return KW_EIO;
    if (k->dirty && fdatasync(k->fd) < 0)
        return KW_EIO;
    k->dirty = false;
    return 0;
}

static void put_each(void *arg, const struct concat_part *p)
{
    keep_part(arg, p);
}

/* A new file with what is unfinished, in place of the long one. */
static void write_anew(struct keep *k, struct concat *c)
{
    struct keep next = {.fd = -1};
    char path[4096];

    if (snprintf(path, sizeof(path), "%s.new", k->path) >= (int)sizeof(path))
        return;
    next.fd = open(path, O_RDWR | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    if (next.fd < 0)
        return; /* the long one still serves */
    concat_each(c, put_each, &next);
    if (keep_sync(&next) < 0 || rename(path, k->path) < 0) {
        close(next.fd);
        unlink(path);
        return;
    }
    close(k->fd);
    k->fd = next.fd;
    k->size = next.size;
    k->torn = k->dirty = false;
}

void keep_done(struct keep *k, const char *ref, struct concat *c, bool alone)
{
    struct kw_buf b;

    if (alone && concat_texts(c) == 0) {
        k->size = 0;
        k->torn = true; /* cut to nothing before the next record */
        if (cut_back(k) == 0)
            return;
    }
    kw_buf_init(&b, RECORD_MOST);
    kw_buf_putc(&b, 'D');
    put_text(&b, ref, strlen(ref));
    append(k, &b); /* without it the ledger knows the repeat */
    kw_buf_release(&b);
    if (alone && k->size > ANEW_OCTETS)
        write_anew(k, c);
}

void keep_ref(const struct concat_text *t, char ref[KEEP_REF_CAP])
{
    uint32_t who = sum_of(t->from, strlen(t->from));

    who = who * 31 + sum_of(t->to, strlen(t->to));
    snprintf(ref, KEEP_REF_CAP, "long-%08x-%08x-%u.%u-%lld", (unsigned)who,
             (unsigned)t->sum, t->ref, t->total, (long long)t->at_s);
}

/* ---- reading it again ---- */

struct reading {
    struct keep *keep;
    struct concat *parts;
    const struct keep_found *found;
    char **done;
    size_t n_done, cap_done;
};

static char *get_text(struct kw_cur *c, size_t *len)
{
    size_t n = kw_cur_u16(c);
    const uint8_t *s = kw_cur_octets(c, n);

    *len = s != NULL ? n : 0;
    return kw_strndup(s != NULL ? (const char *)s : "", *len);
}

static bool was_done(const struct reading *r, const char *ref)
{
    for (size_t i = 0; i < r->n_done; i++) {
        if (strcmp(r->done[i], ref) == 0)
            return true;
    }
    return false;
}

/* Those that had come out by then. */
static void give_whole(struct reading *r, int64_t at_s)
{
    struct concat_text t;
    char ref[KEEP_REF_CAP];

    while (concat_next(r->parts, at_s, &t)) {
        keep_ref(&t, ref);
        if (was_done(r, ref))
            concat_text_release(&t);
        else
            r->found->found(r->found->arg, &t);
    }
}

static void read_part(struct reading *r, struct kw_cur *c)
{
    struct concat_part p = {.ref = kw_cur_u16(c)};
    char *from, *to, *text;
    uint64_t at;
    size_t n;

    p.wide = kw_cur_u8(c) != 0;
    p.total = kw_cur_u8(c);
    p.seq = kw_cur_u8(c);
    at = (uint64_t)kw_cur_u32(c) << 32;
    p.at_s = (int64_t)(at | kw_cur_u32(c));
    p.from = from = get_text(c, &n);
    p.to = to = get_text(c, &n);
    p.text = text = get_text(c, &p.len);
    if (c->err == 0)
        concat_put(r->parts, &p);
    give_whole(r, p.at_s);
    kw_free(from);
    kw_free(to);
    kw_free(text);
}

static void read_done(struct reading *r, struct kw_cur *c)
{
    size_t n;

    kw_grow(&r->done, &r->cap_done, r->n_done + 1, sizeof(*r->done));
    r->done[r->n_done++] = get_text(c, &n);
}

/* Every whole record of that kind. */
static void read_kind(struct reading *r, const char *data, size_t len,
                      uint8_t kind)
{
    struct kw_cur c, body;

    kw_cur_init(&c, data, len);
    while (kw_cur_left(&c) > 0) {
        size_t n = kw_cur_u32(&c);
        uint32_t sum = kw_cur_u32(&c);
        const uint8_t *octets = kw_cur_octets(&c, n);

        if (octets == NULL || sum_of(octets, n) != sum)
            break; /* torn; it was not acknowledged */
        r->keep->size = (off_t)c.at;
        kw_cur_init(&body, octets, n);
        if (kw_cur_u8(&body) != kind)
            continue;
        if (kind == 'P')
            read_part(r, &body);
        else
            read_done(r, &body);
    }
}

static int refuse(struct keep *k, const char *path, char **why)
{
    char text[512];

    snprintf(text, sizeof(text),
             "the file for parts of long texts '%.200s' cannot be opened: %s",
             path, strerror(errno));
    *why = kw_strdup(text);
    keep_close(k);
    return KW_EIO;
}

int keep_open(const char *path, struct concat *c, const struct keep_found *f,
              struct keep **out, char **why)
{
    struct keep *k = kw_calloc(1, sizeof(*k));
    struct reading r = {.keep = k, .parts = c, .found = f};
    char *data = NULL;
    size_t len = 0;
    int err = file_read(path, FILE_MOST, &data, &len);

    *out = NULL;
    k->path = kw_strdup(path);
    k->fd = err == 0 || err == KW_ENOENT
                ? open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600)
                : -1;
    if (k->fd < 0)
        return refuse(k, path, why);
    read_kind(&r, data, len, 'D');
    read_kind(&r, data, len, 'P');
    for (size_t i = 0; i < r.n_done; i++)
        kw_free(r.done[i]);
    kw_free(r.done);
    kw_free(data);
    if (cut_back(k) < 0)
        return refuse(k, path, why);
    *out = k;
    return 0;
}

void keep_close(struct keep *k)
{
    if (k == NULL)
        return;
    if (k->fd >= 0)
        close(k->fd);
    kw_free(k->path);
    kw_free(k);
}
