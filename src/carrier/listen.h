#ifndef KW_LISTEN_H
#define KW_LISTEN_H
/* listen.h - the socket that requests come to. */
#include "base/kw.h"

struct config;

/*
 * Binds and listens where the configuration says, without blocking. 0 and the
 * socket, the caller's; or KW_EIO and why, allocated, with what to do.
 */
int listen_open(const struct config *conf, int *out, char **why);
/* The port of a socket, which the system may have chosen; 0 unknown. */
int listen_port(int fd);
#endif
