#ifndef KW_LOG_H
#define KW_LOG_H
/*
 * log.h - lines for the person who runs the line, on standard error.
 * Lower case, failure first, subject in quotes, message id, no full stop.
 * Never a household's words or whole phone number above LOG_DEBUG.
 */
enum log_level { LOG_DEBUG, LOG_INFO, LOG_WARN, LOG_ERROR };

void log_set_level(enum log_level least);
void log_line(enum log_level level, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));

#define log_debug(...) log_line(LOG_DEBUG, __VA_ARGS__)
#define log_info(...)  log_line(LOG_INFO, __VA_ARGS__)
#define log_warn(...)  log_line(LOG_WARN, __VA_ARGS__)
#define log_error(...) log_line(LOG_ERROR, __VA_ARGS__)
#endif
