/* Nothing interrupts the native build: its ticks come between calls. */
#ifndef FULLTURN_HAL_SECTION_H
#define FULLTURN_HAL_SECTION_H

#include <stdint.h>

typedef uint8_t hal_state;

static inline hal_state hal_lock(void)
{
    return 0;
}

static inline void hal_unlock(hal_state state)
{
    (void)state;
}

#endif
