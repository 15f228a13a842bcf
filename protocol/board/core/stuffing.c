#include "stuffing.h"

void stuffing_encode(const uint8_t *bytes, uint8_t count, uint8_t *out)
{
    uint8_t *code = out++;
    *code = 1;
    while (count--) {
        if (*bytes != 0) {
            *out++ = *bytes;
            (*code)++;
        } else {
            code = out++;
            *code = 1;
        }
        bytes++;
    }
}

uint8_t stuffing_decode(uint8_t *bytes, uint8_t count)
{
    uint8_t at = 0, made = 0;
    while (at < count) {
        uint8_t code = bytes[at++];
        if (code == 0 || code - 1 > count - at)
            return STUFFING_BAD;
        for (uint8_t left = (uint8_t)(code - 1); left != 0; left--)
            bytes[made++] = bytes[at++];
        if (at < count)
            bytes[made++] = 0;
    }
    return made;
}
