src_libkilnword_a_SOURCES += \
	%D%/carrier.h %D%/http_form.h %D%/http_form.c %D%/http_auth.h \
	%D%/http_auth.c %D%/rate.h %D%/rate.c %D%/retry.h %D%/retry.c \
	%D%/template.h %D%/template.c %D%/spool_text.h %D%/spool_text.c \
	%D%/http_in.c %D%/http_in_parts.h %D%/listen.h %D%/listen.c %D%/http_take.c %D%/http_menu.c %D%/http_out.c \
	%D%/curl_lib.h %D%/curl_lib.c \
	%D%/spool.c
include src/carrier/air.mk
