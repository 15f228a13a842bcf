/* Settings that are fixed when the firmware is built. */
#ifndef FULLTURN_CONFIG_H
#define FULLTURN_CONFIG_H

#define AXES 2
#define PAN 0
#define TILT 1

/* The pulse clock. Steps fall only on its ticks, 25 us apart. */
#define TICK_HZ 40000UL
#define TICKS_PER_MS (TICK_HZ / 1000UL)
/* A step pulse lasts one tick and needs an equal gap, so half the tick rate is the highest step rate. */
#define MAX_STEP_RATE 20000UL

/* Bytes that the board can receive while it is busy; a power of two. */
#define RECEIVE_BYTES 128
#define SEND_BYTES 128

/* The sync contact counts as closed, or open, after this many consecutive ticks. A change of 50 us or less is never
 * seen, one of 100 us always. An exposure of 1/8000 s lasts 125 us. */
#define SYNC_TICKS 3

/* In each of its phases, a Reference turns an axis at most its travel (extended to include zero), plus this share of
 * it, plus this many steps. */
#define SEARCH_MARGIN_PART 32
#define SEARCH_MARGIN_STEPS 32

/* A shaper has at most so many impulses, the last so late, each so long after the one before. */
#define MOST_IMPULSES 5
#define LONGEST_SHAPER_MS 2000
#define CLOSEST_IMPULSES_MS 5
#define SHARES_WHOLE 65536UL

/* A limit input counts as released after this many ms; it counts as met at once. */
#define LIMIT_RELEASE_MS 20

#endif
