/* What the core needs from its platform: a clock, bytes, pins, and sections that nothing interrupts.
 *
 * A platform puts hal_section.h on the include path, with hal_lock() and hal_unlock() as inline functions. Its pulse
 * clock calls tick() of tick.h TICK_HZ times a second; everything else is called from the main loop.
 */
#ifndef FULLTURN_HAL_H
#define FULLTURN_HAL_H

#include <stdbool.h>
#include <stdint.h>

#include "hal_section.h"

/* Keeps a value before a locked section: compilers like to move its arithmetic inside. */
#define HAL_SETTLE(value) __asm__ volatile("" : "+r"(value))

/* The inputs as bits; 1 means: flag on, limit met, contact closed, switch open, supply low. */
#define INPUT_PAN_FLAG 0x01
#define INPUT_TILT_FLAG 0x02
#define INPUT_PAN_LIMIT 0x04
#define INPUT_TILT_LIMIT 0x08
#define INPUT_SYNC 0x10
#define INPUT_STOP_OPEN 0x20
#define INPUT_SUPPLY_LOW 0x40

#define CONTACT_HALF_PRESS 0
#define CONTACT_RELEASE 1

/* Milliseconds since the start, modulo 2^32. */
uint32_t hal_ms(void);

/* Takes one byte from the line; false if there is none. */
bool hal_receive(uint8_t *byte);
/* How many bytes hal_send() would take without loss. */
uint8_t hal_send_room(void);
void hal_send(const uint8_t *bytes, uint8_t count);

uint8_t hal_inputs(void);
void hal_direction(uint8_t axis, bool up);
void hal_motors(bool on);
void hal_contact(uint8_t contact, bool closed);

#endif
