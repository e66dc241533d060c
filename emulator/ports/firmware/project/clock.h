/* Time since the start, by timer 1. */
#ifndef CLOCK_H
#define CLOCK_H

#include <avr/io.h>
#include <stdint.h>

#define CLOCK_DIVIDER 1024UL /* cycles a tick */

static inline void clock_start(void)
{
    TCCR1A = 0;
    TCCR1B = 1 << CS12 | 1 << CS10; /* a tick every 1024 cycles */
}

/* Modulo 65536: 4.2 s at 16 MHz, 3.4 s at 20 MHz. Not from an interrupt. */
static inline uint16_t clock_ticks(void)
{
    return TCNT1;
}

#endif
