/* The serial line, with a buffer for each way. */
#include "serial.h"

#include "config.h"
#include "pins.h"
#include "vectors.h"

/* The rate in units of 16 MHz / 2^32, rounded to the 20 bits that the register has. */
#define RATE ((uint32_t)((((uint64_t)(BAUD) << 20) + 8000000UL) / 16000000UL) << 12)

/* Indices grow without end, modulo 256; the buffer uses their remainder. */
struct ring {
    uint8_t bytes[RECEIVE_BYTES];
    volatile uint8_t put, got;
};

static struct ring in, out;
static volatile bool sending;

void serial_start(void)
{
    UART_PIN_OUT = TXD_BIT;
    UART_PIN_IN = RXD_BIT;
    UART_BAUD = RATE;
    UART_ENABLE = UART_ENABLED;
    UART_INTERRUPTS = UART_ON_RECEIVED | UART_ON_SENT;
    NVIC_PRIORITY(UART_INTERRUPT) = NVIC_LOWEST(UART_INTERRUPT); /* the pulse clock interrupts it */
    NVIC_ENABLE = 1UL << UART_INTERRUPT;
    UART_START_RECEIVING = 1;
    UART_START_SENDING = 1;
}

static void receive(void)
{
    uint8_t put = in.put;
    uint8_t byte = (uint8_t)UART_IN;
    if ((uint8_t)(put - in.got) == RECEIVE_BYTES)
        return;
    in.bytes[put % RECEIVE_BYTES] = byte;
    in.put = (uint8_t)(put + 1);
}

static void send(void)
{
    uint8_t got = out.got;
    sending = got != out.put;
    if (!sending)
        return;
    UART_OUT = out.bytes[got % SEND_BYTES];
    out.got = (uint8_t)(got + 1);
}

void on_uart(void)
{
    if (UART_RECEIVED != 0) {
        UART_RECEIVED = 0;
        receive();
    }
    if (UART_SENT != 0) {
        UART_SENT = 0;
        send();
    }
}

bool hal_receive(uint8_t *byte)
{
    uint8_t got = in.got;
    if (got == in.put)
        return false;
    *byte = in.bytes[got % RECEIVE_BYTES];
    in.got = (uint8_t)(got + 1);
    return true;
}

uint8_t hal_send_room(void)
{
    return (uint8_t)(SEND_BYTES - (uint8_t)(out.put - out.got));
}

void hal_send(const uint8_t *bytes, uint8_t count)
{
    uint8_t put = out.put;
    while (count--)
        out.bytes[put++ % SEND_BYTES] = *bytes++;
    __asm__ volatile("" ::: "memory");
    out.put = put;
    hal_state state = hal_lock();
    if (!sending)
        send();
    hal_unlock(state);
}
