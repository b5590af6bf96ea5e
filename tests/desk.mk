if HAVE_CHECK
check_PROGRAMS += %D%/check_reply
TESTS += %D%/check_reply
%C%_check_reply_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_reply_LDADD = $(KW_CHECK_LIBS)
endif
