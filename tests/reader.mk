if HAVE_CHECK
check_PROGRAMS += %D%/check_serial
TESTS += %D%/check_serial
%C%_check_serial_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_serial_LDADD = $(KW_CHECK_LIBS)
endif
