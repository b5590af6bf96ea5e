/* copy.c - the file of a backup: made beside, named when it is sound. */
#include "ledger/engine.h"

#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

/* Gives the copy its name once it is on the disk. */
static int name_it(const char *beside, struct ledger_backup *b, char **why)
{
    unsigned flags = b->replace ? 0 : RENAME_NOREPLACE;
    int fd = open(beside, O_RDONLY | O_CLOEXEC), err = 0;
    char folder[4096];

    if (fd < 0 || fsync(fd) < 0)
        err = engine_tell(why, KW_EIO, "cannot write '%s': %s", beside,
                          strerror(errno));
    if (fd >= 0) {
        b->octets = (int64_t)lseek(fd, 0, SEEK_END);
        close(fd);
    }
    if (err == 0 && renameat2(AT_FDCWD, beside, AT_FDCWD, b->file, flags) < 0)
        err = engine_tell(why, errno == EEXIST ? KW_EDUP : KW_EIO,
                          "cannot name the copy '%s': %s", b->file,
                          strerror(errno));
    if (err < 0)
        return err;
    snprintf(folder, sizeof(folder), "%s", b->file);
    fd = open(dirname(folder), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd >= 0) {
        fsync(fd);
        close(fd);
    }
    return 0;
}

static bool same_file(const char *a, const char *b)
{
    struct stat x, y;

    return stat(a, &x) == 0 && stat(b, &y) == 0 && x.st_dev == y.st_dev &&
           x.st_ino == y.st_ino;
}

int ledger_backup(struct ledger *lg, struct ledger_backup *b, char **why)
{
    char beside[4096];
    int fd, err;

    if (why != NULL)
        *why = NULL;
    if (same_file(lg->file, b->file))
        return engine_tell(why, KW_EINVAL,
                           "'%s' is the ledger itself; name another file",
                           b->file);
    if (!b->replace && access(b->file, F_OK) == 0)
        return engine_tell(why, KW_EDUP, "'%s' is there already", b->file);
    if (snprintf(beside, sizeof(beside), "%s.new", b->file) >=
        (int)sizeof(beside))
        return engine_tell(why, KW_EINVAL, "the name of the copy is too long");
    unlink(beside);
    fd = open(beside, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0640);
    if (fd < 0)
        return engine_tell(why, KW_EIO, "cannot make '%s': %s", beside,
                           strerror(errno));
    close(fd);
    err = engine_copy(lg, b, beside, why);
    if (err == 0)
        err = name_it(beside, b, why);
    if (err < 0)
        unlink(beside);
    return err;
}
