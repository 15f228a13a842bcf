#include "axis.h"

#include <math.h>
#include <string.h>

#include "hal.h"

#define UNITS_PER_STEP_S (4294967296.0f / (float)TICK_HZ)
#define PER_MS 0.001f
#define TURN 4294967296.0f

static struct axis axes[AXES];
struct drive tick_drives[AXES];
struct sync tick_sync;

void axis_start(uint8_t name)
{
    hal_state lock = hal_lock();
    memset(&tick_drives[name], 0, sizeof tick_drives[name]);
    hal_unlock(lock);
    memset(&axes[name], 0, sizeof axes[name]);
}

/* Drops the fraction of a number; a value that is too large becomes the largest. */
static uint32_t whole(float value)
{
    return value >= TURN ? UINT32_MAX : (uint32_t)value;
}

static uint32_t steps_left(uint8_t name)
{
    hal_state lock = hal_lock();
    uint32_t left = tick_drives[name].left;
    hal_unlock(lock);
    return left;
}

static uint32_t place_before(const struct axis *axis, uint32_t left)
{
    return axis->up ? axis->target - left : axis->target + left;
}

int32_t axis_position(uint8_t name)
{
    return (int32_t)place_before(&axes[name], steps_left(name));
}

bool axis_at_rest(uint8_t name)
{
    return axes[name].speed == 0 && !axes[name].plan.follows && steps_left(name) == 0;
}

void axis_begin(uint8_t name, uint32_t steps, bool up, uint32_t speed, uint16_t divisor, uint32_t accel)
{
    struct axis *axis = &axes[name];
    struct drive *drive = &tick_drives[name];
    float gain = (float)accel * (UNITS_PER_STEP_S * PER_MS);
    uint32_t here = (uint32_t)axis_position(name);
    hal_direction(name, up);
    axis->up = up;
    axis->target = up ? here + steps : here - steps;
    axis->speed = 0;
    axis->speed_part = 0;
    axis->running_out = false;
    axis->plan.follows = false;
    axis->limit = whole((float)speed * UNITS_PER_STEP_S / (float)divisor);
    if (axis->limit == 0)
        axis->limit = 1;
    axis->accel = whole(gain);
    axis->accel_part = gain < 65536.0f ? (uint16_t)((gain - (float)axis->accel) * 65536.0f) : 0;
    axis->brake = sqrtf(2.0f * (float)accel) * UNITS_PER_STEP_S;
    hal_state lock = hal_lock();
    drive->phase = PHASE_HALF;
    drive->rate = 0;
    drive->left = steps;
    drive->watch = WATCH_NOTHING;
    hal_unlock(lock);
}

void axis_go_to(uint8_t name, int32_t target, uint32_t speed, uint16_t divisor, uint32_t accel)
{
    int32_t here = axis_position(name);
    bool up = target >= here;
    uint32_t steps = up ? (uint32_t)target - (uint32_t)here : (uint32_t)here - (uint32_t)target;
    axis_begin(name, steps, up, speed, divisor, accel);
}

/* The smallest whole number that is not less. */
static uint32_t up_to_whole(float value)
{
    uint32_t below = whole(value);
    return (float)below < value ? below + 1 : below;
}

void axis_move(uint8_t name, int32_t target, uint32_t speed, uint32_t accel, const struct impulse *impulses)
{
    struct plan *plan = &axes[name].plan;
    axis_go_to(name, target, speed, 1, accel);
    float steps = (float)tick_drives[name].left; /* at rest: no tick changes it */
    if (steps == 0)
        return;
    float ramp_ms = 1000.0f * (float)speed / (float)accel;
    float flat_ms = 1000.0f * steps / (float)speed;
    if (flat_ms < ramp_ms)
        ramp_ms = flat_ms = 1000.0f * sqrtf(steps / (float)accel);
    memset(plan, 0, sizeof *plan);
    plan->impulses = impulses;
    plan->ramp_ms = up_to_whole(ramp_ms);
    plan->flat_ms = up_to_whole(flat_ms);
    if (plan->flat_ms < plan->ramp_ms)
        plan->flat_ms = plan->ramp_ms;
    plan->end_ms = plan->flat_ms + plan->ramp_ms;
    for (uint8_t number = 1; number < MOST_IMPULSES; number++) {
        if (impulses[number].share != 0)
            plan->end_ms = plan->flat_ms + plan->ramp_ms + impulses[number].delay_ms;
    }
    plan->gain = steps * (TURN / (float)TICKS_PER_MS) / (float)plan->flat_ms / (float)plan->ramp_ms;
    plan->follows = true;
}

/* The acceleration changes where a ramp begins or ends, for each impulse after its delay. */
static void weigh(struct plan *plan)
{
    for (uint8_t number = 0; number < MOST_IMPULSES; number++) {
        const struct impulse *impulse = &plan->impulses[number];
        int32_t share = number == 0 && impulse->share == 0 ? (int32_t)SHARES_WHOLE : (int32_t)impulse->share;
        if (share == 0 || plan->at_ms < impulse->delay_ms)
            return;
        uint32_t since_ms = plan->at_ms - impulse->delay_ms;
        if (since_ms == 0)
            plan->share += share;
        if (since_ms == plan->ramp_ms)
            plan->share -= share;
        if (since_ms == plan->flat_ms)
            plan->share -= share;
        if (since_ms == plan->flat_ms + plan->ramp_ms)
            plan->share += share;
    }
}

