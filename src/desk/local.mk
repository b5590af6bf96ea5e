src_libkilnword_a_SOURCES += %D%/desk.h %D%/reply.h %D%/reply.c %D%/reply_said.c \
	%D%/replyfile.c %D%/keys.c %D%/keys.h %D%/answer.c \
	%D%/inner.h %D%/desk.c %D%/flood.c %D%/number.c %D%/take.c %D%/filing.c \
	%D%/raise.c %D%/dialogue.c %D%/commands.c %D%/field.c \
	%D%/digest.h %D%/digest.c %D%/scan.c %D%/tick.c %D%/menu.h \
	%D%/menu_parts.h %D%/menu.c %D%/menufile.c
src_libkilnword_a_SOURCES += %D%/flow.h %D%/flow.c %D%/flow_late.c %D%/workshop.c
src_libkilnword_a_SOURCES += %D%/batch_watch.h %D%/batch_inner.h \
	%D%/batch_watch.c %D%/batch_history.c %D%/batch_runs.c %D%/batch_act.c \
	%D%/batch_sums.c
src_libkilnword_a_SOURCES += %D%/hold.c %D%/session.h %D%/session.c
