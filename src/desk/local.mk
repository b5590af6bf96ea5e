src_libkilnword_a_SOURCES += %D%/desk.h %D%/reply.h
