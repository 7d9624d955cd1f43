/* Reading and writing of messages, for leat_node.c alone. */
#ifndef LEAT_WORDS_H
#define LEAT_WORDS_H

#include "leat_node.h"

/* A rule is left out in tests alone. */
#ifdef LEAT_VARIANTS
extern enum leat_rule leat_without;
#define RULE(rule) (leat_without != (rule))
#else
#define RULE(rule) ((rule) != LEAT_ALL_RULES)
#endif

/* Read an order: false = it lacks something. Its epoch is 0 where not even its id can be read. */
bool leat_read_order(const char *body, size_t length, struct leat_order *order);
bool leat_read_lease(const char *body, size_t length, uint32_t *epoch, uint64_t *beat);
/* Read a stop: false = it cannot be read. A name of length 0 is all pumps. */
bool leat_read_stop(const char *body, size_t length, const char **name, size_t *name_length);

/* Write into LEAT_WORD_BYTES bytes; the length is returned. */
size_t leat_write_report(char *into, const struct leat_word *word);
size_t leat_write_beat(char *into, const char *boot, uint64_t tick_ms, bool idle, const struct leat_record *record);

#endif
