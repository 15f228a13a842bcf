/* Watches the flags at zero while a Move is under way, and notes where they change. */
#ifndef FULLTURN_INDEXING_H
#define FULLTURN_INDEXING_H

#include <stdbool.h>

#include "message.h"

extern struct edge indexing_edges[AXES];

void indexing_start(void);
/* When a Move has begun: `name` turns upward or not. */
void indexing_begin(uint8_t name, bool up);
/* Each millisecond of the Move, and at its end. */
void indexing_update(void);

#endif
