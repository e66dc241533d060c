/* Runs a firmware under simavr, with its serial port and its pins connected to the outside.
 *
 *     live FIRMWARE.elf CONTROLLER HERTZ FD [PIN …] [=FILE.vcd]
 *     live FIRMWARE.elf                  prints controller and clock of the ELF file, or - 0
 *
 * CONTROLLER "-" and HERTZ 0: those of the ELF file (.mmcu). FD: a file descriptor that the first
 * serial port reads and writes. PIN: B0, D7 …; the pins of the SPI port show its bits. With a file,
 * simavr itself also writes the trace that the ELF file asks for into it.
 *
 * Standard output gets records of 16 bytes, in this machine's byte order: cycle (8), kind (4),
 * value (4). Kind 0, 1 …: that pin has the level `value`. Other kinds: see below.
 *
 * A byte comes to the serial port no faster than its baud rate. It is lost if the firmware has not
 * read the three bytes before it: two wait in the port's buffer, one in its shift register (ATmega
 * datasheets, Data OverRun). simavr itself would keep 64.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "avr_ioport.h"
#include "avr_spi.h"
#include "avr_uart.h"
#include "sim_avr.h"
#include "sim_elf.h"
#include "sim_io.h"
#include "sim_time.h"

DEFINE_FIFO(uint16_t, uart_fifo);

enum { TIME = 1000, WORK, CLOCK, LOST, CAME, STACK, ENDED };
/* TIME: microseconds of this machine since the last record; WORK: those of them in which this machine
 * ran the chip. CLOCK: hertz, the first record.
 * LOST, CAME: bytes of the serial port since the last record. STACK: the lowest address the stack has
 * reached, seen once in 1000 cycles. ENDED: 1 asleep for ever, 2 crashed. */

#define MOST_PINS 128
#define HELD 3          /* bytes that the serial port of the chip holds */
#define IDLE_US 50      /* between looks for bytes while none come */
#define LAG_US 50000    /* the largest lag that is made up after this machine was busy */
#define SPI_NONE (-1)

static avr_t *avr;
static avr_uart_t *uart;
static avr_spi_t *spi;
static int serial;
static uint32_t lost, came;
static uint16_t lowest = 0xFFFF;

struct pin {
    int level;
    bool of_spi;
};
static struct pin pins[MOST_PINS];
static int mosi = SPI_NONE, sck = SPI_NONE;

static void record(avr_cycle_count_t cycle, uint32_t kind, uint32_t value)
{
    struct {
        uint64_t cycle;
        uint32_t kind, value;
    } line = {cycle, kind, value};
    if (fwrite(&line, sizeof line, 1, stdout) != 1)
        exit(0); /* nobody reads the records any more */
}

static void set_level(int pin, avr_cycle_count_t cycle, int level)
{
    if (pin >= 0 && pins[pin].level != level) {
        pins[pin].level = level;
        record(cycle, (uint32_t)pin, (uint32_t)level);
    }
}

/* Pins ---------------------------------------------------------------------------------------- */

static bool spi_is_on(void)
{
    return spi && avr_regbit_get(avr, spi->spe) && avr_regbit_get(avr, spi->mstr);
}

static void pin_changed(struct avr_irq_t *irq, uint32_t value, void *param)
{
    int pin = (int)(intptr_t)param;
    (void)irq;
    if (!(pins[pin].of_spi && spi_is_on()))
        set_level(pin, avr->cycle, value & 1);
}

static bool watch_pin(const char *name, int pin)
{
    avr_irq_t *irq;
    char letter = name[0];
    int bit = name[0] ? name[1] - '0' : -1;
    if (letter < 'A' || letter > 'L' || bit < 0 || bit > 7 || name[2])
        return false;
    irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(letter), bit);
    if (!irq)
        return false;
    avr_irq_register_notify(irq, pin_changed, (void *)(intptr_t)pin);
    return true;
}

/* The SPI port: simavr gives its bytes 100 us each and moves no pin ----------------------------- */

static uint32_t spi_cycles_a_bit(void)
{
    static const uint8_t divider[] = {4, 16, 64, 128, 2, 8, 32, 64}; /* SPI2X, SPR1, SPR0 */
    int rate = avr_regbit_get(avr, spi->spr[0]) | avr_regbit_get(avr, spi->spr[1]) << 1 |
               avr_regbit_get(avr, spi->spr[2]) << 2;
    return divider[rate];
}

