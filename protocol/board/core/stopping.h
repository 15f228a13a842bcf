/* Every way in which what is under way ends. */
#ifndef FULLTURN_STOPPING_H
#define FULLTURN_STOPPING_H

#include "message.h"

/* The command under way is over; says so. */
void stopping_finish(uint8_t outcome);
/* Ramps to rest, holds, disarms. */
void stopping_ramp(uint8_t cause);
/* When a ramp to rest has ended. */
void stopping_at_rest(void);
/* Ends the pulses at once, disarms; the position is unknown, but for an axis that stands at zero already when the other
 * does not find it. Only HOST_HALT does not say so.
 */
void stopping_cut(uint8_t cause);

#endif
