/* The pulse clock, and the count of milliseconds based on it. */
#include "clock.h"

#include "pins.h"
#include "tick.h"
#include "vectors.h"

#define TIMER_HZ 16000000UL

static volatile uint32_t clock_ms;
volatile uint8_t clock_late_ticks; /* late ticks, which began after the next one was due; stops at 255 */

void clock_start(void)
{
    TIMER_PRESCALER = 0;
    TIMER_COUNT = TIMER_HZ / TICK_HZ;
    TIMER_SHORTCUTS = TIMER_RESTARTS;
    TIMER_INTERRUPTS = TIMER_ON_REACHED;
    NVIC_ENABLE = 1UL << TIMER_INTERRUPT;
    TIMER_START = 1;
}

/* Reading an aligned word cannot be interrupted half-way. */
uint32_t hal_ms(void)
{
    return clock_ms;
}

/* A function of its own, so that the tests can stop the simulated controller once in each millisecond. */
__attribute__((noinline)) void clock_millisecond(void)
{
    clock_ms++;
}

/* A pulse begins at the end of one tick and ends at the beginning of the next. */
void on_timer(void)
{
    static uint8_t part;
    TIMER_REACHED = 0;
    GPIO_CLEAR = 1UL << PAN_STEP_BIT | 1UL << TILT_STEP_BIT;
    uint32_t steps = tick(quick_inputs());
    if (++part == TICKS_PER_MS) {
        part = 0;
        clock_millisecond();
    }
    if (steps != 0)
        GPIO_SET = steps << STEP_SHIFT;
    if (TIMER_REACHED != 0 && clock_late_ticks != 0xFF)
        clock_late_ticks++;
}
