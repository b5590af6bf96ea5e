/*
 * header.c - the first octets of a ledger's file.
 * Source: sqlite.org/fileformat2.html, 1.3.
 */
#include "ledger/header.h"

#include "ledger/engine.h"

#include <errno.h>
#include <string.h>
#include <sys/stat.h>

#define HEADER_OCTETS 100

static uint32_t u32_at(const unsigned char *p)
{
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 |
           p[3];
}

/*
 * The first octets, read through SQLite's own files and never by open():
 * closing any descriptor of a file drops every lock that this process has on
 * it, and another process that ends then takes itself for the last and
 * removes the log we write to. sqlite.org/howtocorrupt.html, 2.2.
 */
static int read_head(const char *file, unsigned char head[HEADER_OCTETS],
                     sqlite3_int64 *size)
{
    sqlite3_vfs *vfs = sqlite3_vfs_find(NULL);
    sqlite3_file *f = kw_calloc(1, (size_t)vfs->szOsFile);
    char *full = kw_malloc((size_t)vfs->mxPathname + 1);
    const char *name = NULL;
    int rc = vfs->xFullPathname(vfs, file, vfs->mxPathname + 1, full);

    if (rc == SQLITE_OK || rc == SQLITE_OK_SYMLINK)
        name = sqlite3_create_filename(full, "", "", 0, NULL);
    rc = name == NULL
             ? SQLITE_CANTOPEN
             : vfs->xOpen(vfs, name, f,
                          SQLITE_OPEN_READONLY | SQLITE_OPEN_MAIN_DB, NULL);
    if (rc == SQLITE_OK)
        rc = f->pMethods->xFileSize(f, size);
    if (rc == SQLITE_OK && *size >= HEADER_OCTETS)
        rc = f->pMethods->xRead(f, head, HEADER_OCTETS, 0);
    if (f->pMethods != NULL)
        f->pMethods->xClose(f);
    if (name != NULL)
        sqlite3_free_filename((char *)name);
    kw_free(full);
    kw_free(f);
    return rc == SQLITE_OK ? 0 : KW_EIO;
}

int header_read(const char *file, struct header *h)
{
    unsigned char head[HEADER_OCTETS];
    sqlite3_int64 size = 0;
    struct stat st;

    *h = (struct header){.looks = LOOKS_ABSENT};
    if (stat(file, &st) < 0)
        return errno == ENOENT ? 0 : KW_EIO;
    h->looks = LOOKS_FOREIGN;
    if (!S_ISREG(st.st_mode))
        return 0;
    if (read_head(file, head, &size) < 0)
        return KW_EIO;
    if (size == 0)
        h->looks = LOOKS_EMPTY;
    if (size >= HEADER_OCTETS && memcmp(head, "SQLite format 3", 16) == 0 &&
        u32_at(head + 68) == ENGINE_APPLICATION_ID) {
        h->looks = LOOKS_LEDGER;
        h->version = u32_at(head + 60);
    }
    return 0;
}
