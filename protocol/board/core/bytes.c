#include "bytes.h"

uint8_t *put_u8(uint8_t *at, uint8_t value)
{
    *at++ = value;
    return at;
}

uint8_t *put_u16(uint8_t *at, uint16_t value)
{
    *at++ = (uint8_t)(value >> 8);
    *at++ = (uint8_t)value;
    return at;
}

uint8_t *put_u32(uint8_t *at, uint32_t value)
{
    at = put_u16(at, (uint16_t)(value >> 16));
    return put_u16(at, (uint16_t)value);
}

const uint8_t *get_u8(const uint8_t *at, uint8_t *value)
{
    *value = *at++;
    return at;
}

const uint8_t *get_u16(const uint8_t *at, uint16_t *value)
{
    *value = (uint16_t)((uint16_t)(at[0] << 8) | at[1]);
    return at + 2;
}

const uint8_t *get_u32(const uint8_t *at, uint32_t *value)
{
    uint16_t high, low;
    at = get_u16(at, &high);
    at = get_u16(at, &low);
    *value = ((uint32_t)high << 16) | low;
    return at;
}

const uint8_t *get_i32(const uint8_t *at, int32_t *value)
{
    uint32_t bits;
    at = get_u32(at, &bits);
    *value = (int32_t)bits;
    return at;
}
