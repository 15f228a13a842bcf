/* Finding zero on both axes, each with a half-turn flag: on from the true zero upward, off below it.
 *
 * Seek upward until the flag is on, retreat until it is off, creep up until it is on. That edge is step 0, always met
 * slowly and from below. Then return to it over the few steps of braking. If the flag is on at the start, retreat comes
 * first. An axis without a flag takes its current position as 0.
 */
#ifndef FULLTURN_HOMING_H
#define FULLTURN_HOMING_H

#include <stdbool.h>

#include "message.h"

enum homing_result { HOMING_RUNS, HOMING_DONE, HOMING_FAILED };

/* `settings` are those of both axes, `fitted` the capabilities of the board. */
void homing_begin(const struct reference *reference, const struct set_axis settings[AXES], uint8_t fitted);
/* Call each millisecond. Returns HOMING_FAILED as soon as one axis has turned its bound without meeting its flag; see
 * config.h. */
enum homing_result homing_update(void);
/* The axes that have met their flag at its edge, as FLAG_PAN_KNOWN and FLAG_TILT_KNOWN, and the axes that are at that
 * edge. */
uint8_t homing_known(void);
uint8_t homing_done(void);

#endif
