/* The check of a frame: CRC-16/IBM-3740 of the "Catalogue of parametrised CRC algorithms" (polynomial 0x1021,
 * start 0xFFFF, not reflected, no final inversion; 0x29B1 for the nine characters 123456789), as three bytes of
 * which none is zero: 10cccccc 10cccccc 1100cccc.
 */
#ifndef FULLTURN_CHECK_H
#define FULLTURN_CHECK_H

#include <stdint.h>

#define CHECK 3

uint16_t check_crc(const uint8_t *bytes, uint8_t count);
void check_bytes(uint16_t crc, uint8_t out[CHECK]);

#endif
