/* One axis: from rest to rest on a ramp of constant acceleration, a cruise, and a ramp.
 *
 * A Move follows a plan: its ramp takes whole milliseconds, and each impulse of the axis's shaper adds its share of that
 * ramp, delayed. A Reference does not know its distance beforehand; it and a Stop brake by the distance that is left.
 *
 * The speed is updated each millisecond. The steps are counted down to an absolute target, so their number is exact at
 * any speed. There are two known ways to time steps. A division for each step (D. Austin, "Generate stepper-motor speed
 * profiles in real time", Embedded Systems Programming, January 2005) has a load that grows with the speed. Adding a
 * rate to a phase at a fixed clock, as here, has a constant load.
 */
#ifndef FULLTURN_AXIS_H
#define FULLTURN_AXIS_H

#include <stdbool.h>
#include <stdint.h>

#include "message.h"
#include "tick.h"

struct plan {
    const struct impulse *impulses; /* of the shaper */
    uint32_t at_ms;                 /* since it began */
    uint32_t ramp_ms, flat_ms;      /* up or down; from the beginning to the ramp down */
    uint32_t end_ms;
    int32_t share;                  /* of the acceleration that is in force, in SHARES_WHOLE */
    uint32_t sum;                   /* of it over the milliseconds, which is the speed; in wholes, */
    uint16_t sum_part;              /* and in SHARES_WHOLE */
    float gain;                     /* speed for each whole of it */
    bool follows;
};

struct axis {
    uint32_t target; /* modulo 2^32, like all positions here */
    bool up;
    uint32_t speed; /* steps per tick, times 2^32, as are the next two */
    uint32_t limit;
    uint32_t accel;       /* speed gained each millisecond */
    uint16_t accel_part;  /* its fraction, times 2^16 */
    uint16_t speed_part;
    bool running_out; /* the last step has been made */
    uint32_t hold_ms; /* how long the speed is kept before the ramp down, while running out */
    float brake;      /* highest speed with n steps to go is brake * sqrt(n) */
    struct plan plan;
};

void axis_start(uint8_t name);
/* Call only at rest. `divisor` divides the speed. */
void axis_begin(uint8_t name, uint32_t steps, bool up, uint32_t speed, uint16_t divisor, uint32_t accel);
void axis_go_to(uint8_t name, int32_t target, uint32_t speed, uint16_t divisor, uint32_t accel);
/* The same for a Move, shaped. The impulses must stay where they are. */
void axis_move(uint8_t name, int32_t target, uint32_t speed, uint32_t accel, const struct impulse *impulses);
/* Call each millisecond. */
void axis_update(uint8_t name);
/* The distance to rest, v^2 / 2a in whole steps, never beyond the target. */
void axis_brake(uint8_t name);
/* Stops the pulses. */
void axis_halt(uint8_t name);
/* Starts to watch for the flag; axis_edge() tells whether and where it was met. */
void axis_watch(uint8_t name, enum watch watch);
bool axis_edge(uint8_t name, int32_t *at);
/* Moves the origin: positions grow by `steps`. */
void axis_shift(uint8_t name, uint32_t steps);
bool axis_at_rest(uint8_t name);
int32_t axis_position(uint8_t name);

#endif
