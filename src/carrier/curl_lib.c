/* curl_lib.c - see curl_lib.h. */
#include "carrier/curl_lib.h"

#include <dlfcn.h>
#include <stdio.h>
#include <string.h>

/* Of all versions since 7.16; the headers ask for a newer one than that. */
#define NAME "libcurl.so.4"

static struct curl_lib calls;
static bool is_ready;

static const struct {
    const char *name;
    size_t at; /* in struct curl_lib */
} places[] = {
#define X(name) {"curl_" #name, offsetof(struct curl_lib, name)},
    CURL_LIB_CALLS(X)
#undef X
};

static bool find_all(void *library)
{
    for (size_t i = 0; i < KW_COUNT(places); i++) {
        void *f = dlsym(library, places[i].name);

        if (f == NULL)
            return false;
        memcpy((char *)&calls + places[i].at, &f, sizeof(f));
    }
    return true;
}

const struct curl_lib *curl_lib(char **why)
{
    char text[400];
    void *library;
    const char *what;

    if (is_ready)
        return &calls;
    library = dlopen(NAME, RTLD_NOW | RTLD_LOCAL);
    if (library != NULL && find_all(library) &&
        calls.global_init(CURL_GLOBAL_DEFAULT) == CURLE_OK) {
        is_ready = true;
        return &calls;
    }
    what = dlerror();
    snprintf(text, sizeof(text),
             "libcurl, which posts texts, cannot be loaded: %.240s; "
             "install libcurl 7.88 or newer",
             what != NULL ? what : "it does not start");
    if (library != NULL)
        dlclose(library);
    if (why != NULL)
        *why = kw_strdup(text);
    return NULL;
}

/* It stays mapped: some of its libraries cannot be taken out again. */
void curl_lib_release(void)
{
    if (is_ready)
        calls.global_cleanup();
    is_ready = false;
}