/* The bits of a byte in mode 0, highest first, or lowest with DORD (bit 5 of SPCR). */
static void spi_written(struct avr_irq_t *irq, uint32_t value, void *param)
{
    avr_cycle_timer_slot_t *slot;
    uint32_t half = spi_cycles_a_bit() / 2;
    bool lowest_first = avr->data[spi->r_spcr] >> 5 & 1;
    avr_cycle_count_t at = avr->cycle;
    int bit;
    (void)irq, (void)param;
    if (!spi_is_on())
        return;
    for (bit = 0; bit < 8; bit++, at += 2 * half) {
        set_level(mosi, at, value >> (lowest_first ? bit : 7 - bit) & 1);
        set_level(sck, at + half, 1);
        set_level(sck, at + 2 * half, 0);
    }
    for (slot = avr->cycle_timers.timer; slot; slot = slot->next)
        if (slot->param == spi) { /* simavr's own end of the byte: make it earlier */
            avr_cycle_timer_t ended = slot->timer;
            avr_cycle_timer_cancel(avr, ended, spi);
            avr_cycle_timer_register(avr, 16 * half, ended, spi);
            break;
        }
}

/* The pins of the SPI port (datasheets of the chips). */
static void find_spi_pins(int count, char **names)
{
    static const char *places[][3] = {
        {"atmega328p", "B3", "B5"}, {"atmega328", "B3", "B5"},   {"atmega168", "B3", "B5"},
        {"atmega2560", "B2", "B1"}, {"atmega1280", "B2", "B1"},  {"atmega1284p", "B5", "B7"},
        {"atmega1284", "B5", "B7"}, {"atmega644", "B5", "B7"},
    };
    unsigned chip;
    int pin;
    for (chip = 0; chip < sizeof places / sizeof *places; chip++)
        if (!strcmp(avr->mmcu, places[chip][0]))
            for (pin = 0; pin < count; pin++) {
                if (!strcmp(names[pin], places[chip][1]))
                    mosi = pin;
                else if (!strcmp(names[pin], places[chip][2]))
                    sck = pin;
                else
                    continue;
                pins[pin].of_spi = true;
            }
}

/* The serial port ----------------------------------------------------------------------------- */

static uint8_t waiting[4096];
static int first, end;

/* Cycles of a byte by the registers: start bit, 8 data bits, stop bits. simavr's own figure has
 * 11 bits, and U2X only if it was set before the divider. */
static avr_cycle_count_t byte_cycles(void)
{
    uint32_t divider = avr_regbit_get(avr, uart->ubrrl) | avr_regbit_get(avr, uart->ubrrh) << 8;
    uint32_t bit = (divider + 1) * (avr_regbit_get(avr, uart->u2x) ? 8 : 16);
    uart->cycles_per_byte = bit * (10 + avr_regbit_get(avr, uart->usbs));
    return uart->cycles_per_byte;
}

static avr_cycle_count_t next_byte(avr_t *the, avr_cycle_count_t when, void *param)
{
    avr_cycle_count_t byte = byte_cycles();
    (void)param;
    if (first == end) {
        ssize_t count = read(serial, waiting, sizeof waiting);
        first = end = 0;
        if (count <= 0)
            return the->cycle + avr_usec_to_cycles(the, IDLE_US);
        end = (int)count;
    }
    if (!avr_regbit_get(the, uart->rxen)) {
        first++; /* the receiver is off */
    } else if (uart_fifo_get_read_size(&uart->input) >= HELD) {
        lost++;
        first++;
    } else {
        avr_raise_irq(uart->io.irq + UART_IRQ_INPUT, waiting[first++]);
        came++;
    }
    return when + byte;
}

static void byte_sent(struct avr_irq_t *irq, uint32_t value, void *param)
{
    uint8_t byte = (uint8_t)value;
    (void)irq, (void)param;
    if (write(serial, &byte, 1) != 1 && errno != EAGAIN)
        exit(0); /* a program that does not read its answers loses them; the port is gone */
}

/* Time ---------------------------------------------------------------------------------------- */

static int64_t now_us(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec * 1000000LL + now.tv_nsec / 1000;
}

static void sleep_us(int64_t us)
{
    struct timespec span = {us / 1000000, us % 1000000 * 1000};
    nanosleep(&span, NULL);
}

static avr_cycle_count_t look_at_stack(avr_t *the, avr_cycle_count_t when, void *param)
{
    uint16_t at = (uint16_t)(the->data[R_SPL] | the->data[R_SPH] << 8);
    (void)param;
    if (at < lowest && at > the->ioend)
        lowest = at;
    return when + 997; /* out of step with loops of the firmware */
}

