#include "command/talk.h"

#include "base/clock.h"

#include <stdio.h>
#include <string.h>

struct talk {
    struct config *conf;
    struct ledger *ledger;
    struct desk *desk;
};

int talk_open_desk(const struct config *conf, struct desk **out)
{
    struct fault_list faults = {0};
    int err = desk_open(conf, &faults, out);

    fault_print(&faults, stderr);
    fault_release(&faults);
    if (err == 0)
        return 0;
    return err == KW_EIO ? COMMAND_FAILED : COMMAND_INPUT;
}

int talk_open(const char *config_path, struct talk **out)
{
    struct talk *t = kw_calloc(1, sizeof(*t));
    int err;

    if ((err = command_config(config_path, &t->conf)) != 0 ||
        (err = talk_open_desk(t->conf, &t->desk)) != 0 ||
        (err = command_ledger(t->conf, false, true, &t->ledger)) != 0) {
        talk_close(t);
        return err;
    }
    *out = t;
    return 0;
}

void talk_close(struct talk *t)
{
    if (t == NULL)
        return;
    if (t->ledger != NULL)
        ledger_close(t->ledger);
    if (t->desk != NULL)
        desk_close(t->desk);
    if (t->conf != NULL)
        config_free(t->conf);
    kw_free(t);
}

const struct config *talk_config(const struct talk *t)
{
    return t->conf;
}

struct desk *talk_desk(const struct talk *t)
{
    return t->desk;
}

struct ledger *talk_ledger(const struct talk *t)
{
    return t->ledger;
}

/* People, text, answer: inside the transaction. */
static int take(struct talk *t, const struct desk_text *text,
                struct desk_answer *out)
{
    int err = desk_people(t->desk, t->ledger);

    return err < 0 ? err : desk_take(t->desk, t->ledger, text, out);
}

int talk_say(struct talk *t, const struct talk_text *in,
             struct desk_answer *out)
{
    struct desk_text text = {.carrier = TALK_CARRIER,
                             .in_hand = "shown in the terminal",
                             .ref = in->ref,
                             .from = in->from,
                             .text = in->text,
                             .len = in->len,
                             .at_s = in->at_s != 0 ? in->at_s : clock_now_s(),
                             .quiet = in->quiet};
    int err;

    *out = (struct desk_answer){0};
    if ((err = ledger_begin(t->ledger)) < 0)
        return err;
    if ((err = take(t, &text, out)) < 0) {
        ledger_rollback(t->ledger);
        return err;
    }
    return ledger_commit(t->ledger);
}

int talk_press(struct talk *t, struct menu_press *p, struct menu_shown *out)
{
    int err;

    p->carrier = TALK_CARRIER;
    p->at_s = clock_now_s();
    if ((err = ledger_begin(t->ledger)) < 0)
        return err;
    if ((err = desk_people(t->desk, t->ledger)) == 0)
        err = desk_press(t->desk, t->ledger, p, out);
    if (err == 0)
        return ledger_commit(t->ledger);
    ledger_rollback(t->ledger);
    return err;
}

int talk_scan(struct talk *t)
{
    struct desk_findings *found;
    int64_t now_s = clock_now_s();
    int raised, err;

    if ((err = desk_scan_look(t->conf, t->ledger, now_s, &found)) < 0)
        return err;
    if ((err = ledger_begin(t->ledger)) == 0) {
        err = desk_scan_act(t->desk, t->ledger, now_s, found, &raised);
        if (err < 0)
            ledger_rollback(t->ledger);
        else
            err = ledger_commit(t->ledger);
    }
    desk_findings_free(found);
    return err;
}
