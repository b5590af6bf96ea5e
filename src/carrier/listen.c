/* listen.c - see listen.h. */
#include "carrier/listen.h"

#include "base/config.h"

#include <errno.h>
#include <netdb.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

int listen_open(const struct config *conf, int *out, char **why)
{
    struct addrinfo hints = {.ai_family = AF_UNSPEC,
                             .ai_socktype = SOCK_STREAM,
                             .ai_flags = AI_PASSIVE | AI_NUMERICHOST};
    struct addrinfo *found;
    char port[16], text[512];
    int fd, one = 1, err;

    snprintf(port, sizeof(port), "%d", conf->listen_port);
    err = getaddrinfo(conf->listen_address, port, &hints, &found);
    if (err != 0) {
        snprintf(text, sizeof(text),
                 "cannot listen on \"%s\": it is no address of numbers, such "
                 "as 127.0.0.1 or ::1",
                 conf->listen_address);
        *why = kw_strdup(text);
        return KW_EIO;
    }
    fd =
        socket(found->ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
    if (fd >= 0)
        setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof(one));
    if (fd < 0 || bind(fd, found->ai_addr, found->ai_addrlen) < 0 ||
        listen(fd, 511) < 0) {
        err = errno;
        snprintf(text, sizeof(text), "cannot listen on %s port %d: %s%s",
                 conf->listen_address, conf->listen_port, strerror(err),
                 err == EADDRINUSE
                     ? "; another program (or this one) is there already: "
                       "stop it, or set another port under listen"
                     : "");
        *why = kw_strdup(text);
        if (fd >= 0)
            close(fd);
        freeaddrinfo(found);
        return KW_EIO;
    }
    freeaddrinfo(found);
    *out = fd;
    return 0;
}

int listen_port(int fd)
{
    struct sockaddr_storage ss = {0};
    socklen_t len = sizeof(ss);
    char port[16];

    if (getsockname(fd, (struct sockaddr *)&ss, &len) < 0 ||
        getnameinfo((struct sockaddr *)&ss, len, NULL, 0, port, sizeof(port),
                    NI_NUMERICSERV) != 0)
        return 0;
    return (int)strtol(port, NULL, 10);
}
