/* The first serial port: 8 data bits, no parity, 1 stop bit. take.S receives. */
#include "uart.h"

#include "foreglow_receiver.h"

#include <avr/io.h>

#define DIVIDER ((F_CPU + 4 * WALL_BAUD) / (8 * WALL_BAUD)) /* 8 cycles a bit, U2X */

#if DIVIDER < 1 || DIVIDER > 4096
#error "This clock cannot make such a baud rate."
#endif

void uart_start(void)
{
    take_start();
    UBRR0 = DIVIDER - 1;
    UCSR0A = 1 << U2X0;
    UCSR0B = 1 << RXCIE0 | 1 << RXEN0 | 1 << TXEN0;
    UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
}

void foreglow_send(const uint8_t *bytes, uint8_t count)
{
    while (count--) {
        while (!(UCSR0A & 1 << UDRE0))
            ;
        UDR0 = *bytes++;
    }
}
