/* The start of the program: its vectors, and its data in RAM. */
#include "vectors.h"

#include <stdint.h>
#include <string.h>

#include "nrf51.h"

extern uint32_t stack_top[], data_in_flash[], data_begin[], data_end[], bss_begin[], bss_end[];
int main(void);
void start(void);

__attribute__((used)) void start(void)
{
    memcpy(data_begin, data_in_flash, (uintptr_t)data_end - (uintptr_t)data_begin);
    memset(bss_begin, 0, (uintptr_t)bss_end - (uintptr_t)bss_begin);
    main();
}

/* A fault. No tick comes any more; the watchdog restarts the controller. */
static void hang(void)
{
    for (;;)
        ;
}

typedef void (*handler)(void);

struct vectors {
    const uint32_t *stack;
    handler exceptions[15]; /* ARMv6-M Architecture Reference Manual, section B1.5.3 */
    handler interrupts[32];
};

__attribute__((section(".vectors"), used)) static const struct vectors vectors = {
    .stack = stack_top,
    .exceptions = {start, hang, hang, hang, hang, hang, hang, hang, hang, hang, hang, hang, hang, hang, hang},
    .interrupts = {[UART_INTERRUPT] = on_uart, [TIMER_INTERRUPT] = on_timer},
};
