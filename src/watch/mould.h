#ifndef KW_MOULD_H
#define KW_MOULD_H
/* mould.h - a mould of the configuration as a pot to reckon with. */
#include "base/config.h"
#include "watch/seep.h"

/* 0, or KW_ERANGE when the sizes cannot be a pot (seep_pot_check). */
int mould_pot(const struct config_mould *m, struct seep_pot *pot);
#endif
