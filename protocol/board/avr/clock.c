/* The pulse clock, and the count of milliseconds based on it. */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "clock.h"
#include "pins.h"
#include "tick.h"

#define PRESCALE 8UL

static uint32_t now_ms;
static uint8_t part;
volatile uint8_t clock_late_ticks; /* late ticks, which began after the next one was due; stops at 255 */

void clock_start(void)
{
    TCCR2A = 1 << WGM21;
    TCCR2B = 1 << CS21;
    OCR2A = (uint8_t)(F_CPU / PRESCALE / TICK_HZ - 1);
    TIMSK2 = 1 << OCIE2A;
}

uint32_t hal_ms(void)
{
    hal_state lock = hal_lock();
    uint32_t now = now_ms;
    hal_unlock(lock);
    return now;
}

/* A pulse begins at the end of one tick and ends at the beginning of the next. */
ISR(TIMER2_COMPA_vect)
{
    PORTD &= (uint8_t)~(1 << PAN_STEP_BIT);
    PORTD &= (uint8_t)~(1 << TILT_STEP_BIT);
    uint8_t steps = tick(quick_inputs());
    if (++part == TICKS_PER_MS) {
        part = 0;
        now_ms++;
    }
    PORTD |= (uint8_t)(steps << STEP_SHIFT);
    if ((TIFR2 & (1 << OCF2A)) && clock_late_ticks != 0xFF)
        clock_late_ticks++;
}
