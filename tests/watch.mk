# The numbers: each x of src/watch has its check_x, and `kilnword work`.
if HAVE_CHECK
KW_WATCH_CHECKS = \
	%D%/check_water %D%/check_seep %D%/check_exact \
	%D%/check_flowrule %D%/check_breakage %D%/check_drift \
	%D%/check_wear %D%/check_cluster %D%/check_design \
	%D%/check_detector \
	%D%/check_need %D%/check_scan %D%/check_cause %D%/check_causes %D%/check_work
check_PROGRAMS += $(KW_WATCH_CHECKS)
TESTS += $(KW_WATCH_CHECKS)
%C%_check_water_SOURCES = %D%/check_water.c %D%/close.h
%C%_check_water_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_water_LDADD = $(KW_CHECK_LIBS)
%C%_check_seep_SOURCES = %D%/check_seep.c %D%/close.h
%C%_check_seep_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_seep_LDADD = $(KW_CHECK_LIBS)
%C%_check_exact_SOURCES = %D%/check_exact.c %D%/close.h \
	%D%/refcase.h %D%/refcase.c
%C%_check_exact_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_exact_LDADD = $(KW_CHECK_LIBS)
%C%_check_flowrule_SOURCES = %D%/check_flowrule.c %D%/close.h
%C%_check_flowrule_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_flowrule_LDADD = $(KW_CHECK_LIBS)
%C%_check_breakage_SOURCES = %D%/check_breakage.c %D%/close.h
%C%_check_breakage_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_breakage_LDADD = $(KW_CHECK_LIBS)
%C%_check_drift_SOURCES = %D%/check_drift.c %D%/close.h \
	%D%/refcase.h %D%/refcase.c
%C%_check_drift_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_drift_LDADD = $(KW_CHECK_LIBS)
%C%_check_wear_SOURCES = %D%/check_wear.c %D%/close.h \
	%D%/refcase.h %D%/refcase.c
%C%_check_wear_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_wear_LDADD = $(KW_CHECK_LIBS)
%C%_check_cluster_SOURCES = %D%/check_cluster.c %D%/close.h \
	%D%/refcase.h %D%/refcase.c
%C%_check_cluster_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_cluster_LDADD = $(KW_CHECK_LIBS)
%C%_check_design_SOURCES = %D%/check_design.c %D%/close.h \
	%D%/refcase.h %D%/refcase.c
%C%_check_design_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_design_LDADD = $(KW_CHECK_LIBS)
%C%_check_detector_SOURCES = %D%/check_detector.c %D%/close.h \
	%D%/refcase.h %D%/refcase.c
%C%_check_detector_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_detector_LDADD = $(KW_CHECK_LIBS)
%C%_check_need_SOURCES = %D%/check_need.c %D%/close.h \
	%D%/refcase.h %D%/refcase.c
%C%_check_need_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_need_LDADD = $(KW_CHECK_LIBS)
%C%_check_scan_SOURCES = %D%/check_scan.c %D%/close.h \
	%D%/refcase.h %D%/refcase.c
%C%_check_scan_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_scan_LDADD = $(KW_CHECK_LIBS)
%C%_check_cause_SOURCES = %D%/check_cause.c %D%/close.h \
	%D%/refcase.h %D%/refcase.c
%C%_check_cause_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_cause_LDADD = $(KW_CHECK_LIBS)
%C%_check_causes_SOURCES = %D%/check_causes.c %D%/close.h
%C%_check_causes_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_causes_LDADD = $(KW_CHECK_LIBS)
%C%_check_work_SOURCES = %D%/check_work.c %D%/close.h
%C%_check_work_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_check_work_LDADD = $(KW_CHECK_LIBS)

# Slower, not part of `make check`. The simulations print how the rules do on
# 4,000 made-up pots and 100 made-up batches, and fail outside what
# docs/science.md says; r_watch holds `kilnword work` against R.
EXTRA_PROGRAMS += %D%/sim_flow
%C%_sim_flow_SOURCES = %D%/sim_flow.c %D%/close.h
%C%_sim_flow_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_sim_flow_LDADD = $(KW_CHECK_LIBS)
CLEANFILES += %D%/sim_flow
EXTRA_PROGRAMS += %D%/sim_batches %D%/sim_need
%C%_sim_batches_SOURCES = %D%/sim_batches.c %D%/sim_world.c %D%/sim_world.h \
	%D%/close.h
%C%_sim_need_SOURCES = %D%/sim_need.c %D%/sim_world.c %D%/sim_world.h \
	%D%/close.h
%C%_sim_need_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_sim_need_LDADD = $(KW_CHECK_LIBS)
CLEANFILES += %D%/sim_need
%C%_sim_batches_CFLAGS = $(KW_CHECK_CFLAGS)
%C%_sim_batches_LDADD = $(KW_CHECK_LIBS)
CLEANFILES += %D%/sim_batches
KW_WATCH_SLOW = %D%/sim_flow$(EXEEXT) %D%/sim_batches$(EXEEXT) \
	%D%/sim_need$(EXEEXT)
check-slow: src/kilnword$(EXEEXT) $(KW_WATCH_SLOW)
	@failed=0; for p in $(KW_WATCH_SLOW) $(top_srcdir)/%D%/peers/r_watch; do \
		$(AM_TESTS_ENVIRONMENT) $$p || failed=1; \
	done; exit $$failed
endif

EXTRA_PROGRAMS += %D%/bench/bench_watch
%C%_bench_bench_watch_SOURCES = %D%/bench/bench_watch.c
%C%_bench_bench_watch_CFLAGS = $(AM_CFLAGS)
%C%_bench_bench_watch_LDADD = src/libkilnword.a $(KW_LIBS)
CLEANFILES += %D%/bench/bench_watch
EXTRA_DIST += %D%/peers/r_watch %D%/peers/r_watch.R %D%/bench/bench_survival
