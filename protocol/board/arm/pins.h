/* The pin assignment; the table in ../README.md says the same. */
#ifndef FULLTURN_PINS_H
#define FULLTURN_PINS_H

#include "hal.h"
#include "message.h"
#include "nrf51.h"

#define PAN_STEP_BIT 1
#define TILT_STEP_BIT 2
#define STEP_SHIFT PAN_STEP_BIT
#define PAN_DIR_BIT 3 /* high: upward, which for pan is clockwise seen from above */
#define TILT_DIR_BIT 4
#define MOTORS_OFF_BIT 5 /* low: both drivers on */
#define HALF_PRESS_BIT 6 /* high: current through the opto-coupler, contact closed */
#define RELEASE_BIT 7

/* Bits 8 to 12, in the order of the INPUT_ bits. Low: flag on, contact closed. High: limit met, or its wire is broken. */
#define PAN_FLAG_BIT 8
#define TILT_FLAG_BIT 9
#define PAN_LIMIT_BIT 10
#define TILT_LIMIT_BIT 11
#define SYNC_CONTACT_BIT 12
#define STOP_SWITCH_BIT 13 /* closed to ground; open or with a broken wire it reads high */
#define SUPPLY_BIT 14      /* from a voltage supervisor; low, or with a broken wire: the supply is low */
#define TXD_BIT 24
#define RXD_BIT 25

#define QUICK_SHIFT PAN_FLAG_BIT
#define QUICK_INPUTS (INPUT_PAN_FLAG | INPUT_TILT_FLAG | INPUT_PAN_LIMIT | INPUT_TILT_LIMIT | INPUT_SYNC)
#define LOW_IS_ON (INPUT_PAN_FLAG | INPUT_TILT_FLAG | INPUT_SYNC)
#define SUPPLY_MS 2 /* a change counts after this time */

static inline uint8_t quick_inputs(void)
{
    return (uint8_t)((GPIO_IN >> QUICK_SHIFT) ^ LOW_IS_ON) & QUICK_INPUTS;
}

#ifndef FITTED
#define FITTED (FITTED_SYNC | FITTED_PAN_SWITCH | FITTED_TILT_SWITCH | FITTED_HALF_PRESS)
#endif

#endif
