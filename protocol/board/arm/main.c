/* Fullturn's board on an nRF51822-class controller: pins, supply, boot id, and the main loop. */
#include "board.h"
#include "clock.h"
#include "pins.h"
#include "serial.h"

#define OUTPUTS                                                                                                        \
    (1UL << PAN_STEP_BIT | 1UL << TILT_STEP_BIT | 1UL << PAN_DIR_BIT | 1UL << TILT_DIR_BIT | 1UL << MOTORS_OFF_BIT |    \
     1UL << HALF_PRESS_BIT | 1UL << RELEASE_BIT)
#define WATCHDOG_SLOW_HZ 32768UL
#define WATCHDOG_PART 8UL /* it bites after this part of a second */

static void pins_start(void)
{
    GPIO_SET = 1UL << MOTORS_OFF_BIT;
    GPIO_OUTPUTS = OUTPUTS;
    for (uint8_t pin = PAN_FLAG_BIT; pin <= STOP_SWITCH_BIT; pin++)
        GPIO_CONFIG(pin) = GPIO_PULL_UP;
    GPIO_CONFIG(SUPPLY_BIT) = GPIO_PULL_DOWN;
    GPIO_SET = 1UL << TXD_BIT;
    GPIO_OUTPUTS = 1UL << TXD_BIT;
    GPIO_CONFIG(RXD_BIT) = GPIO_PULL_UP;
}

static bool supply_is_low(void)
{
    static bool low;
    static uint32_t as_before_ms;
    bool now = (GPIO_IN >> SUPPLY_BIT & 1) == 0;
    if (now == low)
        as_before_ms = hal_ms();
    else if (hal_ms() - as_before_ms >= SUPPLY_MS)
        low = now;
    return low;
}

uint8_t hal_inputs(void)
{
    uint8_t inputs = quick_inputs();
    if (GPIO_IN >> STOP_SWITCH_BIT & 1)
        inputs |= INPUT_STOP_OPEN;
    if (supply_is_low())
        inputs |= INPUT_SUPPLY_LOW;
    return inputs;
}

static void output(uint8_t bit, bool high)
{
    if (high)
        GPIO_SET = 1UL << bit;
    else
        GPIO_CLEAR = 1UL << bit;
}

void hal_direction(uint8_t axis, bool up)
{
    output(axis == PAN ? PAN_DIR_BIT : TILT_DIR_BIT, up);
}

void hal_motors(bool on)
{
    output(MOTORS_OFF_BIT, !on);
}

void hal_contact(uint8_t contact, bool closed)
{
    output(contact == CONTACT_RELEASE ? RELEASE_BIT : HALF_PRESS_BIT, closed);
}

/* Four bytes of noise from the controller's own generator. Two starts share an id once in 2^32. */
static uint32_t draw_boot_id(void)
{
    uint32_t id = 0;
    RANDOM_CONFIG = RANDOM_UNBIASED;
    RANDOM_START = 1;
    for (uint8_t byte = 0; byte < 4; byte++) {
        while (RANDOM_READY == 0)
            ;
        RANDOM_READY = 0;
        id = id << 8 | RANDOM_BYTE;
    }
    return id != 0 ? id : 1;
}

/* Why the controller started. A dip of its own supply looks like a start from nothing. */
static uint8_t cause_of_start(void)
{
    uint32_t reason = POWER_RESET_REASON;
    POWER_RESET_REASON = reason; /* otherwise the next start looks like this one */
    return reason & (RESET_BY_WATCHDOG | RESET_BY_LOCKUP) ? WATCHDOG : POWER_ON;
}

static void watchdog_start(void)
{
    WATCHDOG_CONFIG = WATCHDOG_RUNS_ASLEEP;
    WATCHDOG_COUNT = WATCHDOG_SLOW_HZ / WATCHDOG_PART;
    WATCHDOG_START = 1;
}

int main(void)
{
    pins_start();
    CLOCK_START_CRYSTAL = 1; /* the controller's own oscillator is too far off for the line and for speeds */
    while (CLOCK_CRYSTAL_STARTED == 0)
        ;
    serial_start();
    board_start(draw_boot_id(), cause_of_start(), FITTED);
    watchdog_start();
    clock_start();
    for (;;) { /* it never sleeps: the motors take a thousand times more */
        board_poll();
        WATCHDOG_RELOAD = WATCHDOG_KEY;
    }
}
