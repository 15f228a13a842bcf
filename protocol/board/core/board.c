#include "board.h"

#include <string.h>

#include "axis.h"
#include "codec.h"
#include "exposing.h"
#include "hal.h"
#include "homing.h"
#include "indexing.h"
#include "judging.h"
#include "stopping.h"
#include "version.h"
#include "watching.h"

struct board board;

void board_start(uint32_t boot_id, uint8_t cause, uint8_t fitted)
{
    uint8_t payload[MAX_PAYLOAD];
    memset(&board, 0, sizeof board);
    link_start(&board.link);
    axis_start(PAN);
    axis_start(TILT);
    indexing_start();
    exposing_end();
    hal_motors(false);
    board.boot_id = boot_id;
    board.cause = cause;
    board.fitted = fitted;
    board.done_ms = hal_ms();
    board.cut = hal_inputs() & (INPUT_STOP_OPEN | INPUT_SUPPLY_LOW);
    link_notify(&board.link, BOOTED, payload, codec_booted(boot_id, version_cause(cause, 0), payload));
}

/* Carrying out accepted requests. */

static void arm(const struct arm *arm)
{
    board.silence_ms = arm->silence_ms;
    board.armed = true;
    board.state = READY;
    board.cause = NO_CAUSE;
    hal_motors(true);
}

static void run(const struct request *request)
{
    board.running_id = request->command_id;
    if (request->kind == REFERENCE) {
        board.state = REFERENCING;
        homing_begin(&request->is.reference, board.settings, board.fitted);
        board.known = homing_known();
    } else if (request->kind == EXPOSE) {
        board.state = EXPOSING;
        exposing_begin(&request->is.expose, hal_ms());
    } else {
        board.state = MOVING;
        for (uint8_t name = 0; name < AXES; name++) {
            const struct set_axis *setting = &board.settings[name];
            bool up = request->is.move.target[name] >= axis_position(name);
            axis_move(name, request->is.move.target[name], setting->speed, setting->accel, board.shapers[name]);
            indexing_begin(name, up);
        }
    }
}

/* By serial number arithmetic: RFC 1982, section 3.2. Every id is after 0, which means none. */
static bool is_after(uint32_t command_id, uint32_t last_id)
{
    uint32_t ahead = command_id - last_id;
    return last_id == 0 || (ahead != 0 && ahead < 0x80000000UL);
}

static enum reason command(const struct request *request)
{
    if (request->command_id != 0) {
        if (request->command_id == board.last_id)
            return request->kind == board.last_kind ? NOT_REFUSED : STALE_ID;
        if (!is_after(request->command_id, board.last_id))
            return STALE_ID;
    }
    enum reason reason = judging_refusal(&board, request, hal_inputs());
    if (reason != NOT_REFUSED)
        return reason;
    board.last_id = request->command_id;
    board.last_kind = request->kind;
    if (request->kind == SET_AXIS) {
        uint8_t name = request->is.set_axis.axis;
        board.settings[name] = request->is.set_axis;
        board.described |= (uint8_t)(1 << name);
        memset(board.shapers[name], 0, sizeof board.shapers[name]);
    } else if (request->kind == SET_SHAPER) {
        memcpy(board.shapers[request->is.set_shaper.axis], request->is.set_shaper.impulses, sizeof board.shapers[0]);
    } else if (request->kind == ARM) {
        arm(&request->is.arm);
    } else {
        run(request);
    }
    return NOT_REFUSED;
}

/* Answering. */

static void refuse_or_accept(uint8_t reason)
{
    if (reason == NOT_REFUSED)
        link_reply(&board.link, ACCEPTED, &reason, 0);
    else
        link_reply(&board.link, REFUSED, &reason, 1);
}

/* Never inlined: each keeps its payload on the stack only while it runs. */
#define ALONE __attribute__((noinline))

ALONE static void answer_hello(const struct hello *hello)
{
    uint8_t payload[MAX_PAYLOAD];
    struct welcome welcome = {hello->nonce, board.boot_id, board.last_id, board.fitted};
    if (hello->major != VERSION_MAJOR) {
        refuse_or_accept(VERSION);
        return;
    }
    board.host_minor = hello->minor;
    link_reply(&board.link, WELCOME, payload, codec_welcome(&welcome, payload));
}

ALONE static void answer_status(void)
{
    uint8_t payload[MAX_PAYLOAD];
    struct status status = {
        .boot_id = board.boot_id,
        .state = board.state,
        .flags = (uint8_t)(board.known | (board.armed ? FLAG_ARMED : 0)),
        .cause = version_cause(board.cause, board.host_minor),
        .at = {axis_position(PAN), axis_position(TILT)},
        .running_id = board.running_id,
        .finished_id = board.finished_id,
        .finished_outcome = board.finished_outcome,
        .finished_clock_ms = board.finished_clock_ms,
        .clock_ms = hal_ms(),
    };
    link_reply(&board.link, STATUS, payload, codec_status(&status, payload));
}

ALONE static void answer_index(void)
{
    uint8_t payload[MAX_PAYLOAD];
    link_reply(&board.link, INDEX, payload, codec_index(indexing_edges, payload));
}

static void obey(const struct request *request)
{
    switch (request->kind) {
    case HELLO:
        answer_hello(&request->is.hello);
        return;
    case GET_STATUS:
        answer_status();
        return;
    case GET_INDEX:
        answer_index();
        return;
    case STOP:
        stopping_ramp(HOST_STOP);
        break;
    case HALT:
        stopping_cut(HOST_HALT);
        break;
    default:
        refuse_or_accept(command(request));
        return;
    }
    refuse_or_accept(NOT_REFUSED);
}

/* Reacting to time and the line. */

static void millisecond(uint32_t now_ms)
{
    axis_update(PAN);
    axis_update(TILT);
    watching_time(now_ms);
    if (board.state == MOVING)
        indexing_update();
    bool at_rest = axis_at_rest(PAN) && axis_at_rest(TILT);
    if (board.state == MOVING && at_rest) {
        stopping_finish(ARRIVED);
    } else if (board.state == STOPPING && at_rest) {
        stopping_at_rest();
    } else if (board.state == REFERENCING) {
        enum homing_result result = homing_update();
        board.known = homing_known();
        if (result == HOMING_FAILED)
            stopping_cut(ZERO_NOT_FOUND);
        else if (result == HOMING_DONE)
            stopping_finish(REFERENCED);
    } else if (board.state == EXPOSING) {
        enum outcome outcome = exposing_update(now_ms, (board.fitted & FITTED_SYNC) != 0);
        if (outcome == NO_OUTCOME)
            return;
        exposing_end();
        stopping_finish((uint8_t)outcome);
    }
}

static void listen(void)
{
    struct request request;
    uint8_t byte;
    bool new = false;
    /* A reply must always fit; a request that cannot be answered yet waits in the receive buffer. */
    while (!new && hal_send_room() >= MAX_FRAME && hal_receive(&byte)) {
        new = link_take(&board.link, byte, &request);
        if (board.link.heard) {
            board.link.heard = false;
            board.heard_ms = hal_ms();
        }
        if (byte == 0)
            break;
    }
    if (new)
        obey(&request);
}

void board_poll(void)
{
    watching_inputs();
    while (board.done_ms != hal_ms()) {
        board.done_ms++;
        millisecond(board.done_ms);
    }
    listen();
}
