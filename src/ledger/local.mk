src_libkilnword_a_SOURCES += \
	%D%/ledger.h %D%/notebook.h %D%/exposure.h %D%/writer.h %D%/engine.h %D%/query.h \
	%D%/schema.h %D%/orphans.h \
	%D%/engine.c %D%/query.c %D%/schema.c %D%/ledger.c %D%/phones.c \
	%D%/places.c %D%/batches.c %D%/pots.c %D%/texts.c %D%/reports.c \
	%D%/outbox.c %D%/notebook.c %D%/exposure.c %D%/copy.c %D%/header.c %D%/header.h %D%/writer.c %D%/alerts.c
src_libkilnword_a_SOURCES += %D%/look.h %D%/look_row.h %D%/look.c %D%/look_sums.c %D%/look_rows.c
src_libkilnword_a_SOURCES += %D%/asking.h %D%/asking.c %D%/due.h %D%/due.c
src_libkilnword_a_SOURCES += %D%/drift.h %D%/drift.c
src_libkilnword_a_SOURCES += %D%/batchstate.h %D%/batchstate.c
src_libkilnword_a_SOURCES += %D%/traffic.h %D%/traffic.c %D%/session.h %D%/session.c
src_libkilnword_a_SOURCES += %D%/carriers.h %D%/carriers.c
src_libkilnword_a_SOURCES += %D%/kept.h %D%/kept.c %D%/phrases.h %D%/phrases.c
src_libkilnword_a_SOURCES += %D%/forecast.h %D%/forecast.c
