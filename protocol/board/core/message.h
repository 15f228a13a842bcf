/* The messages between host and board; the numbers are those of protocol/SPEC.md. */
#ifndef FULLTURN_MESSAGE_H
#define FULLTURN_MESSAGE_H

#include <stdint.h>

#include "config.h"

#define VERSION_MAJOR 1
#define VERSION_MINOR 2
#define FROM_BOARD_BIT 0x80

enum kind {
    HELLO = 0x41,
    GET_STATUS = 0x42,
    SET_AXIS = 0x44,
    ARM = 0x47,
    REFERENCE = 0x48,
    MOVE = 0x4B,
    EXPOSE = 0x4D,
    STOP = 0x4E,
    HALT = 0x50,
    GET_INDEX = 0x53,
    SET_SHAPER = 0x55,
    WELCOME = 0xC3,
    ACCEPTED = 0xC5,
    REFUSED = 0xC6,
    STATUS = 0xC9,
    INDEX = 0xCA,
    BOOTED = 0xE1,
    FINISHED = 0xE2,
    HELD = 0xE4
};

enum state { DISARMED, READY, MOVING, REFERENCING, EXPOSING, STOPPING };

enum outcome { NO_OUTCOME, ARRIVED, REFERENCED, EXPOSED_SYNC, EXPOSED_BLIND, NO_SYNC, CUT_SHORT };

enum cause {
    NO_CAUSE,
    POWER_ON,
    HOST_STOP,
    HOST_HALT,
    HOST_SILENCE,
    LIMIT,
    STALL,
    SUPPLY_LOW,
    STOP_SWITCH,
    WATCHDOG,      /* since version 1.1, like the next */
    ZERO_NOT_FOUND
};

enum reason {
    NOT_REFUSED,
    NOT_ARMED,
    BUSY,
    OUT_OF_LIMITS,
    STALE_ID,
    WRONG_BOOT,
    UNKNOWN_POSITION,
    BAD_VALUE,
    UNKNOWN_KIND,
    VERSION,
    NOT_CONFIGURED
};

#define FLAG_ARMED 1
#define FLAG_PAN_KNOWN 2
#define FLAG_TILT_KNOWN 4
#define BOTH_KNOWN (FLAG_PAN_KNOWN | FLAG_TILT_KNOWN)

#define FITTED_SYNC 1
#define FITTED_PAN_SWITCH 2
#define FITTED_TILT_SWITCH 4
#define FITTED_HALF_PRESS 8
#define CAN_SHAPE 32 /* what every board with this core can do */

struct hello {
    uint8_t major, minor;
    uint32_t nonce;
};

struct set_axis {
    uint8_t axis;
    int32_t min_steps, max_steps;
    uint32_t speed, accel;
};

/* Shares of SHARES_WHOLE; an impulse with share 0 is not used, and without any a ramp stays plain. */
struct impulse {
    uint16_t delay_ms, share;
};

struct set_shaper {
    uint8_t axis;
    struct impulse impulses[MOST_IMPULSES];
};

struct arm {
    uint32_t boot_id, silence_ms;
};

struct reference {
    uint32_t search[AXES];
    uint16_t creep_divisor;
};

struct move {
    int32_t target[AXES];
};

struct expose {
    uint32_t frame;
    uint8_t exposure;
    uint16_t focus_ms;
    uint32_t press_ms, limit_ms;
};

struct request {
    uint8_t kind;
    uint32_t command_id; /* of those with an id */
    union {
        struct hello hello;
        struct set_axis set_axis;
        struct set_shaper set_shaper;
        struct arm arm;
        struct reference reference;
        struct move move;
        struct expose expose;
    } is;
};

struct welcome {
    uint32_t nonce, boot_id, last_command_id;
    uint16_t capabilities;
};

struct status {
    uint32_t boot_id;
    uint8_t state, flags, cause;
    int32_t at[AXES];
    uint32_t running_id, finished_id;
    uint8_t finished_outcome;
    uint32_t finished_clock_ms, clock_ms;
};

struct finished {
    uint32_t command_id;
    uint8_t outcome;
    int32_t at[AXES];
    uint32_t clock_ms;
};

#define EDGE_UPWARD 1
#define EDGE_ON 2

struct edge {
    uint32_t count;
    int32_t at;
    uint8_t how;
};

struct held {
    uint8_t cause;
    int32_t at[AXES];
    uint32_t clock_ms;
};

#endif
