#include "homing.h"

#include "axis.h"
#include "hal.h"

enum phase { SEEK, RETREAT, CREEP, HOME, DONE };

struct run {
    uint8_t phase;
    bool braking, known;
    uint32_t search, accel, far;
};

static struct run runs[AXES];
static uint16_t creep_divisor;

/* How far an axis may turn in one phase. */
static uint32_t bound(const struct set_axis *setting)
{
    uint32_t up = setting->max_steps > 0 ? (uint32_t)setting->max_steps : 0;
    uint32_t down = setting->min_steps < 0 ? 0 - (uint32_t)setting->min_steps : 0;
    uint32_t travel = up + down;
    uint32_t margin = travel / SEARCH_MARGIN_PART + SEARCH_MARGIN_STEPS;
    return travel > UINT32_MAX - margin ? UINT32_MAX : travel + margin;
}

static void begin_phase(uint8_t name, uint8_t phase)
{
    struct run *run = &runs[name];
    run->phase = phase;
    run->braking = phase == HOME;
    if (phase == DONE)
        return;
    if (phase == HOME) {
        axis_go_to(name, 0, run->search, creep_divisor, run->accel);
        return;
    }
    axis_begin(name, run->far, phase != RETREAT, run->search, phase == CREEP ? creep_divisor : 1, run->accel);
    axis_watch(name, phase == RETREAT ? WATCH_OFF : WATCH_ON);
}

void homing_begin(const struct reference *reference, const struct set_axis settings[AXES], uint8_t fitted)
{
    uint8_t inputs = hal_inputs();
    creep_divisor = reference->creep_divisor;
    for (uint8_t name = 0; name < AXES; name++) {
        struct run *run = &runs[name];
        run->search = reference->search[name];
        run->accel = settings[name].accel;
        run->far = bound(&settings[name]);
        run->known = false;
        if (!(fitted & (name == PAN ? FITTED_PAN_SWITCH : FITTED_TILT_SWITCH))) {
            axis_shift(name, 0 - (uint32_t)axis_position(name));
            run->known = true;
            begin_phase(name, DONE);
            continue;
        }
        bool flag = (inputs & (name == PAN ? INPUT_PAN_FLAG : INPUT_TILT_FLAG)) != 0;
        begin_phase(name, flag ? RETREAT : SEEK);
    }
}

/* False if the axis has reached the end of its travel without meeting the flag. */
static bool update_axis(uint8_t name)
{
    struct run *run = &runs[name];
    int32_t edge;
    if (run->phase == DONE)
        return true;
    if (run->braking) {
        if (axis_at_rest(name))
            begin_phase(name, (uint8_t)(run->phase + 1));
        return true;
    }
    if (!axis_edge(name, &edge))
        return !axis_at_rest(name);
    if (run->phase == CREEP) {
        axis_shift(name, 0 - (uint32_t)edge);
        run->known = true;
    }
    axis_brake(name);
    run->braking = true;
    return true;
}

enum homing_result homing_update(void)
{
    bool met = true, done = true;
    for (uint8_t name = 0; name < AXES; name++) {
        met = update_axis(name) && met;
        done = done && runs[name].phase == DONE;
    }
    if (!met)
        return HOMING_FAILED;
    return done ? HOMING_DONE : HOMING_RUNS;
}

uint8_t homing_known(void)
{
    return (uint8_t)((runs[PAN].known ? FLAG_PAN_KNOWN : 0) | (runs[TILT].known ? FLAG_TILT_KNOWN : 0));
}

uint8_t homing_done(void)
{
    return (uint8_t)((runs[PAN].phase == DONE ? FLAG_PAN_KNOWN : 0) | (runs[TILT].phase == DONE ? FLAG_TILT_KNOWN : 0));
}
