/* One exposure: half-press, release, and the wait for the camera's sync contact. */
#ifndef FULLTURN_EXPOSING_H
#define FULLTURN_EXPOSING_H

#include <stdbool.h>

#include "message.h"

void exposing_begin(const struct expose *expose, uint32_t now_ms);
/* Call each millisecond. Returns NO_OUTCOME until it is over. */
enum outcome exposing_update(uint32_t now_ms, bool sync_fitted);
/* Opens both contacts at once. */
void exposing_end(void);

#endif
