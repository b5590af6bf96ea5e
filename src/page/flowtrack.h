#ifndef KW_FLOWTRACK_H
#define KW_FLOWTRACK_H
/*
 * flowtrack.h - the flow of a pot as the filter saw it: level and band from
 * its first decision to today and a little ahead, scrubs, decisions, and when
 * it is expected to fall below the threshold.
 */
#include "ledger/drift.h"
#include "page/page.h"
#include "watch/drift.h"

#define TRACK_SPOTS_MOST 400 /* of the line */
#define TRACK_AHEAD_S    (60 * 86400)

struct track_spot {
    int64_t at_s;
    double level, sd; /* ln litres */
    bool ahead;       /* after today: what is expected */
};

struct track_read {                   /* a reading that was decided on */
    const struct look_report *report; /* borrowed of the list */
    struct ledger_decision decision;
};

struct flow_track {
    struct track_read *reads; /* owned; by time */
    size_t n_reads;
    int64_t *scrubs; /* owned; by time */
    size_t n_scrubs;
    struct track_spot *spots; /* owned; by time */
    size_t n_spots;
    struct drift_state now; /* as of the page's time, when n_reads > 0 */
    struct drift_fall fall; /* days from then */
    int people;             /* of the home that has the pot, 0 not known */
    double day_l[3];        /* filled once, twice, three times a day, at 25
                             * degC, now; NaN not known */
};

/* reports: of the pot, by time, borrowed as long as the track. */
int flow_track_build(const struct page *p, struct ledger *lg,
                     const struct ledger_pot *pot,
                     const struct page_reports *reports,
                     struct flow_track *out);
void flow_track_release(struct flow_track *t);
/* Sentences below the picture: where it stands, when it falls. */
void flow_track_words(const struct page *p, const struct flow_track *t);
/* Why, in words: "an outlier; after a scrub". */
void flow_track_why(unsigned why, struct kw_buf *out);
json_t *flow_track_json(const struct page *p, const struct flow_track *t);
#endif
