#include "link.h"

#include <stddef.h>
#include <string.h>

#include "codec.h"
#include "hal.h"

void link_start(struct link *link)
{
    memset(link, 0, sizeof *link);
}

static void answer(struct link *link, uint8_t kind, const uint8_t *payload, uint8_t length)
{
    link->reply_count = frame_encode(kind, link->asked[AT_SEQ], payload, length, link->reply);
    hal_send(link->reply, link->reply_count);
}

bool link_take(struct link *link, uint8_t byte, struct request *out)
{
    const uint8_t *content = deframer_take(&link->deframer, byte);
    if (content == NULL || (content[AT_KIND] & FROM_BOARD_BIT))
        return false;
    link->heard = true;
    /* Two contents are equal if their lengths (the first byte) and all following bytes are equal. */
    if (link->reply_count != 0 && memcmp(content, link->asked, content[AT_LENGTH]) == 0) {
        hal_send(link->reply, link->reply_count);
        return false;
    }
    memcpy(link->asked, content, content[AT_LENGTH]);
    uint8_t length = (uint8_t)(content[AT_LENGTH] - OVERHEAD);
    uint8_t reason = codec_request(content[AT_KIND], content + AT_PAYLOAD, length, out);
    if (reason == NOT_REFUSED)
        return true;
    answer(link, REFUSED, &reason, 1);
    return false;
}

void link_reply(struct link *link, uint8_t kind, const uint8_t *payload, uint8_t length)
{
    answer(link, kind, payload, length);
    if (link->asked[AT_KIND] == HELLO)
        link->reply_count = 0;
}

void link_notify(struct link *link, uint8_t kind, const uint8_t *payload, uint8_t length)
{
    uint8_t wire[MAX_FRAME];
    uint8_t count = frame_encode(kind, 0, payload, length, wire);
    if (hal_send_room() >= count)
        hal_send(wire, count);
    else
        link->lost++;
}
