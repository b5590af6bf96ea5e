/*
 * spool.c - a folder as a carrier. A file NAME.txt that appears in the
 * folder `in` is one text (spool_text.h says how it is written); NAME is the
 * carrier's own id of it. Who writes it writes under another name and
 * renames when it is whole. It is removed only after the commit; what cannot
 * be read as a text goes to in/refused with a NAME.why beside it. Each
 * reply is a file ID.txt in the folder `out`, whole or not there.
 *
 * A file is at rest, or in the writer (then it stands in `takings`), or gone.
 * At most SPOOL_AT_ONCE are in the writer; the rest wait their turn.
 */
#include "carrier/carrier.h"

#include "base/clock.h"
#include "base/file.h"
#include "base/log.h"
#include "carrier/spool_text.h"

#include <dirent.h>
#include <errno.h>
#include <event2/event.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/inotify.h>
#include <sys/stat.h>
#include <unistd.h>

#define SPOOL_AT_ONCE  32
#define SPOOL_FILE_CAP 65536 /* octets of a file, headers and all */
#define PATH_CAP       4096

struct spool;

struct spool_taking {
    struct spool *spool;
    char *name; /* of the file; NULL: free */
    char *ref, *data;
    struct spool_text text;
    struct carrier_taking taking;
};

struct spool {
    struct carrier carrier;
    struct carrier_host *host;
    const struct config_spool *conf;
    struct event *poll, *changed, *again;
    int watch; /* inotify, -1 none */
    bool more; /* the last look ended before the folder did */
    bool quiet;
    int in_writer;
    struct spool_taking takings[SPOOL_AT_ONCE];
};

static void look(struct carrier *carrier);

/* ---- texts in ---- */

static void move_aside(struct spool *s, const char *name, const char *reason)
{
    char from[PATH_CAP], to[PATH_CAP], why[PATH_CAP + 8];

    if (file_join(from, sizeof(from), s->conf->in, name) < 0 ||
        snprintf(to, sizeof(to), "%s/refused/%s", s->conf->in, name) >=
            (int)sizeof(to))
        return;
    snprintf(why, sizeof(why), "%s/refused", s->conf->in);
    if (mkdir(why, 0770) < 0 && errno != EEXIST) {
        log_error("cannot make '%s': %s", why, strerror(errno));
        return;
    }
    snprintf(why, sizeof(why), "%s.why", to);
    if (rename(from, to) < 0) {
        log_error("cannot move '%s' to 'refused': %s", name, strerror(errno));
        return;
    }
    log_warn("refused spool file '%s': %s", name, reason);
    snprintf(from, sizeof(from), "%s\n", reason);
    if (file_write_whole(why, from, strlen(from)) < 0)
        log_error("cannot write '%s': %s", why, strerror(errno));
}

static void release(struct spool_taking *t)
{
    kw_free(t->name);
    kw_free(t->ref);
    kw_free(t->data);
    *t = (struct spool_taking){.spool = t->spool};
    t->spool->in_writer--;
}

static void look_again_soon(struct spool *s, int after_s)
{
    struct timeval after = {.tv_sec = after_s};

    evtimer_add(s->again, &after);
}

static void on_taken(struct carrier_taking *taking, int err)
{
    struct spool_taking *t = taking->carrier;
    struct spool *s = t->spool;
    char path[PATH_CAP];

    if (err == KW_EINVAL || err == KW_ERANGE) {
        move_aside(s, t->name,
                   "the text cannot be taken as it is; look at \"From\"");
        err = 0;
    } else if (err == 0 &&
               file_join(path, sizeof(path), s->conf->in, t->name) == 0 &&
               unlink(path) < 0 && errno != ENOENT) {
        log_error("cannot remove '%s', which has been taken: %s; it will be "
                  "known as a repeat",
                  t->name, strerror(errno));
        err = KW_EIO;
    }
    release(t);
    if (s->more && (err == 0 || s->in_writer == 0))
        look_again_soon(s, err == 0 ? 0 : 1);
}

