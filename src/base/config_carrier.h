#ifndef KW_CONFIG_CARRIER_H
#define KW_CONFIG_CARRIER_H
/* config_carrier.h - one entry of the list of carriers; for config.c alone. */
#include "base/config.h"
#include "base/setting.h"

/* Reads the entry into the zeroed *c; mistakes are faults with their line. */
void config_carrier_take(struct setting_load *l, const config_setting_t *s,
                         struct config_carrier *c);
void config_carrier_free(struct config_carrier *c); /* its texts, not c */
#endif
