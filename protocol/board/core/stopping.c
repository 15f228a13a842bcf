#include "stopping.h"

#include "axis.h"
#include "board.h"
#include "codec.h"
#include "exposing.h"
#include "hal.h"
#include "homing.h"
#include "version.h"

void stopping_finish(uint8_t outcome)
{
    uint8_t payload[MAX_PAYLOAD];
    struct finished finished = {
        .command_id = board.running_id,
        .outcome = outcome,
        .at = {axis_position(PAN), axis_position(TILT)},
        .clock_ms = hal_ms(),
    };
    board.finished_id = board.running_id;
    board.finished_outcome = outcome;
    board.finished_clock_ms = finished.clock_ms;
    board.running_id = 0;
    board.state = board.armed ? READY : DISARMED;
    link_notify(&board.link, FINISHED, payload, codec_finished(&finished, payload));
}

/* Ends whatever was running, disarmed. */
static void settle(bool say_held)
{
    if (board.running_id != 0)
        stopping_finish(CUT_SHORT);
    board.state = DISARMED;
    board.by_itself = false;
    if (say_held) {
        uint8_t payload[MAX_PAYLOAD];
        uint8_t cause = version_cause(board.cause, board.host_minor);
        struct held held = {cause, {axis_position(PAN), axis_position(TILT)}, hal_ms()};
        link_notify(&board.link, HELD, payload, codec_held(&held, payload));
    }
}

void stopping_at_rest(void)
{
    settle(board.by_itself);
}

void stopping_ramp(uint8_t cause)
{
    if (board.state == STOPPING || (board.state == DISARMED && !board.armed))
        return;
    board.armed = false;
    board.cause = cause;
    board.by_itself = cause != HOST_STOP;
    exposing_end();
    axis_brake(PAN);
    axis_brake(TILT);
    board.state = STOPPING;
    if (axis_at_rest(PAN) && axis_at_rest(TILT))
        stopping_at_rest();
}

void stopping_cut(uint8_t cause)
{
    bool say_held = cause != HOST_HALT && board.state != DISARMED;
    exposing_end();
    axis_halt(PAN);
    axis_halt(TILT);
    board.armed = false;
    board.known = cause == ZERO_NOT_FOUND ? homing_done() : 0;
    board.cause = cause;
    if (cause == STOP_SWITCH)
        hal_motors(false); /* they must stay without power when the switch closes again */
    settle(say_held);
}
