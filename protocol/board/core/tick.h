/* The work of each tick of the pulse clock, TICK_HZ times a second. A phase for each axis grows by its rate; each time
 * it passes 2^32 the axis makes a step. The load is the same at every speed. No division, no table.
 *
 * The main loop touches this data only inside a locked section.
 */
#ifndef FULLTURN_TICK_H
#define FULLTURN_TICK_H

#include <stdbool.h>
#include <stdint.h>

#include "config.h"
#include "hal.h"

#define PHASE_HALF 0x80000000UL /* a motor that rests on whole steps makes one half-way to the next */

enum watch { WATCH_NOTHING, WATCH_ON, WATCH_OFF };

struct drive {
    uint32_t phase;
    uint32_t rate;      /* steps per tick, times 2^32; 0 from the last step on */
    uint32_t left;      /* remaining steps */
    uint32_t edge_left; /* `left` at the moment of the watched flag change */
    uint8_t watch;
};

/* The contact must be seen open, then closed, then open again; later changes do not matter. The odd stages wait for an
 * open contact. */
enum sync_stage { SYNC_IDLE, SYNC_WAITS_OPEN, SYNC_WAITS_CLOSED, SYNC_CLOSED, SYNC_OPEN_AGAIN };

struct sync {
    uint8_t stage;
    uint8_t seen; /* consecutive ticks with the awaited level */
};

extern struct drive tick_drives[AXES];
extern struct sync tick_sync;

static inline bool tick_axis(struct drive *drive, bool flag)
{
    if (drive->watch != WATCH_NOTHING && flag == (drive->watch == WATCH_ON)) {
        drive->watch = WATCH_NOTHING;
        drive->edge_left = drive->left;
    }
    uint32_t rate = drive->rate;
    uint32_t phase = drive->phase + rate;
    drive->phase = phase;
    if (phase >= rate)
        return false;
    uint32_t left = drive->left - 1;
    drive->left = left;
    if (left == 0)
        drive->rate = 0;
    return true;
}

static inline void tick_contact(bool closed)
{
    uint8_t stage = tick_sync.stage;
    if (stage == SYNC_IDLE)
        return;
    if (closed == (stage & 1)) {
        tick_sync.seen = 0;
        return;
    }
    if (++tick_sync.seen < SYNC_TICKS)
        return;
    tick_sync.seen = 0;
    tick_sync.stage = stage == SYNC_OPEN_AGAIN ? SYNC_CLOSED : (uint8_t)(stage + 1);
}

/* Takes the inputs in the form of hal_inputs() and returns the axes that make a step now: bit 0 pan, bit 1 tilt. */
static inline uint8_t tick(uint8_t inputs)
{
    uint8_t steps = 0;
    tick_contact((inputs & INPUT_SYNC) != 0);
    if (tick_axis(&tick_drives[PAN], (inputs & INPUT_PAN_FLAG) != 0))
        steps |= 1 << PAN;
    if (tick_axis(&tick_drives[TILT], (inputs & INPUT_TILT_FLAG) != 0))
        steps |= 1 << TILT;
    return steps;
}

#endif
