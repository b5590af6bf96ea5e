#ifndef KW_CONFIG_FIND_H
#define KW_CONFIG_FIND_H
/* config_find.h - where things are when nothing says so. For config.c. */
#include "base/config.h"

/*
 * A program that was built but not installed finds the grammar of its own
 * sources: beside the program, or one or two folders further up.
 */
void config_find_grammar(struct config *c);
/* And with such a grammar, the image that the build made of it. */
void config_find_image(struct config *c);
#endif
