if HAVE_CHECK
endif
