#include "judging.h"

#include "hal.h"

static bool set_axis_fits(const struct set_axis *set)
{
    return set->speed > 0 && set->speed <= MAX_STEP_RATE && set->accel > 0 && set->min_steps < set->max_steps;
}

static bool reference_fits(const struct board *board, const struct reference *reference)
{
    for (uint8_t name = 0; name < AXES; name++) {
        uint32_t most = board->described & (1 << name) ? board->settings[name].speed : MAX_STEP_RATE;
        if (reference->search[name] == 0 || reference->search[name] > most)
            return false;
    }
    return reference->creep_divisor != 0;
}

/* All that a shaper must be; no impulses at all are a shaper too, one that does nothing. */
static bool shaper_fits(const struct set_shaper *set)
{
    const struct impulse *impulses = set->impulses;
    uint32_t sum = impulses[0].share;
    bool over = impulses[0].share == 0;
    if (impulses[0].delay_ms != 0)
        return false;
    for (uint8_t number = 1; number < MOST_IMPULSES; number++) {
        const struct impulse *impulse = &impulses[number];
        sum += impulse->share;
        if (impulse->share == 0) {
            over = true;
            if (impulse->delay_ms != 0)
                return false;
        } else if (over || impulse->delay_ms > LONGEST_SHAPER_MS
                   || impulse->delay_ms < impulses[number - 1].delay_ms + CLOSEST_IMPULSES_MS) {
            return false;
        }
    }
    return sum == SHARES_WHOLE || sum == 0;
}

static bool makes_sense(const struct board *board, const struct request *request)
{
    if (request->command_id == 0)
        return false;
    switch (request->kind) {
    case SET_AXIS:
        return set_axis_fits(&request->is.set_axis);
    case SET_SHAPER:
        return shaper_fits(&request->is.set_shaper);
    case ARM:
        return request->is.arm.silence_ms != 0;
    case REFERENCE:
        return reference_fits(board, &request->is.reference);
    case EXPOSE:
        return request->is.expose.press_ms != 0;
    default:
        return true;
    }
}

static enum reason refused_arm(const struct board *board, const struct arm *arm, uint8_t inputs)
{
    if (board->state > READY || (inputs & (INPUT_STOP_OPEN | INPUT_SUPPLY_LOW)))
        return BUSY;
    if (arm->boot_id != board->boot_id)
        return WRONG_BOOT;
    return board->described == (1 << AXES) - 1 ? NOT_REFUSED : NOT_CONFIGURED;
}

static enum reason refused_shaper(const struct board *board, const struct set_shaper *set)
{
    if (board->state > READY)
        return BUSY;
    return board->described & (1 << set->axis) ? NOT_REFUSED : NOT_CONFIGURED;
}

static enum reason refused_move(const struct board *board, const struct move *move)
{
    if (board->known != BOTH_KNOWN)
        return UNKNOWN_POSITION;
    for (uint8_t name = 0; name < AXES; name++) {
        const struct set_axis *setting = &board->settings[name];
        if (move->target[name] < setting->min_steps || move->target[name] > setting->max_steps)
            return OUT_OF_LIMITS;
    }
    return NOT_REFUSED;
}

enum reason judging_refusal(const struct board *board, const struct request *request, uint8_t inputs)
{
    if (!makes_sense(board, request))
        return BAD_VALUE;
    if (request->kind == SET_AXIS)
        return board->state == DISARMED ? NOT_REFUSED : BUSY;
    if (request->kind == SET_SHAPER)
        return refused_shaper(board, &request->is.set_shaper);
    if (request->kind == ARM)
        return refused_arm(board, &request->is.arm, inputs);
    if (!board->armed)
        return NOT_ARMED;
    if (board->state != READY)
        return BUSY;
    return request->kind == MOVE ? refused_move(board, &request->is.move) : NOT_REFUSED;
}
