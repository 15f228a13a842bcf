/* The minor version of the host, and causes translated for it. */
#ifndef FULLTURN_VERSION_H
#define FULLTURN_VERSION_H

#include <stdint.h>

/* A cause as a host of that minor version knows it. */
uint8_t version_cause(uint8_t cause, uint8_t host_minor);

#endif
