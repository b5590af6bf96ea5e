#include "base/file.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define WRITE_MOST ((size_t)64 << 10)

/* What may be read at once: the whole of a file that tells its size. */
static size_t step_of(int fd, size_t cap)
{
    struct stat st;

    if (fstat(fd, &st) < 0 || !S_ISREG(st.st_mode) || st.st_size <= 0 ||
        (uintmax_t)st.st_size > cap)
        return 4096;
    return (size_t)st.st_size + 1; /* and sees that nothing follows */
}

int file_read(const char *path, size_t cap, char **data, size_t *len)
{
    size_t room = 0, n = 0, step;
    char *text = NULL;
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY);
    int err = 0;

    if (fd < 0)
        return errno == ENOENT ? KW_ENOENT : KW_EIO;
    step = step_of(fd, cap);
    for (;;) {
        ssize_t got;

        kw_grow(&text, &room, n + step + 1, 1);
        got = read(fd, text + n, step);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            err = KW_EIO;
        if (got <= 0)
            break;
        n += (size_t)got;
        if (n > cap) {
            err = KW_EFULL;
            break;
        }
        step = 4096;
    }
    close(fd);
    if (err != 0) {
        kw_free(text);
        return err;
    }
    text[n] = '\0';
    *data = text;
    *len = n;
    return 0;
}

static int sync_folder(const char *path)
{
    char copy[4096];
    int fd, err;

    if (kw_copy(copy, sizeof(copy), path, strlen(path)) < 0)
        return KW_EIO;
    fd = open(dirname(copy), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return KW_EIO;
    err = fsync(fd) < 0 ? KW_EIO : 0;
    close(fd);
    return err;
}

/*
 * In pieces: what is written at once may be kept in memory as one, and mapped
 * as one at the first touch of it.
 */
static int write_all(int fd, const char *data, size_t len)
{
    while (len > 0) {
        ssize_t n = write(fd, data, len < WRITE_MOST ? len : WRITE_MOST);

        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return KW_EIO;
        data += n;
        len -= (size_t)n;
    }
    return 0;
}

static int write_whole(const char *path, const char *data, size_t len,
                       mode_t mode)
{
    char beside[4096];
    int fd, err, saved;

    if (snprintf(beside, sizeof(beside), "%s.new", path) >=
        (int)sizeof(beside)) {
        errno = ENAMETOOLONG;
        return KW_EIO;
    }
    fd = open(beside, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, mode);
    if (fd < 0)
        return KW_EIO;
    err = write_all(fd, data, len);
    if (err == 0 && fsync(fd) < 0)
        err = KW_EIO;
    saved = errno;
    close(fd);
    if (err == 0 && rename(beside, path) < 0) {
        saved = errno;
        err = KW_EIO;
    }
    if (err != 0) {
        unlink(beside);
        errno = saved;
        return err;
    }
    return sync_folder(path);
}

int file_write_whole(const char *path, const char *data, size_t len)
{
    return write_whole(path, data, len, 0640);
}

int file_write_public(const char *path, const char *data, size_t len)
{
    return write_whole(path, data, len, 0644);
}

int file_join(char *dst, size_t cap, const char *folder, const char *name)
{
    int n = snprintf(dst, cap, "%s/%s", folder, name);

    return n < 0 || (size_t)n >= cap ? KW_EFULL : 0;
}
