#ifndef KW_CURL_LIB_H
#define KW_CURL_LIB_H
/*
 * curl_lib.h - libcurl, loaded when it is first called for. It brings a dozen
 * libraries of protocols that are never spoken here, which cost a third of a
 * start and some MiB; only a carrier that posts texts has use for it.
 */
#include "base/kw.h"

#include <curl/curl.h>

/* X(name behind curl_) */
#define CURL_LIB_CALLS(X)                                                      \
    X(global_init)                                                             \
    X(global_cleanup)                                                          \
    X(free)                                                                    \
    X(getdate)                                                                 \
    X(url)                                                                     \
    X(url_set)                                                                 \
    X(url_get)                                                                 \
    X(url_cleanup)                                                             \
    X(slist_append)                                                            \
    X(slist_free_all)                                                          \
    X(easy_init)                                                               \
    X(easy_setopt)                                                             \
    X(easy_getinfo)                                                            \
    X(easy_header)                                                             \
    X(easy_strerror)                                                           \
    X(easy_cleanup)                                                            \
    X(multi_init)                                                              \
    X(multi_setopt)                                                            \
    X(multi_assign)                                                            \
    X(multi_timeout)                                                           \
    X(multi_socket_action)                                                     \
    X(multi_add_handle)                                                        \
    X(multi_remove_handle)                                                     \
    X(multi_info_read)                                                         \
    X(multi_cleanup)

struct curl_lib { /* its functions, by the types that its header gives them */
#define X(name) __typeof__(curl_##name) *name;
    CURL_LIB_CALLS(X)
#undef X
};

/*
 * Loads and sets up the library at the first call, which no other thread may
 * be beside. NULL with *why a sentence (kw_free it; why may be NULL) when it
 * is not there or too old.
 */
const struct curl_lib *curl_lib(char **why);
/* What the library holds is given back, when it was loaded. */
void curl_lib_release(void);
#endif
