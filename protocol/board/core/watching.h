/* What the board detects by itself: limits, the stop switch, the supply, and silence of the host. */
#ifndef FULLTURN_WATCHING_H
#define FULLTURN_WATCHING_H

#include <stdint.h>

/* Call as often as possible. */
void watching_inputs(void);
/* Call each millisecond. */
void watching_time(uint32_t now_ms);

#endif
