/* One simulated ATmega328P with the firmware, in lockstep with whoever calls: motors and flags at its pins, a line that
 * takes its time, and a count of everything that must not happen. Test-only; linked to libsimavr, see LICENSE-NOTE.md.
 */
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "avr_adc.h"
#include "avr_extint.h"
#include "avr_ioport.h"
#include "avr_uart.h"
#include "sim_avr.h"
#include "sim_elf.h"

#define F_CPU 16000000UL
#define SREG_I 7
DEFINE_FIFO(uint16_t, uart_fifo);

#define QUEUE 65536
#define UNREAD_MOST 3 /* two in the buffer of the receiver, one in its shift register */
#define MOST_EDGES 400000
#define AT_ONCE 1000 /* cycles run in one go unless interrupts are watched; timers and interrupts keep their cycle */
#define RAM_START 0x100
#define PAINT 0xA5
#define MCUSR 0x54

struct motor {
    uint8_t step_bit, dir_bit;
    int32_t place;
    uint32_t steps;
    uint64_t rose, fell, turned; /* the latest change of each kind, in cycles */
    uint64_t least_high, least_low, least_setup;
};

struct figures {
    uint64_t lockout;
    uint32_t overruns, crashed;
};

static struct {
    avr_t *avr;
    avr_uart_t *uart;
    struct motor motor[2];
    struct figures figures;
    uint8_t to_board[QUEUE], from_board[QUEUE];
    uint32_t put, got, sent, complaints;
    uint64_t byte_cycles, locked_since, high_since[8], high_for[8]; /* the latter of port B, the last pulse of each pin */
    avr_ioport_external_t port_c_in, port_d_in;
    uint8_t port_b, port_d, enabled_once, watching;
    uint64_t edges[MOST_EDGES];
    uint32_t edge_count;
} h;

static avr_irq_t *pin(char port, int bit)
{
    return avr_io_getirq(h.avr, AVR_IOCTL_IOPORT_GETIRQ(port), IOPORT_IRQ_PIN0 + bit);
}

void harness_pin(uint8_t port, uint8_t bit, uint8_t high)
{
    /* Driven from outside, or else the firmware's own pull-up would win each time it writes to the port. */
    avr_ioport_external_t *outside = port == 'C' ? &h.port_c_in : &h.port_d_in;
    outside->name = port;
    outside->mask |= 1u << bit;
    outside->value = high ? outside->value | 1u << bit : outside->value & ~(1u << bit);
    avr_ioctl(h.avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(port), outside);
    avr_raise_irq(pin((char)port, bit), high);
}

static void show_flag(int name)
{
    harness_pin('C', (uint8_t)name, h.motor[name].place < 0); /* low is on */
}

static void least(uint64_t *kept, uint64_t value)
{
    if (value < *kept)
        *kept = value;
}

static void on_step(struct avr_irq_t *irq, uint32_t high, void *which)
{
    struct motor *motor = which;
    uint64_t now = h.avr->cycle;
    (void)irq;
    if (!high) {
        if (motor->rose != 0)
            least(&motor->least_high, now - motor->rose);
        motor->fell = now;
        return;
    }
    least(&motor->least_low, now - motor->fell);
    least(&motor->least_setup, now - motor->turned);
    motor->rose = now;
    motor->steps++;
    motor->place += h.port_d & (1 << motor->dir_bit) ? 1 : -1;
    show_flag((int)(motor - h.motor));
    if (h.edge_count < MOST_EDGES)
        h.edges[h.edge_count++] = now << 1 | (uint64_t)(motor - h.motor);
}

static void on_direction(struct avr_irq_t *irq, uint32_t high, void *which)
{
    struct motor *motor = which;
    uint8_t bit = (uint8_t)(1 << motor->dir_bit);
    (void)irq;
    h.port_d = (uint8_t)(high ? h.port_d | bit : h.port_d & ~bit);
    motor->turned = h.avr->cycle;
}

static void on_port_b(struct avr_irq_t *irq, uint32_t high, void *which)
{
    (void)irq;
    uintptr_t bit = (uintptr_t)which;
    if (high)
        h.high_since[bit] = h.avr->cycle;
    else
        h.high_for[bit] = h.avr->cycle - h.high_since[bit];
    h.port_b = (uint8_t)(high ? h.port_b | 1u << bit : h.port_b & ~(1u << bit));
}

