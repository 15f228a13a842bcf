#ifndef FULLTURN_CLOCK_H
#define FULLTURN_CLOCK_H

#include <stdint.h>

extern volatile uint8_t clock_late_ticks;

void clock_start(void);
void clock_millisecond(void);

#endif
