/* A small firmware: two frames of twelve LEDs on pin B0 of an ATmega328P at 16 MHz, then it ends.

   Byte i of frame f is 37 i + 11 f, modulo 256. One bit takes 19 cycles of 62.5 ns: a 0 is high
   for 5 (312.5 ns), a 1 for 14 (875 ns), or for 14 + LATE where LATE is given.

   The last lines of this comment are for simavr only, a simulator of AVR chips: AVR_MCU and
   AVR_MCU_VCD_… put into the ELF file which pin it traces to which file. They are not loaded
   into a real chip. */

#include <avr_mcu_section.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdint.h>
#include <util/delay.h>

#ifndef LATE
#define LATE 0
#endif

AVR_MCU(F_CPU, "atmega328p");
AVR_MCU_VCD_FILE("pin.vcd", 1000);
AVR_MCU_VCD_PORT_PIN('B', 0, "DATA");

#define FRAMES 2
#define BYTES 36

static void send(const uint8_t *data, uint8_t count)
{
    uint8_t byte = *data++;

    __asm__ volatile(
        "1:                    \n"
        ".rept 7               \n"
        "   out %[port], %[hi] \n"
        "   nop                \n"
        "   nop                \n"
        "   nop                \n"
        "   sbrs %[byte], 7    \n" /* one cycle more where it skips: `out` is made up for */
        "   out %[port], %[lo] \n" /* a 0 has been high for 5 */
        "   lsl %[byte]        \n"
        "   .rept 7 + %[late]  \n"
        "   nop                \n"
        "   .endr              \n"
        "   out %[port], %[lo] \n" /* a 1 has been high for 14 */
        "   .rept 4            \n"
        "   nop                \n"
        "   .endr              \n"
        ".endr                 \n"
        "   out %[port], %[hi] \n" /* the lowest bit: the next byte is fetched meanwhile */
        "   nop                \n"
        "   nop                \n"
        "   nop                \n"
        "   sbrs %[byte], 7    \n"
        "   out %[port], %[lo] \n"
        "   ld %[byte], %a[at]+\n"
        "   .rept 6 + %[late]  \n"
        "   nop                \n"
        "   .endr              \n"
        "   out %[port], %[lo] \n"
        "   dec %[count]       \n"
        "   breq 2f            \n"
        "   rjmp 1b            \n" /* too far for brne */
        "2:                    \n"
        : [byte] "+r"(byte), [count] "+r"(count), [at] "+e"(data)
        : [port] "I"(_SFR_IO_ADDR(PORTB)), [hi] "r"((uint8_t)1), [lo] "r"((uint8_t)0),
          [late] "i"(LATE)
        : "memory");
}

int main(void)
{
    static uint8_t frame[BYTES + 1];

    DDRB = 1;
    _delay_us(500);
    for (uint8_t f = 0; f < FRAMES; f++) {
        for (uint8_t i = 0; i < BYTES; i++)
            frame[i] = (uint8_t)(37 * i + 11 * f);
        send(frame, BYTES);
        _delay_us(500); /* the reset */
    }
    cli(); /* asleep without interrupts: simavr ends and closes the trace */
    sleep_mode();
    return 0;
}
