#include "exposing.h"

#include "hal.h"
#include "moment.h"
#include "tick.h"

enum phase { FOCUS, PRESS, WAIT };

static struct {
    uint8_t phase;
    uint32_t begun_ms;
    uint32_t focus_ms, press_ms, limit_ms;
} run;

static void set_sync(uint8_t stage)
{
    hal_state lock = hal_lock();
    tick_sync.stage = stage;
    tick_sync.seen = 0;
    hal_unlock(lock);
}

static uint8_t sync_stage(void)
{
    hal_state lock = hal_lock();
    uint8_t stage = tick_sync.stage;
    hal_unlock(lock);
    return stage;
}

void exposing_begin(const struct expose *expose, uint32_t now_ms)
{
    run.phase = FOCUS;
    run.begun_ms = now_ms + 1; /* the current millisecond is partly over, and a time must not be too short */
    run.focus_ms = expose->focus_ms;
    run.press_ms = expose->press_ms;
    run.limit_ms = expose->limit_ms;
    set_sync(SYNC_IDLE);
    hal_contact(CONTACT_HALF_PRESS, true);
}

void exposing_end(void)
{
    hal_contact(CONTACT_RELEASE, false);
    hal_contact(CONTACT_HALF_PRESS, false);
    set_sync(SYNC_IDLE);
}

/* The main loop may lag behind the clock. A contact that closes late must still stay closed for its full time. */
static void begin_phase(uint8_t phase, uint32_t now_ms)
{
    uint32_t clock_ms = hal_ms();
    run.phase = phase;
    run.begun_ms = clock_ms == now_ms ? now_ms : clock_ms + 1;
}

static bool is_over(uint32_t now_ms, uint32_t duration_ms)
{
    return moment_is_over(now_ms, run.begun_ms, duration_ms);
}

enum outcome exposing_update(uint32_t now_ms, bool sync_fitted)
{
    if (run.phase == FOCUS && is_over(now_ms, run.focus_ms)) {
        hal_contact(CONTACT_RELEASE, true);
        set_sync(sync_fitted ? SYNC_WAITS_OPEN : SYNC_IDLE);
        begin_phase(PRESS, now_ms);
    }
    if (run.phase == PRESS && is_over(now_ms, run.press_ms)) {
        hal_contact(CONTACT_RELEASE, false);
        hal_contact(CONTACT_HALF_PRESS, false);
        begin_phase(WAIT, now_ms);
    }
    if (run.phase != WAIT)
        return NO_OUTCOME;
    if (sync_stage() == SYNC_OPEN_AGAIN)
        return EXPOSED_SYNC;
    if (!is_over(now_ms, run.limit_ms))
        return NO_OUTCOME;
    return sync_fitted ? NO_SYNC : EXPOSED_BLIND;
}
