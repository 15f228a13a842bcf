/* Plays a script to the core, for a build with sanitizers. Each line of the script on stdin is a letter, a number and,
 * for F, so many bytes: "F 3\n..." feeds bytes, "R 20\n" lets 20 ms pass, "I 4\n" sets the inputs. What the core sends
 * goes to stdout.
 */
#include <stdio.h>

#include "message.h"
#include "world.h"

#define FED_MOST 4096

static int play(char what, unsigned number)
{
    static uint8_t bytes[FED_MOST];
    switch (what) {
    case 'F':
        if (number > sizeof bytes || fread(bytes, 1, number, stdin) != number)
            return 0;
        world_feed(bytes, number);
        return 1;
    case 'R':
        world_run(number);
        return 1;
    case 'I':
        world_inputs((uint8_t)number);
        return 1;
    default:
        return 0;
    }
}

int main(void)
{
    static uint8_t sent[65536];
    char what;
    unsigned number;
    world_start(1, POWER_ON, 15, 37, -58);
    while (scanf("%c %u", &what, &number) == 2 && getchar() == '\n') {
        if (!play(what, number))
            return 2;
        fwrite(sent, 1, world_take(sent, sizeof sent), stdout);
    }
    return feof(stdin) ? 0 : 2;
}
