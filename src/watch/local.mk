src_libkilnword_a_SOURCES += %D%/seep.h %D%/water.h %D%/flowrule.h %D%/exact.h %D%/breakage.h
