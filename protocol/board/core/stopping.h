/* All the ways to end what is running. */
#ifndef FULLTURN_STOPPING_H
#define FULLTURN_STOPPING_H

#include "message.h"

/* Ends the current command and reports it. */
void stopping_finish(uint8_t outcome);
/* Ramps to rest, holds, disarms. */
void stopping_ramp(uint8_t cause);
/* Call when a ramp to rest has ended. */
void stopping_at_rest(void);
/* Stops the pulses at once and disarms. The position is then unknown, except for an axis already at zero when the other
 * axis does not find it. It reports this, except for HOST_HALT. */
void stopping_cut(uint8_t cause);

#endif
