/* Nothing interrupts the native build: its ticks come between calls. */
#ifndef FULLTURN_HAL_SECTION_H
#define FULLTURN_HAL_SECTION_H

#include <stdint.h>

static inline uint8_t hal_lock(void)
{
    return 0;
}

static inline void hal_unlock(uint8_t state)
{
    (void)state;
}

#endif