static void on_byte(struct avr_irq_t *irq, uint32_t byte, void *unused)
{
    (void)irq;
    (void)unused;
    if (h.sent < QUEUE)
        h.from_board[h.sent++] = (uint8_t)byte;
    h.uart->cycles_per_byte = h.byte_cycles; /* the simulator counts a bit too many */
}

static void do_not_wait(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr;
    (void)cycles;
}

static void connect_motor(int name, uint8_t step_bit, uint8_t dir_bit, int32_t place)
{
    struct motor *motor = &h.motor[name];
    memset(motor, 0, sizeof *motor);
    motor->step_bit = step_bit;
    motor->dir_bit = dir_bit;
    motor->place = place;
    motor->least_high = motor->least_low = motor->least_setup = UINT64_MAX;
    avr_irq_register_notify(pin('D', step_bit), on_step, motor);
    avr_irq_register_notify(pin('D', dir_bit), on_direction, motor);
    show_flag(name);
}

static void connect_all(int32_t pan, int32_t tilt)
{
    for (uintptr_t bit = 0; bit < 3; bit++)
        avr_irq_register_notify(pin('B', (int)bit), on_port_b, (void *)bit);
    avr_irq_register_notify(avr_io_getirq(h.avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, NULL);
    for (int bit = 2; bit < 5; bit++)
        harness_pin('C', (uint8_t)bit, bit == 4); /* limits closed, sync contact open */
    harness_pin('D', 2, 0);                       /* stop switch closed */
    connect_motor(0, 4, 6, pan);
    connect_motor(1, 5, 7, tilt);
}

void harness_supply(uint32_t millivolts)
{
    avr_raise_irq(avr_io_getirq(h.avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC5), millivolts);
}

static void stay_quiet(avr_t *avr, const int level, const char *format, va_list arguments)
{
    (void)avr;
    (void)format;
    (void)arguments;
    h.complaints += level <= LOG_ERROR && level > LOG_NONE;
}

/* Do not run far beyond what was asked for; to look at each instruction, run one at a time. */
static void set_pace(uint64_t left)
{
    h.avr->run_cycle_limit = h.watching ? 1 : left < AT_ONCE ? left : AT_ONCE;
    if (h.avr->run_cycle_count > h.avr->run_cycle_limit)
        h.avr->run_cycle_count = h.avr->run_cycle_limit;
}

/* With `watching` each instruction is looked at for how long interrupts are off, which takes twice the time. */
int harness_start(const char *elf, uint32_t baud, int32_t pan, int32_t tilt, uint8_t watching)
{
    elf_firmware_t firmware;
    uint32_t flags = 0;
    memset(&h, 0, sizeof h);
    memset(&firmware, 0, sizeof firmware);
    avr_global_logger_set(stay_quiet);
    if (elf_read_firmware(elf, &firmware) != 0)
        return 1;
    h.avr = avr_make_mcu_by_name("atmega328p");
    if (h.avr == NULL)
        return 2;
    avr_init(h.avr);
    h.avr->log = LOG_ERROR;
    avr_load_firmware(h.avr, &firmware);
    h.avr->frequency = F_CPU;
    h.avr->vcc = h.avr->avcc = h.avr->aref = 5000;
    h.avr->sleep = do_not_wait;
    h.watching = watching;
    memset(h.avr->data + RAM_START, PAINT, h.avr->ramend + 1 - RAM_START);
    avr_extint_set_strict_lvl_trig(h.avr, 0, 0); /* a low pin there would be looked at in each cycle */
    avr_extint_set_strict_lvl_trig(h.avr, 1, 0);
    avr_ioctl(h.avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    for (avr_io_t *io = h.avr->io_port; io != NULL; io = io->next)
        if (strcmp(io->kind, "uart") == 0)
            h.uart = (avr_uart_t *)io;
    h.byte_cycles = F_CPU * 10 / baud;
    harness_supply(2400); /* 24 V through the divider */
    connect_all(pan, tilt);
    return h.uart == NULL ? 3 : 0;
}

/* A start, with these flags in MCUSR to say why; what is in the EEPROM stays. */
void harness_reset(uint8_t flags)
{
    avr_reset(h.avr);
    h.avr->data[MCUSR] = flags;
    h.got = h.put; /* what was on the line is lost */
    h.avr->sleep = do_not_wait;
    h.enabled_once = 0;
    h.locked_since = 0;
}

uint32_t harness_complaints(void)
{
    return h.complaints;
}

void harness_stop(void)
{
    if (h.avr != NULL)
        avr_terminate(h.avr);
    free(h.avr);
    h.avr = NULL;
}

/* A byte has come in full. A real receiver holds few of them; what does not fit is gone. */
static avr_cycle_count_t on_arrival(struct avr_t *avr, avr_cycle_count_t when, void *unused)
{
    (void)unused;
    h.uart->cycles_per_byte = 1; /* this one has had its time on the line already */
    if (uart_fifo_get_read_size(&h.uart->input) >= UNREAD_MOST)
        h.figures.overruns++;
    else
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), h.to_board[h.got % QUEUE]);
    h.uart->cycles_per_byte = h.byte_cycles;
    h.got++;
    return h.got == h.put ? 0 : when + h.byte_cycles;
}

