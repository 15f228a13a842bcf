#include "frame.h"

#include <stddef.h>
#include <string.h>

#include "stuffing.h"

/* Seven bits, and an eighth on top that makes their parity even. */
static uint8_t with_parity(uint8_t number)
{
    uint8_t sum = number ^ (uint8_t)(number >> 4);
    sum ^= (uint8_t)(sum >> 2);
    sum ^= (uint8_t)(sum >> 1);
    return (uint8_t)(number | (uint8_t)(sum << 7));
}

static bool is_kind(uint8_t kind)
{
    return (kind & 0x40) != 0 && with_parity(kind & 0x7F) == kind;
}

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
    if (length < OVERHEAD || length > MAX_CONTENT || deframer->bytes[AT_LENGTH] != with_parity(length) ||
        !is_kind(deframer->bytes[AT_KIND])) {
        deframer->bad_head++;
        return NULL;
    }
    deframer->bytes[AT_LENGTH] = length;
    deframer->good++;
    return deframer->bytes;
}

static const uint8_t *ended(struct deframer *deframer)
{
    uint8_t count = deframer->count;
    if (count == 0 && !deframer->skipping) {
        if (deframer->zeros < LEAD)
            deframer->zeros++;
        return NULL;
    }
    deframer->count = 0;
    deframer->skipping = false;
    deframer->zeros = 1;
    return count != 0 ? closed(deframer, count) : NULL;
}

const uint8_t *deframer_take(struct deframer *deframer, uint8_t byte)
{
    if (byte == 0)
        return ended(deframer);
    if (deframer->skipping)
        return NULL;
    if (deframer->count == 0 && deframer->zeros < LEAD) {
        deframer->unled++;
        deframer->skipping = true;
        return NULL;
    }
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
    content[AT_LENGTH] = with_parity(whole);
    content[AT_KIND] = kind;
    content[AT_SEQ] = seq;
    if (length != 0)
        memcpy(content + AT_PAYLOAD, payload, length);
    memset(out, 0, LEAD);
    uint8_t *stuffed = out + LEAD;
    uint8_t count = (uint8_t)(whole + 1);
    stuffing_encode(content, whole, stuffed);
    check_bytes(check_crc(stuffed, count), stuffed + count);
    stuffed[count + CHECK] = 0;
    return (uint8_t)(LEAD + count + CHECK + 1);
}
