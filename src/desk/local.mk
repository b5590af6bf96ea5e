src_libkilnword_a_SOURCES += %D%/desk.h %D%/reply.h %D%/reply.c \
	%D%/replyfile.c %D%/keys.c %D%/keys.h %D%/answer.c
