#ifndef KW_SPOOL_TEXT_H
#define KW_SPOOL_TEXT_H
/*
 * spool_text.h - the file that a text is in the spool folder. Pure.
 *
 *   From: +99970012345
 *   To: 7070
 *   Sent: 2026-03-01T08:00:00Z
 *
 *   021407319 c
 *
 * Header lines (names in any case, only From is needed, others are passed
 * over), a blank line, then the text: all octets to the end, but for one
 * line end at the very end. Line ends are LF or CR LF.
 */
#include "base/kw.h"

#define SPOOL_HEADER_CAP 128

struct spool_text {
    char from[SPOOL_HEADER_CAP], to[SPOOL_HEADER_CAP]; /* to "" none */
    int64_t sent_s;                                    /* 0 none */
    const char *text;                                  /* in the data */
    size_t len;
};
/* 0, or KW_ESYNTAX with *wrong a sentence, static. */
int spool_text_parse(const char *data, size_t len, struct spool_text *out,
                     const char **wrong);
#endif