static void watch_interrupts(void)
{
    if (h.avr->sreg[SREG_I]) {
        h.enabled_once = 1;
        h.locked_since = 0;
    } else if (h.enabled_once) {
        if (h.locked_since == 0)
            h.locked_since = h.avr->cycle;
        uint64_t locked = h.avr->cycle - h.locked_since;
        if (locked > h.figures.lockout)
            h.figures.lockout = locked;
    }
}

void harness_run(uint64_t cycles)
{
    uint64_t end = h.avr->cycle + cycles;
    while (h.avr->cycle < end) {
        set_pace(end - h.avr->cycle);
        int state = avr_run(h.avr);
        if (h.watching)
            watch_interrupts();
        if (state == cpu_Crashed || state == cpu_Done) {
            h.figures.crashed = 1;
            return;
        }
    }
}

void harness_feed(const uint8_t *bytes, uint32_t count)
{
    if (h.got == h.put && count != 0)
        avr_cycle_timer_register(h.avr, h.byte_cycles, on_arrival, NULL);
    while (count--)
        h.to_board[h.put++ % QUEUE] = *bytes++;
}

uint32_t harness_take(uint8_t *out, uint32_t most)
{
    uint32_t count = h.sent < most ? h.sent : most;
    memcpy(out, h.from_board, count);
    memmove(h.from_board, h.from_board + count, h.sent - count);
    h.sent -= count;
    return count;
}

/* Bytes of RAM that the stack has never touched, counted up from the end of the firmware's own data. */
uint32_t harness_untouched(uint32_t data_end)
{
    uint32_t at = data_end;
    while (at <= h.avr->ramend && h.avr->data[at] == PAINT)
        at++;
    return at - data_end;
}

uint8_t harness_ram(uint32_t address)
{
    return h.avr->data[address];
}

uint64_t harness_cycle(void)
{
    return h.avr->cycle;
}

int32_t harness_place(uint8_t name)
{
    return h.motor[name].place;
}

uint32_t harness_steps(uint8_t name)
{
    return h.motor[name].steps;
}

uint64_t harness_least(uint8_t name, uint8_t what)
{
    const struct motor *motor = &h.motor[name];
    return what == 0 ? motor->least_high : what == 1 ? motor->least_low : motor->least_setup;
}

uint64_t harness_lockout(void)
{
    return h.figures.lockout;
}

uint32_t harness_overruns(void)
{
    return h.figures.overruns;
}

uint32_t harness_crashed(void)
{
    return h.figures.crashed;
}

/* The last pulse of a pin of port B: when it rose and how long it was high, in cycles. */
uint64_t harness_rose(uint8_t bit)
{
    return h.high_since[bit];
}

uint64_t harness_high(uint8_t bit)
{
    return h.high_for[bit];
}

uint8_t harness_port_b(void)
{
    return h.port_b;
}

uint32_t harness_edges(uint64_t *out, uint32_t most)
{
    uint32_t count = h.edge_count < most ? h.edge_count : most;
    memcpy(out, h.edges, count * sizeof *out);
    h.edge_count = 0;
    return count;
}
