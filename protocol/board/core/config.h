/* What is fixed when the firmware is built. */
#ifndef FULLTURN_CONFIG_H
#define FULLTURN_CONFIG_H

#define AXES 2
#define PAN 0
#define TILT 1

/* The pulse clock. A step can only fall on one of its ticks, 25 us apart. */
#define TICK_HZ 40000UL
#define TICKS_PER_MS (TICK_HZ / 1000UL)
/* A step pulse lasts one tick and wants as long a gap, so half the tick rate is the most. */
#define MAX_STEP_RATE 20000UL

/* Bytes that the board can take in while it is busy with something else; a power of two. */
#define RECEIVE_BYTES 128
#define SEND_BYTES 128

/* The sync contact counts as closed, or open, when so many ticks in a row have found it so: what lasts 50 us or less is
 * never seen, what lasts 100 us always. An exposure of 1/8000 s lasts 125 us.
 */
#define SYNC_TICKS 3

/* A Reference turns an axis no further, in any of its phases, than its travel (zero counted in), this part of it and so
 * many steps.
 */
#define SEARCH_MARGIN_PART 32
#define SEARCH_MARGIN_STEPS 32

/* A shaper has at most so many impulses, the last so late, each so long after the one before. */
#define MOST_IMPULSES 5
#define LONGEST_SHAPER_MS 2000
#define CLOSEST_IMPULSES_MS 5
#define SHARES_WHOLE 65536UL

/* A limit input counts as released after so many ms; it counts as met at once. */
#define LIMIT_RELEASE_MS 20

#endif
