/* Sections that no interrupt can enter. */
#ifndef FULLTURN_HAL_SECTION_H
#define FULLTURN_HAL_SECTION_H

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>

typedef uint8_t hal_state;

static inline hal_state hal_lock(void)
{
    hal_state state = SREG;
    cli(); /* it also stops the compiler from moving memory accesses across */
    return state;
}

static inline void hal_unlock(hal_state state)
{
    __asm__ volatile("" ::: "memory");
    SREG = state;
}

#endif
