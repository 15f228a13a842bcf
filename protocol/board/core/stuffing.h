/* Bytes without zeros: Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking
 * 7(2):159-172, 1999. For rows shorter than 254 bytes, which need exactly one byte more.
 */
#ifndef FULLTURN_STUFFING_H
#define FULLTURN_STUFFING_H

#include <stdint.h>

#define STUFFING_BAD 0xFF

/* Writes count + 1 bytes. */
void stuffing_encode(const uint8_t *bytes, uint8_t count, uint8_t *out);
/* Decodes in place and returns the number of bytes; STUFFING_BAD if a code points past the end. */
uint8_t stuffing_decode(uint8_t *bytes, uint8_t count);

#endif
