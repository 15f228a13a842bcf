/* Fullturn's board on an ATmega328P-class controller: pins, supply, boot id, and the main loop. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "board.h"
#include "clock.h"
#include "pins.h"
#include "serial.h"

static uint32_t EEMEM starts;

static void pins_start(void)
{
    PORTB = 1 << MOTORS_OFF_BIT;
    DDRB = 1 << MOTORS_OFF_BIT | 1 << HALF_PRESS_BIT | 1 << RELEASE_BIT;
    PORTC = QUICK_INPUTS; /* pull-ups */
    PORTD = 1 << STOP_SWITCH_BIT;
    DDRD = 1 << PAN_STEP_BIT | 1 << TILT_STEP_BIT | 1 << PAN_DIR_BIT | 1 << TILT_DIR_BIT;
    ADMUX = 1 << REFS0 | 1 << ADLAR | SUPPLY_CHANNEL; /* compared with the board's 5 V, high byte only */
    ADCSRA = 1 << ADEN | 1 << ADSC | 1 << ADPS2 | 1 << ADPS1 | 1 << ADPS0;
}

/* Reads the supply whenever a conversion is ready, about every 0.1 ms. */
static bool supply_is_low(void)
{
    static bool low;
    static uint8_t against;
    if (ADCSRA & (1 << ADSC))
        return low;
    uint8_t supply = ADCH;
    ADCSRA |= 1 << ADSC;
    bool other = low ? supply > SUPPLY_GOOD_ABOVE : supply < SUPPLY_LOW_BELOW;
    against = other ? (uint8_t)(against + 1) : 0;
    if (against == SUPPLY_SAMPLES) {
        low = !low;
        against = 0;
    }
    return low;
}

uint8_t hal_inputs(void)
{
    uint8_t inputs = quick_inputs();
    if (PIND & (1 << STOP_SWITCH_BIT))
        inputs |= INPUT_STOP_OPEN;
    if (supply_is_low())
        inputs |= INPUT_SUPPLY_LOW;
    return inputs;
}

/* The clock's interrupt writes to the same port, so each of these must be one instruction on one constant bit. */
void hal_direction(uint8_t axis, bool up)
{
    if (axis == PAN && up)
        PORTD |= 1 << PAN_DIR_BIT;
    else if (axis == PAN)
        PORTD &= (uint8_t)~(1 << PAN_DIR_BIT);
    else if (up)
        PORTD |= 1 << TILT_DIR_BIT;
    else
        PORTD &= (uint8_t)~(1 << TILT_DIR_BIT);
}

void hal_motors(bool on)
{
    if (on)
        PORTB &= (uint8_t)~(1 << MOTORS_OFF_BIT);
    else
        PORTB |= 1 << MOTORS_OFF_BIT;
}

void hal_contact(uint8_t contact, bool closed)
{
    uint8_t bit = contact == CONTACT_RELEASE ? 1 << RELEASE_BIT : 1 << HALF_PRESS_BIT;
    if (closed)
        PORTB |= bit;
    else
        PORTB &= (uint8_t)~bit;
}

/* Counts the starts and multiplies the count by an odd factor, so that no two of 2^32 starts share an id. */
static uint32_t draw_boot_id(void)
{
    uint32_t count = eeprom_read_dword(&starts) + 1;
    if (count == 0)
        count = 1;
    eeprom_update_dword(&starts, count);
    return count * 2654435769UL;
}

/* Why the controller started. At power-on the supply has also passed the brown-out level. */
static uint8_t cause_of_start(uint8_t flags)
{
    if (flags & (1 << PORF))
        return POWER_ON;
    if (flags & (1 << WDRF))
        return WATCHDOG;
    return flags & (1 << BORF) ? SUPPLY_LOW : POWER_ON;
}

int main(void)
{
    uint8_t cause = cause_of_start(MCUSR);
    MCUSR = 0; /* otherwise the watchdog stays on, and the next start looks like this one */
    wdt_disable();
    pins_start();
    serial_start();
    set_sleep_mode(SLEEP_MODE_IDLE);
    board_start(draw_boot_id(), cause, FITTED);
    wdt_enable(WDTO_120MS);
    clock_start();
    sei();
    for (;;) {
        board_poll();
        wdt_reset();
        sleep_mode(); /* until the next tick at the latest */
    }
}
