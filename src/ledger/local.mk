src_libkilnword_a_SOURCES += %D%/ledger.h %D%/writer.h  %D%/ledger.c
