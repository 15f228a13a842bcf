/* The board: its state, and its reactions to requests, time and inputs. */
#ifndef FULLTURN_BOARD_H
#define FULLTURN_BOARD_H

#include <stdbool.h>

#include "link.h"
#include "message.h"

struct board {
    struct link link;
    struct set_axis settings[AXES];
    struct impulse shapers[AXES][MOST_IMPULSES];
    uint32_t boot_id, last_id, running_id, finished_id, finished_clock_ms;
    uint32_t silence_ms, heard_ms, done_ms;
    uint8_t state, cause, finished_outcome, fitted;
    uint8_t described; /* a bit for each axis described by SetAxis */
    uint8_t known;      /* FLAG_PAN_KNOWN, FLAG_TILT_KNOWN */
    uint8_t last_kind;  /* of the last accepted command */
    uint8_t host_minor; /* of the last Hello answered with Welcome, 0 before */
    bool armed;
    bool by_itself; /* it is stopping by itself, and will report it */
    uint8_t limits_met, limit_ms[AXES];
    uint8_t cut; /* the previous inputs, of those that cut the power */
};

extern struct board board;

/* The cause is POWER_ON, SUPPLY_LOW after a dip, or WATCHDOG; `fitted` are the capabilities. */
void board_start(uint32_t boot_id, uint8_t cause, uint8_t fitted);
/* Does what is due and takes in at most one frame. Call it repeatedly, at least every millisecond. */
void board_poll(void);

#endif
