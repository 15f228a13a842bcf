/* The pin assignment; the table in ../README.md says the same. */
#ifndef FULLTURN_PINS_H
#define FULLTURN_PINS_H

#include <avr/io.h>

#include "hal.h"
#include "message.h"

/* Port D: bits 0 and 1 are the serial line. */
#define STOP_SWITCH_BIT PD2 /* closed to ground; open or with a broken wire it reads high */
#define PAN_STEP_BIT PD4
#define TILT_STEP_BIT PD5
#define STEP_SHIFT PAN_STEP_BIT
#define PAN_DIR_BIT PD6 /* high: upward, which for pan is clockwise seen from above */
#define TILT_DIR_BIT PD7

/* Port B. */
#define MOTORS_OFF_BIT PB0 /* low: both drivers on */
#define HALF_PRESS_BIT PB1 /* high: current through the opto-coupler, contact closed */
#define RELEASE_BIT PB2

/* Port C, bits 0 to 4, in the order of the INPUT_ bits. Low: flag on, contact closed. High: limit met, or its wire is
 * broken. */
#define QUICK_INPUTS (INPUT_PAN_FLAG | INPUT_TILT_FLAG | INPUT_PAN_LIMIT | INPUT_TILT_LIMIT | INPUT_SYNC)
#define LOW_IS_ON (INPUT_PAN_FLAG | INPUT_TILT_FLAG | INPUT_SYNC)
#define SUPPLY_CHANNEL 5 /* PC5, through the divider */

static inline uint8_t quick_inputs(void)
{
    return (PINC ^ LOW_IS_ON) & QUICK_INPUTS;
}

/* The supply in eighths of a volt at 8 bits, reference 5 V, divider 10:1 (50 V full scale). */
#ifndef SUPPLY_LOW_VOLTS
#define SUPPLY_LOW_VOLTS 10
#endif
#define SUPPLY_OF_VOLTS(volts) ((uint8_t)((volts) * 255UL / 50UL))
#define SUPPLY_LOW_BELOW SUPPLY_OF_VOLTS(SUPPLY_LOW_VOLTS)
#define SUPPLY_GOOD_ABOVE SUPPLY_OF_VOLTS(SUPPLY_LOW_VOLTS + 1)
#define SUPPLY_SAMPLES 8 /* this many in a row count as a change */

#ifndef FITTED
#define FITTED (FITTED_SYNC | FITTED_PAN_SWITCH | FITTED_TILT_SWITCH | FITTED_HALF_PRESS)
#endif

#endif
