/* Moments of a clock of milliseconds that runs over after 49.7 days. */
#ifndef FULLTURN_MOMENT_H
#define FULLTURN_MOMENT_H

#include <stdbool.h>
#include <stdint.h>

/* Whether `duration_ms` have passed since `since_ms`. The difference is signed: `since_ms` may have been noted later
 * than the moment the main loop is working at, and then nothing has passed yet. A duration of more than 2^31 - 1 counts
 * as that.
 */
static inline bool moment_is_over(uint32_t now_ms, uint32_t since_ms, uint32_t duration_ms)
{
    int32_t passed = (int32_t)(now_ms - since_ms);
    if (duration_ms > INT32_MAX)
        duration_ms = INT32_MAX;
    return passed >= 0 && (uint32_t)passed >= duration_ms;
}

#endif
