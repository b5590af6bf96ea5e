src_libkilnword_a_SOURCES += \
	%D%/screen.c %D%/screen.h %D%/table.c %D%/table.h %D%/plot.c %D%/plot.h
