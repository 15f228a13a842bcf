/* Reads requests from payloads and writes payloads of replies and notices; the latter return their size in bytes. */
#ifndef FULLTURN_CODEC_H
#define FULLTURN_CODEC_H

#include "message.h"

/* NOT_REFUSED, or why the payload is no request of this kind: UNKNOWN_KIND or BAD_VALUE. */
enum reason codec_request(uint8_t kind, const uint8_t *payload, uint8_t length, struct request *out);

uint8_t codec_welcome(const struct welcome *welcome, uint8_t *out);
uint8_t codec_status(const struct status *status, uint8_t *out);
uint8_t codec_index(const struct edge edges[AXES], uint8_t *out);
uint8_t codec_booted(uint32_t boot_id, uint8_t cause, uint8_t *out);
uint8_t codec_finished(const struct finished *finished, uint8_t *out);
uint8_t codec_held(const struct held *held, uint8_t *out);

#endif
