src_libkilnword_a_SOURCES += \
	%D%/screen.c %D%/screen.h %D%/table.c %D%/table.h %D%/plot.c %D%/plot.h \
	%D%/page.c %D%/page.h %D%/words.c %D%/tables.c \
	%D%/tally.c %D%/tally.h %D%/batch.c %D%/batch.h %D%/batch_data.c \
	%D%/pot.c %D%/pot.h %D%/place.c %D%/place.h %D%/home.c %D%/home.h \
	%D%/alert.c %D%/alert.h %D%/line.c %D%/carriers.c %D%/carriers.h %D%/line.h %D%/pseudonym.c %D%/pseudonym.h %D%/sheet.c %D%/sheet.h
src_libkilnword_a_SOURCES += %D%/flowtrack.c %D%/flowtrack.h %D%/flowsvg.c %D%/flowsvg.h
src_libkilnword_a_SOURCES += %D%/causes.h %D%/causes.c
src_libkilnword_a_SOURCES += %D%/batches.h %D%/batches.c %D%/recall.h %D%/recall.c \
	%D%/need.h %D%/need.c %D%/need_data.c %D%/need_check.c
src_libkilnword_a_SOURCES += %D%/life.h %D%/life.c %D%/life_text.c %D%/lifemap.c %D%/lasting.h %D%/lasting.c %D%/svg.h %D%/svg.c %D%/usual.h %D%/usual.c \
	%D%/map.h %D%/map.c