/* The whole of an ordinary file, or why not. */
static const char *read_text_file(const char *path, char **data, size_t *len)
{
    struct stat st;
    int err;

    if (lstat(path, &st) < 0)
        return errno == ENOENT ? "" : strerror(errno);
    if (!S_ISREG(st.st_mode))
        return "it is not an ordinary file";
    err = file_read(path, SPOOL_FILE_CAP, data, len);
    if (err == KW_ENOENT)
        return "";
    if (err == KW_EFULL)
        return "it is longer than 65536 octets";
    return err < 0 ? strerror(errno) : NULL;
}

static int fill_taking(struct spool_taking *t, const char *name)
{
    struct desk_text *d = &t->taking.text;
    const char *wrong;
    char path[PATH_CAP];
    size_t len = 0;

    if (file_join(path, sizeof(path), t->spool->conf->in, name) < 0)
        return KW_EINVAL;
    wrong = read_text_file(path, &t->data, &len);
    if (wrong == NULL && spool_text_parse(t->data, len, &t->text, &wrong) == 0)
        wrong = NULL;
    if (wrong != NULL) {
        if (wrong[0] != '\0')
            move_aside(t->spool, name, wrong);
        return KW_EINVAL;
    }
    t->name = kw_strdup(name);
    t->ref = kw_strndup(name, strlen(name) - 4);
    *d = (struct desk_text){.carrier = t->spool->carrier.name,
                            .ref = t->ref,
                            .from = t->text.from,
                            .to = t->text.to[0] != '\0' ? t->text.to : NULL,
                            .text = t->text.text,
                            .len = t->text.len,
                            .at_s = clock_now_s(),
                            .sent_s = t->text.sent_s};
    t->taking.taken = on_taken;
    t->taking.carrier = t;
    return 0;
}

static struct spool_taking *free_taking(struct spool *s)
{
    for (size_t i = 0; i < SPOOL_AT_ONCE; i++) {
        if (s->takings[i].name == NULL)
            return &s->takings[i];
    }
    return NULL;
}

static bool in_writer(const struct spool *s, const char *name)
{
    for (size_t i = 0; i < SPOOL_AT_ONCE; i++) {
        if (s->takings[i].name != NULL && strcmp(s->takings[i].name, name) == 0)
            return true;
    }
    return false;
}

/* 0, or KW_EFULL: the writer takes no more just now. */
static int take_file(struct spool *s, const char *name)
{
    struct spool_taking *t = free_taking(s);
    int err;

    s->in_writer++;
    if (fill_taking(t, name) < 0) {
        release(t);
        return 0;
    }
    err = s->host->take(s->host, &t->taking);
    if (err < 0)
        release(t);
    return err;
}

static bool is_text_file(const char *name)
{
    size_t len = strlen(name);

    return name[0] != '.' && len > 4 && strcmp(name + len - 4, ".txt") == 0;
}

static void look(struct carrier *carrier)
{
    struct spool *s = (struct spool *)carrier;
    struct dirent *e;
    DIR *d;

    if (s->quiet)
        return;
    s->more = false;
    d = opendir(s->conf->in);
    if (d == NULL) {
        log_error("cannot look into the spool folder '%s': %s", s->conf->in,
                  strerror(errno));
        return;
    }
    while (!s->more && (e = readdir(d)) != NULL) {
        if (!is_text_file(e->d_name) || in_writer(s, e->d_name))
            continue;
        if (s->in_writer == SPOOL_AT_ONCE || take_file(s, e->d_name) < 0)
            s->more = true;
    }
    closedir(d);
    if (s->more && s->in_writer == 0)
        look_again_soon(s, 1);
}

static void on_look(evutil_socket_t fd, short what, void *arg)
{
    struct spool *s = arg;
    char events[4096];

    (void)what;
    if (fd >= 0 && fd == s->watch) {
        while (read(fd, events, sizeof(events)) > 0)
            ; /* that there were some is enough */
    }
    look(&s->carrier);
}

static bool is_busy(const struct carrier *carrier)
{
    const struct spool *s = (const struct spool *)carrier;

    return s->in_writer > 0 || s->more;
}

static void quiesce(struct carrier *carrier)
{
    struct spool *s = (struct spool *)carrier;

    s->quiet = true;
    s->more = false;
}

/* ---- texts out ---- */

