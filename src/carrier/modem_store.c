/*
 * modem_store.c - texts in the memories of card and modem: listed, read and
 * deleted, one command at a time. Commands go to one memory (+CPMS, mem1);
 * where texts come to is memory[0], and the current one but for a moment.
 * Source: 3GPP TS 27.005, 3.2.2 (+CPMS), 3.4.2 to 3.5.4.
 */
#include "carrier/modem_dialog_parts.h"

#include <stdio.h>
#include <string.h>

static int memory_of(int place)
{
    return place >= MODEM_OTHER ? 1 : 0;
}

/* ---- which memory ---- */

/* True: it was asked to go there; false: it is there already. */
static bool go_to(struct modem_dialog *d, int memory, int64_t now)
{
    char command[32];

    if (d->current == memory || d->memory[memory][0] == '\0')
        return false;
    d->memory_asked = memory;
    snprintf(command, sizeof(command), "AT+CPMS=\"%s\"", d->memory[memory]);
    modem_dialog_command(d, MODEM_ASK_MEMORY, command, now);
    return true;
}

static void drop_other(int *list, int *n)
{
    int kept = 0;

    for (int i = 0; i < *n; i++) {
        if (memory_of(list[i]) == 0)
            list[kept++] = list[i];
    }
    *n = kept;
}

void modem_store_switched(struct modem_dialog *d, bool ok)
{
    if (ok || d->memory_asked == 0) {
        d->current = d->memory_asked;
        return;
    }
    d->memory[1][0] = '\0'; /* there is none */
    d->list_wanted[1] = false;
    drop_other(d->reads, &d->n_reads);
    drop_other(d->deletes, &d->n_deletes);
}

void modem_store_forget(struct modem_dialog *d)
{
    d->n_reads = 0;
    d->current = -1;
    d->pdu_follows = false;
}

static void name_memory(struct modem_dialog *d, const char *name)
{
    if (strcmp(d->memory[0], name) == 0)
        return;
    snprintf(d->memory[0], sizeof(d->memory[0]), "%.7s", name);
    snprintf(d->memory[1], sizeof(d->memory[1]), "%s",
             strcmp(name, "SM") == 0   ? "ME"
             : strcmp(name, "ME") == 0 ? "SM"
                                       : "");
}

/* Three memories, each with its places taken and in all: the third is where
 * texts come to, the first the one that is read. */
void modem_store_line(struct modem_dialog *d, const char *rest)
{
    struct at_fields f;
    size_t to;

    at_fields(rest, &f);
    if (f.n < 3 || f.number[0])
        return; /* of the setting: numbers alone */
    to = f.n >= 9 && f.text[6][0] != '\0' ? 6 : 0;
    name_memory(d, f.text[to]);
    d->used = f.value[to + 1];
    d->total = f.value[to + 2];
    d->current = strcmp(f.text[0], d->memory[0]) == 0   ? 0
                 : strcmp(f.text[0], d->memory[1]) == 0 ? 1
                                                        : -1;
}

/* ---- what is next ---- */

static bool ask_place(struct modem_dialog *d, enum modem_ask ask, int64_t now)
{
    bool read = ask == MODEM_ASK_READ;
    int *list = read ? d->reads : d->deletes;
    int *n = read ? &d->n_reads : &d->n_deletes;
    char text[32];

    if (go_to(d, memory_of(list[0]), now))
        return true;
    d->place = list[0];
    memmove(list, list + 1, (size_t)(--*n) * sizeof(list[0]));
    snprintf(text, sizeof(text), "AT+CMG%c=%d", read ? 'R' : 'D',
             d->place % MODEM_OTHER);
    modem_dialog_command(d, ask, text, now);
    return true;
}

bool modem_store_next(struct modem_dialog *d, int64_t now)
{
    return d->n_reads > 0 && ask_place(d, MODEM_ASK_READ, now);
}

static bool list(struct modem_dialog *d, int memory, int64_t now)
{
    if (d->memory[memory][0] == '\0' && memory > 0) {
        d->list_wanted[memory] = false; /* there is none */
        return false;
    }
    if (go_to(d, memory, now))
        return true;
    d->list_wanted[memory] = false;
    modem_dialog_command(d, MODEM_ASK_LIST, "AT+CMGL=4", now);
    return true;
}

bool modem_store_tidy(struct modem_dialog *d, int64_t now)
{
    if (d->n_deletes > 0)
        return ask_place(d, MODEM_ASK_DELETE, now);
    for (int i = 0; i < MODEM_MEMORIES; i++) {
        if (d->list_wanted[i] && list(d, i, now))
            return true;
    }
    return go_to(d, 0, now);
}

/* ---- lines ---- */

/* +CMTI, +CDSI: one has come to that memory, at that place. */
void modem_store_arrived(struct modem_dialog *d, const struct at_fields *f)
{
    const char *name = f->text[0];
    bool home = d->memory[0][0] == '\0' || strcmp(d->memory[0], "MT") == 0 ||
                strcmp(name, "MT") == 0 || strcmp(name, d->memory[0]) == 0;
    bool other = !home && strcmp(name, d->memory[1]) == 0;

    if (f->n < 2 || !f->number[1] || f->value[1] < 0 ||
        f->value[1] >= MODEM_OTHER)
        return;
    if (!home && !other)
        modem_dialog_note(d, true,
                          "texts are stored in another memory than the ones "
                          "that are read; set 'memory'");
    else if (d->n_reads < MODEM_READS_MOST)
        d->reads[d->n_reads++] = f->value[1] + (other ? MODEM_OTHER : 0);
    else
        d->list_wanted[other ? 1 : 0] = true;
}

/* A header of +CMGL or +CMGR: a PDU follows. */
void modem_store_header(struct modem_dialog *d, const char *rest, bool list)
{
    struct at_fields f;
    int stat;

    at_fields(rest, &f);
    stat = f.value[list ? 1 : 0];
    if (list)
        d->place = f.value[0] + (d->current == 1 ? MODEM_OTHER : 0);
    if (stat > 1 ||
        (list && (!f.number[0] || f.value[0] < 0 || f.value[0] >= MODEM_OTHER)))
        d->place = MODEM_NOT_OURS; /* stored to be sent, by someone */
    d->pdu_follows = true;
}

void modem_store_pdu(struct modem_dialog *d, const char *digits)
{
    uint8_t pdu[MODEM_PDU_OCTETS];
    int n = at_hex(digits, pdu, sizeof(pdu));

    d->pdu_follows = false;
    if (n < 0 || d->place == MODEM_NOT_OURS)
        return;
    if (d->place == MODEM_DIRECT)
        d->handler->direct(d->handler->arg, pdu, (size_t)n);
    else
        d->handler->stored(d->handler->arg, d->place, pdu, (size_t)n);
}
