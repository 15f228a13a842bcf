#include "codec.h"

#include "bytes.h"

#define UNKNOWN 0xFF

static uint8_t payload_length(uint8_t kind)
{
    switch (kind) {
    case HELLO:
        return 6;
    case SET_AXIS:
        return 21;
    case SET_SHAPER:
        return 25;
    case ARM:
        return 12;
    case REFERENCE:
        return 14;
    case MOVE:
        return 12;
    case EXPOSE:
        return 19;
    case GET_STATUS:
    case GET_INDEX:
    case STOP:
    case HALT:
        return 0;
    default:
        return UNKNOWN;
    }
}

static void get_set_axis(const uint8_t *at, struct set_axis *out)
{
    at = get_u8(at, &out->axis);
    at = get_i32(at, &out->min_steps);
    at = get_i32(at, &out->max_steps);
    at = get_u32(at, &out->speed);
    get_u32(at, &out->accel);
}

static void get_set_shaper(const uint8_t *at, struct set_shaper *out)
{
    at = get_u8(at, &out->axis);
    for (uint8_t number = 0; number < MOST_IMPULSES; number++) {
        at = get_u16(at, &out->impulses[number].delay_ms);
        at = get_u16(at, &out->impulses[number].share);
    }
}

static void get_expose(const uint8_t *at, struct expose *out)
{
    at = get_u32(at, &out->frame);
    at = get_u8(at, &out->exposure);
    at = get_u16(at, &out->focus_ms);
    at = get_u32(at, &out->press_ms);
    get_u32(at, &out->limit_ms);
}

static enum reason get_command(const uint8_t *at, struct request *out)
{
    at = get_u32(at, &out->command_id);
    switch (out->kind) {
    case SET_AXIS:
        get_set_axis(at, &out->is.set_axis);
        return out->is.set_axis.axis < AXES ? NOT_REFUSED : BAD_VALUE;
    case SET_SHAPER:
        get_set_shaper(at, &out->is.set_shaper);
        return out->is.set_shaper.axis < AXES ? NOT_REFUSED : BAD_VALUE;
    case ARM:
        at = get_u32(at, &out->is.arm.boot_id);
        get_u32(at, &out->is.arm.silence_ms);
        return NOT_REFUSED;
    case REFERENCE:
        at = get_u32(at, &out->is.reference.search[PAN]);
        at = get_u32(at, &out->is.reference.search[TILT]);
        get_u16(at, &out->is.reference.creep_divisor);
        return NOT_REFUSED;
    case MOVE:
        at = get_i32(at, &out->is.move.target[PAN]);
        get_i32(at, &out->is.move.target[TILT]);
        return NOT_REFUSED;
    default:
        get_expose(at, &out->is.expose);
        return NOT_REFUSED;
    }
}

static void get_hello(const uint8_t *at, struct hello *out)
{
    at = get_u8(at, &out->major);
    at = get_u8(at, &out->minor);
    get_u32(at, &out->nonce);
}

enum reason codec_request(uint8_t kind, const uint8_t *payload, uint8_t length, struct request *out)
{
    uint8_t right = payload_length(kind);
    if (right == UNKNOWN)
        return UNKNOWN_KIND;
    if (length != right)
        return BAD_VALUE;
    out->kind = kind;
    out->command_id = 0;
    if (kind == HELLO)
        get_hello(payload, &out->is.hello);
    else if (right != 0)
        return get_command(payload, out);
    return NOT_REFUSED;
}

static uint8_t *put_place(uint8_t *at, const int32_t place[AXES])
{
    at = put_u32(at, (uint32_t)place[PAN]);
    return put_u32(at, (uint32_t)place[TILT]);
}

uint8_t codec_welcome(const struct welcome *welcome, uint8_t *out)
{
    uint8_t *at = put_u8(out, VERSION_MAJOR);
    at = put_u8(at, VERSION_MINOR);
    at = put_u32(at, welcome->nonce);
    at = put_u32(at, welcome->boot_id);
    at = put_u32(at, welcome->last_command_id);
    at = put_u16(at, welcome->capabilities | CAN_SHAPE);
    at = put_u16(at, RECEIVE_BYTES);
    at = put_u32(at, MAX_STEP_RATE);
    return (uint8_t)(at - out);
}

uint8_t codec_status(const struct status *status, uint8_t *out)
{
    uint8_t *at = put_u32(out, status->boot_id);
    at = put_u8(at, status->state);
    at = put_u8(at, status->flags);
    at = put_u8(at, status->cause);
    at = put_place(at, status->at);
    at = put_u32(at, status->running_id);
    at = put_u32(at, status->finished_id);
    at = put_u8(at, status->finished_outcome);
    at = put_u32(at, status->finished_clock_ms);
    at = put_u32(at, status->clock_ms);
    return (uint8_t)(at - out);
}

uint8_t codec_index(const struct edge edges[AXES], uint8_t *out)
{
    uint8_t *at = out;
    for (uint8_t name = 0; name < AXES; name++) {
        at = put_u32(at, edges[name].count);
        at = put_u32(at, (uint32_t)edges[name].at);
        at = put_u8(at, edges[name].how);
    }
    return (uint8_t)(at - out);
}

uint8_t codec_booted(uint32_t boot_id, uint8_t cause, uint8_t *out)
{
    uint8_t *at = put_u32(out, boot_id);
    at = put_u8(at, cause);
    return (uint8_t)(at - out);
}

uint8_t codec_finished(const struct finished *finished, uint8_t *out)
{
    uint8_t *at = put_u32(out, finished->command_id);
    at = put_u8(at, finished->outcome);
    at = put_place(at, finished->at);
    at = put_u32(at, finished->clock_ms);
    return (uint8_t)(at - out);
}

uint8_t codec_held(const struct held *held, uint8_t *out)
{
    uint8_t *at = put_u8(out, held->cause);
    at = put_place(at, held->at);
    at = put_u32(at, held->clock_ms);
    return (uint8_t)(at - out);
}