static void send_text(struct carrier *carrier, const struct ledger_out *o)
{
    struct spool *s = (struct spool *)carrier;
    struct kw_buf b;
    char path[PATH_CAP];
    int err;

    kw_buf_init(&b, LEDGER_BODY_CAP + 512);
    kw_buf_printf(&b, "To: %s\n", o->to);
    if (s->host->conf->line_number != NULL &&
        s->host->conf->line_number[0] != '\0')
        kw_buf_printf(&b, "From: %.100s\n", s->host->conf->line_number);
    kw_buf_printf(&b, "Id: %lld\n\n%s\n", (long long)o->id, o->body);
    err = snprintf(path, sizeof(path), "%s/%lld.txt", s->conf->out,
                   (long long)o->id) < (int)sizeof(path)
              ? b.err
              : KW_EFULL;
    if (err == 0 && (err = file_write_whole(path, b.data, b.len)) < 0)
        log_error("cannot write '%s': %s", path, strerror(errno));
    kw_buf_release(&b);
    s->host->settle(s->host, o->id, err == 0 ? LEDGER_SENT : LEDGER_WAITING, 0,
                    err == 0 ? "written" : "cannot be written");
}

/* ---- opening and closing ---- */

/* The folders above, as far as they are missing. */
static int make_parents(const char *path)
{
    char above[PATH_CAP];

    for (const char *p = strchr(path + 1, '/'); p != NULL;
         p = strchr(p + 1, '/')) {
        if (kw_copy(above, sizeof(above), path, (size_t)(p - path)) < 0) {
            errno = ENAMETOOLONG;
            return KW_EFULL;
        }
        if (mkdir(above, 0770) < 0 && errno != EEXIST)
            return KW_EIO;
    }
    return 0;
}

static int make_folder(const char *path, const char *name, char **why)
{
    char text[512];

    if (make_parents(path) == 0 &&
        (mkdir(path, 0770) == 0 || errno == EEXIST)) {
        if (access(path, R_OK | W_OK | X_OK) == 0)
            return 0;
    }
    snprintf(text, sizeof(text),
             "carrier '%.64s': the folder '%.200s' cannot be used: %s; make "
             "it, or give it to the user that runs the line",
             name, path, strerror(errno));
    *why = kw_strdup(text);
    return KW_EIO;
}

static void watch_folder(struct spool *s)
{
    s->watch = inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
    if (s->watch < 0)
        return;
    if (inotify_add_watch(s->watch, s->conf->in, IN_MOVED_TO | IN_CLOSE_WRITE) <
        0) {
        close(s->watch);
        s->watch = -1;
        return;
    }
    s->changed =
        event_new(s->host->base, s->watch, EV_READ | EV_PERSIST, on_look, s);
    event_add(s->changed, NULL);
}

static void close_spool(struct carrier *carrier)
{
    struct spool *s = (struct spool *)carrier;

    event_free(s->poll);
    event_free(s->again);
    if (s->changed != NULL)
        event_free(s->changed);
    if (s->watch >= 0)
        close(s->watch);
    for (size_t i = 0; i < SPOOL_AT_ONCE; i++) {
        if (s->takings[i].name != NULL)
            release(&s->takings[i]);
    }
    kw_free(s);
}

int spool_open(struct carrier_host *h, const struct config_carrier *conf,
               struct carrier **out, char **why)
{
    struct timeval every = {
        .tv_sec = conf->spool.poll_s > 0 ? conf->spool.poll_s : 2};
    struct timeval now = {0};
    struct spool *s;
    int err;

    if ((err = make_folder(conf->spool.in, conf->name, why)) < 0 ||
        (err = make_folder(conf->spool.out, conf->name, why)) < 0)
        return err;
    s = kw_calloc(1, sizeof(*s));
    s->carrier = (struct carrier){.name = conf->name,
                                  .repeat_safe = true, /* the same file */
                                  .room = SPOOL_AT_ONCE,
                                  .send = send_text,
                                  .look = look,
                                  .busy = is_busy,
                                  .quiesce = quiesce,
                                  .close = close_spool};
    s->host = h;
    s->conf = &conf->spool;
    for (size_t i = 0; i < SPOOL_AT_ONCE; i++)
        s->takings[i].spool = s;
    s->poll = event_new(h->base, -1, EV_PERSIST, on_look, s);
    s->again = evtimer_new(h->base, on_look, s);
    evtimer_add(s->poll, &every);
    evtimer_add(s->again, &now);
    watch_folder(s);
    *out = &s->carrier;
    return 0;
}
