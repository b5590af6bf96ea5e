#ifndef KW_SETTING_H
#define KW_SETTING_H
/*
 * setting.h - a group of the configuration read by a table, one row a key.
 * For config.c alone. Every mistake is a fault with its line.
 */
#include "base/fault.h"

#include <libconfig.h>

enum setting_kind {
    TEXT,
    PATH,
    ZONE,
    INTEGER,
    REAL,
    SWITCH,
    DAYTIME,
    SECRET,
    FORM
};

struct setting {
    const char *key;
    enum setting_kind kind;
    size_t at;          /* offset of the field */
    const char *preset; /* default in text, NULL: none (0 or NULL) */
    double min, max;    /* of numbers; of TEXT: octets at most in max */
    const char *words;  /* TEXT: the words allowed, " a b c ", or NULL */
};

struct setting_load {
    struct fault_list *faults;
    const char *file;  /* for messages */
    char folder[4096]; /* of the file; "" when there is none */
};

#define SETTING_SAY(l, line, ...)                                              \
    fault_add((l)->faults, (l)->file, (line), __VA_ARGS__)

/* A row's text field: the old one is freed, the new one taken over. */
void setting_put_text(void *base, size_t at, char *text);
/* Writes the defaults of n rows into the struct at base. */
void setting_preset(const struct setting *rows, size_t n, void *base);
/* Takes the group's keys; `also` names keys that others take, " a b ". */
void setting_take(struct setting_load *l, const config_setting_t *group,
                  const struct setting *rows, size_t n, void *base,
                  const char *also);
/* The elements of a list, at most `most`; -1 after a fault. */
int setting_list_length(struct setting_load *l, const config_setting_t *list,
                        int most);
/* A fault when the value is missing or empty. */
void setting_need_text(struct setting_load *l, int line, const char *what,
                       const char *value);
/* Frees the text fields of n rows. */
void setting_free(const struct setting *rows, size_t n, void *base);
#endif
