/* Moments of a millisecond clock that wraps after 49.7 days. */
#ifndef FULLTURN_MOMENT_H
#define FULLTURN_MOMENT_H

#include <stdbool.h>
#include <stdint.h>

/* Whether `duration_ms` have passed since `since_ms`. The difference is signed, because `since_ms` may be later than
 * the moment at which the main loop is working; then nothing has passed yet. A duration above 2^31 - 1 counts as 2^31 -
 * 1.
 */
static inline bool moment_is_over(uint32_t now_ms, uint32_t since_ms, uint32_t duration_ms)
{
    int32_t passed = (int32_t)(now_ms - since_ms);
    if (duration_ms > INT32_MAX)
        duration_ms = INT32_MAX;
    return passed >= 0 && (uint32_t)passed >= duration_ms;
}

#endif
