#include "base/fault.h"
#include "base/buf.h"

#include <stdarg.h>

void fault_add(struct fault_list *list, const char *file, int line,
               const char *fmt, ...)
{
    struct kw_buf text;
    va_list ap;

    if (list->n >= FAULT_MOST) {
        list->dropped++;
        return;
    }
    kw_buf_init(&text, 2048);
    va_start(ap, fmt);
    kw_buf_vprintf(&text, fmt, ap);
    va_end(ap);
    if (text.err != 0)
        kw_buf_clear(&text), kw_buf_puts(&text, "(the message is too long)");
    kw_grow(&list->items, &list->cap, list->n + 1, sizeof(*list->items));
    list->items[list->n++] = (struct fault){
        .file = kw_strdup(file), .line = line, .text = kw_buf_take(&text)};
}

size_t fault_print(const struct fault_list *list, FILE *out)
{
    for (size_t i = 0; i < list->n; i++) {
        const struct fault *f = &list->items[i];

        if (f->line > 0)
            fprintf(out, "%s:%d: %s\n", f->file, f->line, f->text);
        else
            fprintf(out, "%s: %s\n", f->file, f->text);
    }
    if (list->dropped > 0)
        fprintf(out, "and %zu more\n", list->dropped);
    return list->n + list->dropped;
}

void fault_release(struct fault_list *list)
{
    for (size_t i = 0; i < list->n; i++) {
        kw_free(list->items[i].file);
        kw_free(list->items[i].text);
    }
    kw_free(list->items);
    *list = (struct fault_list){0};
}
