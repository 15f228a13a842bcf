#include "check.h"

uint16_t check_crc(const uint8_t *bytes, uint8_t count)
{
    uint16_t crc = 0xFFFF;
    while (count--) {
        /* Eight steps of the polynomial x^16 + x^12 + x^5 + 1 at once, no table. */
        uint8_t top = (uint8_t)((crc >> 8) ^ *bytes++);
        top ^= (uint8_t)(top >> 4);
        crc = (uint16_t)(crc << 8);
        crc ^= (uint16_t)((uint16_t)top << 12);
        crc ^= (uint16_t)((uint16_t)top << 5);
        crc ^= top;
    }
    return crc;
}

void check_bytes(uint16_t crc, uint8_t out[CHECK])
{
    out[0] = (uint8_t)(0x80 | (crc >> 10));
    out[1] = (uint8_t)(0x80 | ((crc >> 4) & 0x3F));
    out[2] = (uint8_t)(0xC0 | (crc & 0x0F));
}
