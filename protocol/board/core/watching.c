#include "watching.h"

#include "board.h"
#include "hal.h"
#include "moment.h"
#include "stopping.h"

static const uint8_t LIMIT_INPUTS[AXES] = {INPUT_PAN_LIMIT, INPUT_TILT_LIMIT};

/* A limit acts when it is met, not while it stays met: the head must be able to move away from it. */
static bool limit_newly_met(uint8_t inputs)
{
    bool newly = false;
    for (uint8_t name = 0; name < AXES; name++) {
        if (!(inputs & LIMIT_INPUTS[name]))
            continue;
        newly = newly || !(board.limits_met & LIMIT_INPUTS[name]);
        board.limits_met |= LIMIT_INPUTS[name];
        board.limit_ms[name] = LIMIT_RELEASE_MS;
    }
    return newly;
}

void watching_inputs(void)
{
    uint8_t inputs = hal_inputs();
    uint8_t cut = inputs & (INPUT_STOP_OPEN | INPUT_SUPPLY_LOW);
    uint8_t newly_cut = cut & (uint8_t)~board.cut;
    board.cut = cut;
    if (newly_cut & INPUT_STOP_OPEN)
        stopping_cut(STOP_SWITCH);
    else if (newly_cut & INPUT_SUPPLY_LOW)
        stopping_cut(SUPPLY_LOW);
    if (limit_newly_met(inputs) && board.state != DISARMED)
        stopping_cut(LIMIT);
}

void watching_time(uint32_t now_ms)
{
    for (uint8_t name = 0; name < AXES; name++) {
        if (board.limit_ms[name] != 0 && --board.limit_ms[name] == 0)
            board.limits_met &= (uint8_t)~LIMIT_INPUTS[name];
    }
    if (board.armed && moment_is_over(now_ms, board.heard_ms, board.silence_ms))
        stopping_ramp(HOST_SILENCE);
}
