#include "version.h"

#include "message.h"

uint8_t version_cause(uint8_t cause, uint8_t host_minor)
{
    if (host_minor >= 1)
        return cause;
    if (cause == WATCHDOG)
        return POWER_ON;
    return cause == ZERO_NOT_FOUND ? LIMIT : cause;
}
