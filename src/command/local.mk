src_libkilnword_a_SOURCES += \
	%D%/command.h %D%/command.c %D%/serve.c %D%/load.c %D%/say.c \
	%D%/phone.c %D%/read.c %D%/show.h %D%/show.c %D%/show_kinds.c %D%/digest.c %D%/check.c \
	%D%/service.h %D%/service.c %D%/service_outbox.c %D%/service_relief.c %D%/service_state.c %D%/service_receipt.c \
	%D%/service_scan.c %D%/service_told.c %D%/talk.h %D%/talk.c \
	%D%/work.c %D%/backup.c %D%/export.c
src_libkilnword_a_SOURCES += %D%/load.h %D%/load_sheet.c %D%/load_rows.c \
	%D%/load_pots.c %D%/load_texts.c
src_libkilnword_a_SOURCES += \
	%D%/work.h %D%/work_table.c %D%/work_seep.c %D%/work_flow.c \
	%D%/work_drift.c %D%/work_exact.c %D%/work_breakage.c \
	%D%/work_wear.c %D%/work_cluster.c \
	%D%/work_scan.c %D%/work_need.c
src_libkilnword_a_SOURCES += %D%/work_cause.c
