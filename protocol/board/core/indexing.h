/* Watches the flags at zero during a Move, and records where they change. */
#ifndef FULLTURN_INDEXING_H
#define FULLTURN_INDEXING_H

#include <stdbool.h>

#include "message.h"

extern struct edge indexing_edges[AXES];

void indexing_start(void);
/* Call when a Move has begun; the arguments say whether each axis turns upward. */
void indexing_begin(uint8_t name, bool up);
/* Call each millisecond of the Move, and at its end. */
void indexing_update(void);

#endif
