#ifndef FULLTURN_SERIAL_H
#define FULLTURN_SERIAL_H

void serial_start(void);

#endif
