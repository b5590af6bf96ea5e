src_libkilnword_a_SOURCES += %D%/carrier.h
