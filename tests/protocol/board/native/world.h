/* The world around the core in the native build: a clock that only world_run() moves on, a line, motors and flags. */
#ifndef FULLTURN_WORLD_H
#define FULLTURN_WORLD_H

#include <stdint.h>

void world_start(uint32_t boot_id, uint8_t cause, uint8_t fitted, int32_t pan, int32_t tilt);
/* Bytes arrive now, all at once, as fast as the core takes them. */
void world_feed(const uint8_t *bytes, uint32_t count);
void world_run(uint32_t milliseconds);
/* A part of a millisecond, in ticks; the clock stays. */
void world_ticks(uint32_t count);
/* From now on the main loop takes so many ticks of time for each byte that comes in. */
void world_slow(uint32_t ticks);
/* How long a contact was closed at the latest, in ticks: 0 half-press, 1 release. */
uint32_t world_closed_for(uint8_t contact);
/* What the core has sent since, at most `most` bytes. */
uint32_t world_take(uint8_t *out, uint32_t most);

/* Where the motor stands, zero being the edge of the flag, and how many steps it has made. */
int32_t world_place(uint8_t axis);
uint32_t world_steps(uint8_t axis);
/* Flags stuck where they are: bit 0 pan, bit 1 tilt. */
void world_stick_flags(uint8_t stuck);
/* Inputs that are no flags, by INPUT_ bits. */
void world_inputs(uint8_t inputs);
/* Bit 0 half-press closed, 1 release closed, 2 motors on. */
uint8_t world_outputs(void);
uint8_t world_state(void);
uint32_t world_finished(void);
uint8_t world_known(void);
uint32_t world_ms(void);
uint32_t world_polls(void);

#endif
