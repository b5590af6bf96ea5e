src_libkilnword_a_SOURCES += \
	%D%/water.h %D%/water.c %D%/potform.h %D%/potform.c \
	%D%/seep.h %D%/seep.c %D%/flowrule.h %D%/flowrule.c \
	%D%/exact.h %D%/exact.c %D%/breakage.h %D%/breakage.c \
	%D%/drift.h %D%/drift.c %D%/wear.h %D%/wear.c \
	%D%/cluster.h %D%/cluster.c %D%/cluster_chart.c %D%/detector.h %D%/detector_inner.h \
	%D%/detector.c %D%/detector_rates.c \
	%D%/need.h %D%/need.c %D%/scan.h %D%/scan_inner.h %D%/scan.c %D%/scan_chance.c
src_libkilnword_a_SOURCES += %D%/potflow.h %D%/potflow.c %D%/mould.h %D%/mould.c
src_libkilnword_a_SOURCES += %D%/cause.h %D%/cause.c %D%/cause_model.c %D%/cause_model.h %D%/causes.h %D%/causes.c
