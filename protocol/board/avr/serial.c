/* The serial line, with a buffer for each way. */
#include "serial.h"

#include <avr/interrupt.h>
#include <avr/io.h>

#include "config.h"
#include "hal.h"

/* Rounded to the nearest divider of the double-speed mode; at 16 MHz 115200 baud comes out 2.1 % fast. */
#define DIVIDER ((F_CPU + 4UL * BAUD) / (8UL * BAUD) - 1UL)

/* Indices grow without end, modulo 256; the buffer uses their remainder. The clock's interrupt never touches these. */
struct ring {
    uint8_t bytes[RECEIVE_BYTES];
    volatile uint8_t put, got;
};

static struct ring in, out;

void serial_start(void)
{
    UBRR0 = DIVIDER;
    UCSR0A = 1 << U2X0;
    UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
    UCSR0B = 1 << RXEN0 | 1 << TXEN0 | 1 << RXCIE0;
}

ISR(USART_RX_vect)
{
    uint8_t byte = UDR0;
    uint8_t put = in.put;
    if ((uint8_t)(put - in.got) == RECEIVE_BYTES)
        return;
    in.bytes[put % RECEIVE_BYTES] = byte;
    in.put = (uint8_t)(put + 1);
}

ISR(USART_UDRE_vect)
{
    uint8_t got = out.got;
    if (got == out.put) {
        UCSR0B &= (uint8_t)~(1 << UDRIE0);
        return;
    }
    UDR0 = out.bytes[got % SEND_BYTES];
    out.got = (uint8_t)(got + 1);
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
    hal_state lock = hal_lock();
    UCSR0B |= 1 << UDRIE0;
    hal_unlock(lock);
}