/* The speed in the middle of the millisecond that begins. A loop that lagged may have steps left at the end. */
static uint32_t follow(struct axis *axis)
{
    struct plan *plan = &axis->plan;
    if (plan->at_ms == plan->end_ms)
        return axis->accel != 0 ? axis->accel : 1;
    weigh(plan);
    float middle = (float)plan->sum + ((float)plan->sum_part + 0.5f * (float)plan->share) * (1.0f / (float)SHARES_WHOLE);
    int32_t part = (int32_t)plan->sum_part + plan->share;
    if (part < 0) {
        plan->sum--;
        part += (int32_t)SHARES_WHOLE;
    } else {
        plan->sum += (uint32_t)part / SHARES_WHOLE;
    }
    plan->sum_part = (uint16_t)part;
    plan->at_ms++;
    return whole(plan->gain * middle);
}

/* The distance to rest, in steps. */
static float way_to_rest(const struct axis *axis)
{
    float root = axis->speed != 0 ? (float)axis->speed / axis->brake : 0.0f;
    return root * root;
}

/* The last step is made half a step before the rest position; the remaining time turns nothing. */
static void run_out(struct axis *axis, float to_go)
{
    if (!axis->running_out) {
        float spare = to_go - way_to_rest(axis);
        axis->running_out = true;
        axis->hold_ms = spare > 0 ? whole(spare * (TURN / (float)TICKS_PER_MS) / (float)axis->speed) : 0;
    }
    if (axis->hold_ms != 0)
        axis->hold_ms--;
    else
        axis->speed = axis->speed > axis->accel ? axis->speed - axis->accel : 0;
}

static void speed_up(struct axis *axis)
{
    uint32_t part = (uint32_t)axis->speed_part + axis->accel_part;
    uint32_t gain = axis->accel + (part >> 16);
    axis->speed_part = (uint16_t)part;
    if (gain >= axis->limit || axis->speed >= axis->limit - gain)
        axis->speed = axis->limit;
    else
        axis->speed += gain;
}

void axis_update(uint8_t name)
{
    struct axis *axis = &axes[name];
    struct drive *drive = &tick_drives[name];
    hal_state lock = hal_lock();
    uint32_t left = drive->left;
    uint32_t phase = drive->phase;
    hal_unlock(lock);
    if (axis->plan.follows) {
        if (left == 0 && axis->plan.at_ms == axis->plan.end_ms) {
            axis->plan.follows = false;
            axis->speed = 0;
            return;
        }
        axis->speed = follow(axis);
    } else {
        float to_go = (float)left + 0.5f - (float)phase * (1.0f / TURN);
        if (left == 0) {
            if (axis->speed != 0)
                run_out(axis, to_go);
            return;
        }
        speed_up(axis);
        float most = axis->brake * sqrtf(to_go);
        if (most < (float)axis->speed)
            axis->speed = whole(most);
    }
    uint32_t rate = axis->speed;
    HAL_SETTLE(rate);
    lock = hal_lock();
    if (drive->left != 0)
        drive->rate = rate;
    hal_unlock(lock);
}

void axis_brake(uint8_t name)
{
    struct axis *axis = &axes[name];
    struct drive *drive = &tick_drives[name];
    hal_state lock = hal_lock();
    uint32_t left = drive->left;
    uint32_t phase = drive->phase;
    hal_unlock(lock);
    uint32_t needed = whole(way_to_rest(axis) + (float)phase * (1.0f / TURN));
    uint32_t cut = needed < left ? left - needed : 0;
    axis->running_out = true; /* at once: a slow axis would keep its speed for seconds to come to the middle of a step */
    axis->hold_ms = 0;
    axis->limit = axis->speed;
    axis->plan.follows = false;
    HAL_SETTLE(cut);
    lock = hal_lock();
    if (cut > drive->left)
        cut = drive->left;
    drive->left -= cut;
    if (drive->left == 0)
        drive->rate = 0;
    drive->watch = WATCH_NOTHING;
    hal_unlock(lock);
    axis->target = axis->up ? axis->target - cut : axis->target + cut;
}

void axis_halt(uint8_t name)
{
    struct axis *axis = &axes[name];
    struct drive *drive = &tick_drives[name];
    hal_state lock = hal_lock();
    uint32_t left = drive->left;
    drive->left = 0;
    drive->rate = 0;
    drive->watch = WATCH_NOTHING;
    hal_unlock(lock);
    axis->target = place_before(axis, left);
    axis->speed = 0;
    axis->plan.follows = false;
}

void axis_watch(uint8_t name, enum watch watch)
{
    hal_state lock = hal_lock();
    tick_drives[name].watch = (uint8_t)watch;
    hal_unlock(lock);
}

bool axis_edge(uint8_t name, int32_t *at)
{
    hal_state lock = hal_lock();
    bool met = tick_drives[name].watch == WATCH_NOTHING;
    uint32_t left = tick_drives[name].edge_left;
    hal_unlock(lock);
    *at = (int32_t)place_before(&axes[name], left);
    return met;
}

void axis_shift(uint8_t name, uint32_t steps)
{
    axes[name].target += steps;
}
