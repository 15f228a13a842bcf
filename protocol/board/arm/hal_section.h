/* Sections that no interrupt can enter. */
#ifndef FULLTURN_HAL_SECTION_H
#define FULLTURN_HAL_SECTION_H

#include <stdint.h>

typedef uint32_t hal_state;

static inline hal_state hal_lock(void)
{
    hal_state state;
    __asm__ volatile("mrs %0, primask\n\tcpsid i" : "=r"(state) : : "memory");
    return state;
}

static inline void hal_unlock(hal_state state)
{
    __asm__ volatile("msr primask, %0" : : "r"(state) : "memory");
}

#endif
