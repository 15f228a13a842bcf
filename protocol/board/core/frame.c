#include "frame.h"

#include <stddef.h>
#include <string.h>

#include "stuffing.h"

static const uint8_t *closed(struct deframer *deframer, uint8_t count)
{
    uint8_t check[CHECK];
    uint8_t stuffed = (uint8_t)(count - CHECK);
    if (count < CHECK) {
        deframer->bad_crc++;
        return NULL;
    }
    check_bytes(check_crc(deframer->bytes, stuffed), check);
    if (memcmp(check, deframer->bytes + stuffed, CHECK) != 0) {
        deframer->bad_crc++;
        return NULL;
    }
    uint8_t length = stuffing_decode(deframer->bytes, stuffed);
    if (length == STUFFING_BAD) {
        deframer->bad_cobs++;
        return NULL;
    }
    if (length < OVERHEAD || length > MAX_CONTENT || deframer->bytes[AT_LENGTH] != length) {
        deframer->bad_length++;
        return NULL;
    }
    deframer->good++;
    return deframer->bytes;
}

const uint8_t *deframer_take(struct deframer *deframer, uint8_t byte)
{
    if (byte == 0) {
        uint8_t count = deframer->count;
        deframer->count = 0;
        deframer->skipping = false;
        return count != 0 ? closed(deframer, count) : NULL;
    }
    if (deframer->skipping)
        return NULL;
    if (deframer->count == MAX_ENCODED) {
        deframer->oversize++;
        deframer->count = 0;
        deframer->skipping = true;
        return NULL;
    }
    deframer->bytes[deframer->count++] = byte;
    return NULL;
}

uint8_t frame_encode(uint8_t kind, uint8_t seq, const uint8_t *payload, uint8_t length, uint8_t out[MAX_FRAME])
{
    uint8_t content[MAX_CONTENT];
    uint8_t whole = (uint8_t)(OVERHEAD + length);
    content[AT_LENGTH] = whole;
    content[AT_KIND] = kind;
    content[AT_SEQ] = seq;
    if (length != 0)
        memcpy(content + AT_PAYLOAD, payload, length);
    out[0] = 0;
    stuffing_encode(content, whole, out + 1);
    check_bytes(check_crc(out + 1, (uint8_t)(whole + 1)), out + 1 + whole + 1);
    out[1 + whole + 1 + CHECK] = 0;
    return (uint8_t)(1 + whole + 1 + CHECK + 1);
}
