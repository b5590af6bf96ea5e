# The encodings of the air interface, SMPP and the modem.
src_libkilnword_a_SOURCES += \
	%D%/alphabet.c %D%/alphabet.h %D%/alphabet_tables.c \
	%D%/utf8.c %D%/utf8.h %D%/gsm7.c %D%/gsm7.h %D%/ucs2.c %D%/ucs2.h \
	%D%/dcs.c %D%/dcs.h %D%/udh.c %D%/udh.h \
	%D%/tpdu.c %D%/tpdu.h %D%/tpdu_field.c %D%/tpdu_field.h \
	%D%/segment.c %D%/segment.h %D%/concat.c %D%/concat.h
src_libkilnword_a_SOURCES += \
	%D%/smpp_pdu.c %D%/smpp_pdu.h %D%/smpp_status.c %D%/smpp_status.h \
	%D%/smpp_session.c %D%/smpp_session.h %D%/smpp_text.c %D%/smpp_text.h \
	%D%/smpp.c %D%/smpp_in.c %D%/smpp_out.c %D%/smpp_menu.c %D%/smpp_parts.h \
	%D%/smpp_link.c %D%/smpp_link.h %D%/resolve.c %D%/resolve.h \
	%D%/repeats.c %D%/repeats.h %D%/keep.c %D%/keep.h
src_libkilnword_a_SOURCES += \
	%D%/at.c %D%/at.h %D%/modem_dialog.c %D%/modem_dialog.h \
	%D%/modem_dialog_parts.h %D%/modem_setup.c %D%/modem_store.c \
	%D%/modem_line.c %D%/modem_ussd.c %D%/ussd.c %D%/ussd.h \
	%D%/modem.c %D%/modem_in.c %D%/modem_out.c %D%/modem_credit.c %D%/modem_parts.h
