#include "world.h"

#include <string.h>

#include "board.h"
#include "hal.h"
#include "tick.h"

#define SENT_BYTES 65536

static struct {
    uint32_t now_ms, received, taken, sent, polls;
    uint8_t ring[RECEIVE_BYTES];
    uint8_t line[SENT_BYTES];
    int32_t place[AXES];
    uint32_t steps[AXES];
    bool up[AXES];
    uint32_t ticks, slow_ticks;
    uint32_t closed_at[2], closed_for[2]; /* the contacts' latest pulses, in ticks */
    uint8_t inputs, outputs, stuck, flags, part;
} world;

static void one_tick(void);
static void pass(uint32_t ticks);

uint32_t hal_ms(void)
{
    return world.now_ms;
}

/* While the main loop works, time goes on: here for each byte that it takes. */
bool hal_receive(uint8_t *byte)
{
    if (world.taken == world.received)
        return false;
    pass(world.slow_ticks);
    *byte = world.ring[world.taken++ % RECEIVE_BYTES];
    return true;
}

uint8_t hal_send_room(void)
{
    return SEND_BYTES;
}

void hal_send(const uint8_t *bytes, uint8_t count)
{
    if (count > SENT_BYTES - world.sent)
        return;
    memcpy(world.line + world.sent, bytes, count);
    world.sent += count;
}

uint8_t hal_inputs(void)
{
    uint8_t now = (uint8_t)(world.place[PAN] >= 0 ? INPUT_PAN_FLAG : 0);
    now |= (uint8_t)(world.place[TILT] >= 0 ? INPUT_TILT_FLAG : 0);
    world.flags = (uint8_t)((now & ~world.stuck) | (world.flags & world.stuck));
    return world.flags | world.inputs;
}

void hal_direction(uint8_t axis, bool up)
{
    world.up[axis] = up;
}

static void output(uint8_t bit, bool on)
{
    world.outputs = (uint8_t)(on ? world.outputs | bit : world.outputs & ~bit);
}

void hal_motors(bool on)
{
    output(4, on);
}

void hal_contact(uint8_t contact, bool closed)
{
    uint8_t bit = (uint8_t)(1 << contact);
    if (closed && !(world.outputs & bit))
        world.closed_at[contact] = world.ticks;
    else if (!closed && (world.outputs & bit))
        world.closed_for[contact] = world.ticks - world.closed_at[contact];
    output(bit, closed);
}

static void poll(void)
{
    do {
        board_poll();
        world.polls++;
    } while (world.taken != world.received);
}

void world_start(uint32_t boot_id, uint8_t cause, uint8_t fitted, int32_t pan, int32_t tilt)
{
    memset(&world, 0, sizeof world);
    world.place[PAN] = pan;
    world.place[TILT] = tilt;
    board_start(boot_id, cause, fitted);
    poll();
}

void world_feed(const uint8_t *bytes, uint32_t count)
{
    while (count--) {
        if (world.received - world.taken == RECEIVE_BYTES)
            poll();
        world.ring[world.received++ % RECEIVE_BYTES] = *bytes++;
    }
    poll();
}

static void one_tick(void)
{
    world.ticks++;
    uint8_t steps = tick(hal_inputs());
    for (uint8_t axis = 0; axis < AXES; axis++) {
        if (!(steps & (1 << axis)))
            continue;
        world.place[axis] += world.up[axis] ? 1 : -1;
        world.steps[axis]++;
    }
}

static void pass(uint32_t ticks)
{
    while (ticks--) {
        one_tick();
        if (++world.part == TICKS_PER_MS) {
            world.part = 0;
            world.now_ms++;
        }
    }
}

void world_slow(uint32_t ticks)
{
    world.slow_ticks = ticks;
}

uint32_t world_closed_for(uint8_t contact)
{
    return world.closed_for[contact];
}

void world_ticks(uint32_t count)
{
    while (count--)
        one_tick();
}

void world_run(uint32_t milliseconds)
{
    while (milliseconds--) {
        pass(TICKS_PER_MS);
        poll();
    }
}

uint32_t world_take(uint8_t *out, uint32_t most)
{
    uint32_t count = world.sent < most ? world.sent : most;
    memcpy(out, world.line, count);
    memmove(world.line, world.line + count, world.sent - count);
    world.sent -= count;
    return count;
}

int32_t world_place(uint8_t axis)
{
    return world.place[axis];
}

uint32_t world_steps(uint8_t axis)
{
    return world.steps[axis];
}

void world_stick_flags(uint8_t stuck)
{
    hal_inputs();
    world.stuck = stuck;
}

void world_inputs(uint8_t inputs)
{
    world.inputs = inputs;
    poll();
}

uint8_t world_outputs(void)
{
    return world.outputs;
}

uint8_t world_state(void)
{
    return board.state;
}

uint32_t world_finished(void)
{
    return board.finished_id;
}

uint8_t world_known(void)
{
    return board.known;
}

uint32_t world_ms(void)
{
    return world.now_ms;
}

uint32_t world_polls(void)
{
    return world.polls;
}
