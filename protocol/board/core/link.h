/* The board's end of the conversation: delivers each request once, and replies as often as it is repeated.
 *
 * A frame equal to the last one is that request again and gets the same reply bytes. Hello is the exception: it is
 * always delivered, and clears the last frame.
 */
#ifndef FULLTURN_LINK_H
#define FULLTURN_LINK_H

#include <stdbool.h>

#include "frame.h"
#include "message.h"

struct link {
    struct deframer deframer;
    uint8_t asked[MAX_CONTENT]; /* the content of the frame that `reply` answers */
    uint8_t reply[MAX_FRAME];
    uint8_t reply_count; /* 0: none kept */
    bool heard;          /* an undamaged frame from a host has arrived since this was last cleared */
    uint16_t lost;       /* notices lost because there was no room */
};

void link_start(struct link *link);

/* Takes in a byte. True if it ends a new request, which must then be answered before the next byte. */
bool link_take(struct link *link, uint8_t byte, struct request *out);
void link_reply(struct link *link, uint8_t kind, const uint8_t *payload, uint8_t length);
void link_notify(struct link *link, uint8_t kind, const uint8_t *payload, uint8_t length);

#endif
