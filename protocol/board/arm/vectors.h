/* What the interrupts call. */
#ifndef FULLTURN_VECTORS_H
#define FULLTURN_VECTORS_H

void on_timer(void);
void on_uart(void);

#endif
