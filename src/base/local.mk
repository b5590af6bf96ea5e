src_libkilnword_a_SOURCES += \
	%D%/kw.h %D%/mem.c %D%/buf.c %D%/buf.h %D%/cur.h %D%/cur.c \
	%D%/number.c %D%/number.h %D%/sum.c %D%/sum.h %D%/clock.c %D%/clock.h %D%/log.c %D%/log.h \
	%D%/csv.c %D%/csv.h %D%/septet.c %D%/septet.h %D%/fault.c %D%/fault.h \
	%D%/config.c %D%/config.h %D%/config_find.c %D%/config_find.h %D%/config_carrier.c %D%/config_carrier.h %D%/setting.c %D%/setting.h %D%/file.c %D%/file.h
