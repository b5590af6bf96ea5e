src_libkilnword_a_SOURCES += %D%/reader.h %D%/serial.h %D%/serial.c \
	%D%/names.c
