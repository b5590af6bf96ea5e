if HAVE_CHECK
check_PROGRAMS += %D%/check_desk
TESTS += %D%/check_desk
%C%_check_desk_SOURCES = %D%/check_desk.c %D%/ledger_fixture.c \
	%D%/ledger_fixture.h
%C%_check_desk_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_desk_LDADD = $(KW_CHECK_LIBS)
check_PROGRAMS += %D%/check_reply %D%/check_menu
TESTS += %D%/check_reply %D%/check_menu
%C%_check_reply_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_reply_LDADD = $(KW_CHECK_LIBS)
%C%_check_menu_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_menu_LDADD = $(KW_CHECK_LIBS)
endif
