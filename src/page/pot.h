#ifndef KW_PAGE_POT_H
#define KW_PAGE_POT_H
/*
 * pot.h - one pot: its life, every report with what was made of it, its flow
 * as a picture, its alerts, and its batch in short: the way back to the kiln.
 */
#include "page/batch.h"
#include "page/flowtrack.h"

#define POT_UNFILED_S (14 * 86400) /* texts not filed are shown so long */

struct pot_page {
    struct ledger_pot pot;
    struct page_handovers handovers;
    struct page_reports reports;
    struct page_alerts alerts;
    struct batch_page batch; /* without lists */
    struct flow_track track;
};

/* KW_ENOENT when there is no such pot. Released after an error too. */
int pot_page_gather(const struct page *p, struct ledger *lg, int64_t key,
                    struct pot_page *out);
void pot_page_release(struct pot_page *t);
void pot_page_text(const struct page *p, const struct pot_page *t);
/* The flow as an SVG picture (flowsvg.h). */
void pot_page_svg(const struct page *p, const struct pot_page *t,
                  struct kw_buf *out);
json_t *pot_page_json(const struct page *p, const struct pot_page *t);
#endif
