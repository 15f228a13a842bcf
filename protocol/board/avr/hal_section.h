/* Sections that no interrupt can enter. */
#ifndef FULLTURN_HAL_SECTION_H
#define FULLTURN_HAL_SECTION_H

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>

static inline uint8_t hal_lock(void)
{
    uint8_t state = SREG;
    cli(); /* it also stops the compiler from moving memory accesses across */
    return state;
}

static inline void hal_unlock(uint8_t state)
{
    __asm__ volatile("" ::: "memory");
    SREG = state;
}

#endif