/* Every millisecond: write the counts, and wait if this machine is faster than the chip. */
static avr_cycle_count_t tick(avr_t *the, avr_cycle_count_t when, void *param)
{
    static int64_t due, since, last;
    int64_t now = now_us();
    (void)param;
    record(the->cycle, LOST, lost);
    record(the->cycle, CAME, came);
    record(the->cycle, STACK, lowest);
    record(the->cycle, WORK, since ? (uint32_t)(now - since) : 0);
    record(the->cycle, TIME, last ? (uint32_t)(now - last) : 0);
    lost = came = 0;
    last = now;
    if (fflush(stdout))
        exit(0);
    if (now - due > LAG_US)
        due = now - LAG_US;
    else if (due - now > 500)
        sleep_us(due - now);
    due += 1000;
    since = now_us();
    return when + the->frequency / 1000;
}

static void sleep_not(avr_t *the, avr_cycle_count_t cycles)
{
    (void)the, (void)cycles; /* `tick` keeps the pace */
}

static void log_errors(avr_t *the, const int level, const char *format, va_list words)
{
    (void)the;
    if (level == LOG_ERROR)
        vfprintf(stderr, format, words);
}

/* --------------------------------------------------------------------------------------------- */

static void fail(const char *what, const char *which)
{
    fprintf(stderr, "%s%s\n", what, which);
    exit(2);
}

int main(int count, char **words)
{
    static elf_firmware_t firmware;
    avr_io_t *part;
    uint32_t no_flags = 0;
    int pin, state;
    const char *trace = NULL;

    if (count != 2 && count < 5)
        fail("usage: live FIRMWARE [CONTROLLER HERTZ FD [PIN …] [=VCD]]", "");
    avr_global_logger_set(log_errors);
    if (elf_read_firmware(words[1], &firmware))
        fail("not a firmware for an AVR: ", words[1]);
    if (!firmware.flashsize)
        fail("no program is in ", words[1]);
    if (count == 2) {
        printf("%s %lu\n", firmware.mmcu[0] ? firmware.mmcu : "-",
               (unsigned long)firmware.frequency);
        return 0;
    }
    if (strcmp(words[2], "-"))
        snprintf(firmware.mmcu, sizeof firmware.mmcu, "%s", words[2]);
    if (atol(words[3]))
        firmware.frequency = (uint32_t)atol(words[3]);
    if (!firmware.mmcu[0] || !firmware.frequency)
        fail("the firmware does not contain controller and clock", "");
    if (words[count - 1][0] == '=')
        trace = words[--count] + 1;
    if (trace)
        snprintf(firmware.tracename, sizeof firmware.tracename, "%s", trace);
    else
        firmware.tracecount = 0;
    avr = avr_make_mcu_by_name(firmware.mmcu);
    if (!avr)
        fail("simavr has no controller ", firmware.mmcu);
    avr_init(avr);
    avr->log = LOG_ERROR;
    avr_load_firmware(avr, &firmware);
    avr->sleep = sleep_not;
    for (part = avr->io_port; part; part = part->next)
        if (!strcmp(part->kind, "uart") && ((avr_uart_t *)part)->name == '0')
            uart = (avr_uart_t *)part;
        else if (!strcmp(part->kind, "spi") && !spi)
            spi = (avr_spi_t *)part;
    if (!uart)
        fail("simavr has no serial port in ", firmware.mmcu);
    for (pin = 0; pin < count - 5; pin++)
        if (pin == MOST_PINS || !watch_pin(words[5 + pin], pin))
            fail("the controller has no pin ", words[5 + pin]);
    find_spi_pins(count - 5, words + 5);
    if (spi && (mosi != SPI_NONE || sck != SPI_NONE))
        avr_irq_register_notify(avr_iomem_getirq(avr, spi->r_spdr, NULL, AVR_IOMEM_IRQ_ALL),
                                spi_written, NULL);
    serial = atoi(words[4]);
    fcntl(serial, F_SETFL, fcntl(serial, F_GETFL) | O_NONBLOCK);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &no_flags);
    avr_irq_register_notify(uart->io.irq + UART_IRQ_OUTPUT, byte_sent, NULL);
    record(0, CLOCK, avr->frequency);
    avr_cycle_timer_register(avr, 1, tick, NULL);
    avr_cycle_timer_register(avr, 1, look_at_stack, NULL);
    avr_cycle_timer_register(avr, 1, next_byte, NULL);
    do
        state = avr_run(avr);
    while (state != cpu_Done && state != cpu_Crashed);
    record(avr->cycle, ENDED, state == cpu_Done ? 1 : 2);
    fflush(stdout);
    avr_terminate(avr);
    return 0;
}
