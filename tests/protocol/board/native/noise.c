/* Noise for the core, for a build with sanitizers: `noise SEED BYTES`. Ends with 0 when a Hello is answered after it. */
#include <stdio.h>
#include <stdlib.h>

#include "frame.h"
#include "message.h"
#include "world.h"

static uint32_t drawn;

/* A linear congruential generator; what it is good for is being the same everywhere. */
static uint8_t draw(void)
{
    drawn = drawn * 1664525u + 1013904223u;
    return (uint8_t)(drawn >> 24);
}

/* A frame that is right but for its values, or for one byte of it. */
static uint32_t frame_like(uint8_t *out)
{
    static const uint8_t LENGTHS[] = {6, 0, 21, 12, 14, 12, 19, 0, 0};
    uint8_t payload[MAX_PAYLOAD];
    uint8_t kind = (uint8_t)(1 + draw() % 9);
    uint8_t length = draw() % 8 ? LENGTHS[kind - 1] : draw() % (MAX_PAYLOAD + 1);
    for (uint8_t at = 0; at < length; at++)
        payload[at] = draw() % 3 ? (uint8_t)(draw() % 4) : draw();
    uint32_t count = frame_encode(kind, draw(), payload, length, out);
    if (draw() % 3 == 0)
        out[draw() % count] ^= (uint8_t)(1 << draw() % 8);
    return count;
}

int main(int argc, char **argv)
{
    static uint8_t out[65536];
    uint8_t bytes[300], hello[6] = {VERSION_MAJOR, VERSION_MINOR, 1, 2, 3, 4};
    if (argc != 3)
        return 2;
    drawn = (uint32_t)strtoul(argv[1], NULL, 10);
    uint32_t total = (uint32_t)strtoul(argv[2], NULL, 10);
    world_start(1, POWER_ON, 15, 37, -58);
    for (uint32_t sent = 0; sent < total;) {
        uint32_t count = 1u + draw();
        if (draw() % 2)
            count = frame_like(bytes);
        else
            for (uint32_t at = 0; at < count; at++)
                bytes[at] = draw() % 4 ? draw() : 0;
        world_feed(bytes, count);
        world_inputs(draw() % 16 ? 0 : draw() & 0x7C);
        world_run(draw() % 4);
        world_take(out, sizeof out);
        sent += count;
    }
    world_feed(bytes, frame_encode(HELLO, 7, hello, sizeof hello, bytes));
    printf("%u polls, %u bytes in reply\n", world_polls(), world_take(out, sizeof out));
    return world_take(out, sizeof out) == 0 && out[0] == 0 ? 0 : 1;
}
