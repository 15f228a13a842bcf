/* Big-endian numbers in a row of bytes. Each function returns a pointer to the byte after the number. */
#ifndef FULLTURN_BYTES_H
#define FULLTURN_BYTES_H

#include <stdint.h>

uint8_t *put_u8(uint8_t *at, uint8_t value);
uint8_t *put_u16(uint8_t *at, uint16_t value);
uint8_t *put_u32(uint8_t *at, uint32_t value);
const uint8_t *get_u8(const uint8_t *at, uint8_t *value);
const uint8_t *get_u16(const uint8_t *at, uint16_t *value);
const uint8_t *get_u32(const uint8_t *at, uint32_t *value);
const uint8_t *get_i32(const uint8_t *at, int32_t *value);

#endif
