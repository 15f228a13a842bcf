/* Frames: 00 00 00 | stuffed content | check | 00. Content: length | kind | seq | payload. Length and kind have even
 * parity; in a received content the length is a plain number. */
#ifndef FULLTURN_FRAME_H
#define FULLTURN_FRAME_H

#include <stdbool.h>
#include <stdint.h>

#include "check.h"

#define OVERHEAD 3
#define MAX_PAYLOAD 32
#define MAX_CONTENT (OVERHEAD + MAX_PAYLOAD)
#define MAX_ENCODED (MAX_CONTENT + 1 + CHECK)
#define LEAD 3 /* zeros before a frame */
#define MAX_FRAME (LEAD + MAX_ENCODED + 1)

/* Offsets in a content. */
#define AT_LENGTH 0
#define AT_KIND 1
#define AT_SEQ 2
#define AT_PAYLOAD 3

struct deframer {
    uint8_t bytes[MAX_ENCODED];
    uint8_t count;
    uint8_t zeros; /* consecutive zeros just before the current run */
    bool skipping; /* the current run is too long or has no lead: drop it up to its delimiter */
    uint16_t good, bad_cobs, bad_crc, bad_head, oversize, unled;
};

/* Takes in one byte. If it ends a good frame, returns its content, which is valid until the next byte; otherwise NULL.
 */
const uint8_t *deframer_take(struct deframer *deframer, uint8_t byte);

/* Writes a whole frame with its delimiters, and returns its size in bytes. */
uint8_t frame_encode(uint8_t kind, uint8_t seq, const uint8_t *payload, uint8_t length, uint8_t out[MAX_FRAME]);

#endif
