#ifndef KW_FILE_H
#define KW_FILE_H
/* file.h - whole files in, and lines of them. */
#include "base/kw.h"

/*
 * Reads a whole file of at most cap octets. *data is NUL-terminated and the
 * caller's to kw_free. Returns 0, KW_ENOENT, KW_EIO (errno tells) or KW_EFULL.
 */
int file_read(const char *path, size_t cap, char **data, size_t *len);

/*
 * Writes the file so that it is either whole or not there: a new file beside
 * it, synced, renamed over it, the folder synced. 0 or KW_EIO (errno tells).
 */
int file_write_whole(const char *path, const char *data, size_t len);
/* The same, for what anyone may read. */
int file_write_public(const char *path, const char *data, size_t len);

/* "folder/name" in dst; KW_EFULL when it does not fit. */
int file_join(char *dst, size_t cap, const char *folder, const char *name);
#endif
