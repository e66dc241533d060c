/* The reference receiver on an ATmega328P: the least program around it, to see its size. */
#include "foreglow_receiver.h"

#include <avr/interrupt.h>
#include <avr/io.h>

ISR(USART_RX_vect)
{
    foreglow_take(UDR0);
}

void foreglow_send(const uint8_t *bytes, uint8_t count)
{
    while (count--) {
        while (!(UCSR0A & (1 << UDRE0)))
            ;
        UDR0 = *bytes++;
    }
}

void foreglow_write_line(uint8_t line, const uint8_t *bytes, uint16_t count)
{
    PORTD = line; /* a real one sends the bits of each byte to the LEDs here */
    while (count--)
        PORTB = *bytes++;
}

static volatile uint32_t ms;

ISR(TIMER0_COMPA_vect)
{
    ms++;
}

uint32_t foreglow_ms(void)
{
    uint32_t now;
    cli(); /* an interrupt between its bytes would tear it */
    now = ms;
    sei();
    return now;
}

int main(void)
{
    TCCR0A = 1 << WGM01;
    TCCR0B = 1 << CS01 | 1 << CS00; /* 16 MHz / 64 / 250: a millisecond */
    OCR0A = 249;
    TIMSK0 = 1 << OCIE0A;
    UBRR0 = 0;
    UCSR0A = 1 << U2X0; /* 2,000,000 baud at 16 MHz */
    UCSR0B = 1 << RXCIE0 | 1 << RXEN0 | 1 << TXEN0;
    foreglow_start();
    sei();
    for (;;)
        foreglow_poll();
}
