#ifndef KW_HTTP_IN_PARTS_H
#define KW_HTTP_IN_PARTS_H
/*
 * http_in_parts.h - what http_in.c (listener, loop, connections) and
 * http_take.c (one request) know of each other. Not for others.
 */
#include "carrier/carrier.h"
#include "carrier/http_form.h"
#include "carrier/rate.h"

#include <microhttpd.h>

#define HTTP_WRONG_CAP 320

enum http_kind { HTTP_TEXTS, HTTP_MENU, HTTP_RECEIPTS };

struct http_route {
    const struct config_carrier *conf;
    enum http_kind kind;
    const char *path;
    struct rate *rate; /* NULL: unlimited */
};

/*
 * A request:
 *
 *   READING --last octet, take() accepts--> TAKING --commit--> TAKEN
 *      |                                                         v
 *      +-- not wanted --> PASSING --last octet--------------> ANSWERED
 *
 * While TAKING the connection is suspended and nothing of it is freed. What
 * is not wanted is known from the headers; a body of a bearable length is
 * let pass by first, or the caller, still writing, would not hear why.
 */
enum http_state {
    HTTP_READING,
    HTTP_PASSING,
    HTTP_TAKING,
    HTTP_TAKEN,
    HTTP_ANSWERED
};

/* What is said back; all borrowed for the call. */
struct http_answer {
    unsigned status;
    const char *type;           /* NULL text/plain */
    const char *body;           /* NULL none */
    size_t len;                 /* 0: strlen(body) */
    const char *header, *value; /* one more, or NULL */
    bool close;
};

struct http_request {
    struct http_in *in;
    struct http_route *route; /* NULL: /alive, or refused at once */
    struct MHD_Connection *connection;
    enum http_state state;
    struct kw_buf body;
    size_t passed_by;           /* octets of the body that were not kept */
    struct http_answer refusal; /* status 0: none; strings static or below */
    char words[96];
    int err; /* of the taking */
    struct carrier_taking taking;
    char *from, *to, *ref, *twin, *text; /* owned; what taking.text points to,
                                     or press: its from, step, session, input */
    struct menu_press press;
    enum traffic_receipt receipt;
};

enum MHD_Result http_answer_queue(struct http_in *in,
                                  struct MHD_Connection *connection,
                                  const struct http_answer *a);

/* From the headers of a POST to a route: sets r->refusal, or nothing. */
void http_take_begin(struct http_request *r);
/* The body is whole; answers or suspends. */
enum MHD_Result http_take_body(struct http_request *r);
/* Resumed after the commit: answers. */
enum MHD_Result http_take_answer(struct http_request *r);
/* The request is over; whole: the answer went out. */
void http_take_over(struct http_request *r, bool whole);

/* What is said to the caller; refuse also notes it in the log. */
enum MHD_Result http_say(struct http_request *r, const struct http_answer *a);
enum MHD_Result http_refuse(struct http_request *r, unsigned status,
                            const char *what);
enum MHD_Result http_come_later(struct http_request *r);
/* The sentence for a field that is not as it must be, HTTP_WRONG_CAP octets;
 * gives KW_EINVAL. */
int http_field_wrong(char *wrong, const char *name, int err,
                     const char *wanted);
/* A name or number without control characters, blanks trimmed; owned by the
 * caller. KW_ENOENT, KW_EINVAL. */
int http_copy_number(const struct http_form_value *v, bool form, char **out);

/* http_menu.c: steps of a menu, and receipts. */
int http_menu_read(struct http_request *r, const struct http_form *f,
                   char *wrong);
enum MHD_Result http_menu_say(struct http_request *r);
int http_receipt_read(struct http_request *r, const struct http_form *f,
                      char *wrong);
enum MHD_Result http_receipt_take(struct http_request *r);

/* Octets of the body as announced; 0 when nothing is announced. */
int64_t http_announced(struct MHD_Connection *c);
struct carrier_host *http_in_host(struct http_in *in);
bool http_in_quiet(const struct http_in *in);
/* r is in the writer: nothing happens to it until it is resumed. */
void http_in_suspend(struct http_request *r);
/* The writer is done with r: go on with it. */
void http_in_resume(struct http_request *r);
void http_in_note_refusal(struct http_in *in, const struct http_route *route,
                          const char *what);
#endif
