/* Milliseconds from timer 1, which also counts while interrupts are off. */
#include "clock.h"

#include "foreglow_receiver.h"

#define CYCLES_A_MS (F_CPU / 1000)
#define MOST_TICKS (CYCLES_A_MS / CLOCK_DIVIDER) /* less than a millisecond: not worth a division */

/* The main loop must call this before the ticks wrap around. */
uint32_t foreglow_ms(void)
{
    static uint32_t ms, cycles;
    static uint16_t counted;
    uint16_t now = clock_ticks(), passed = (uint16_t)(now - counted);

    if (passed > MOST_TICKS) {
        counted = now;
        cycles += passed * CLOCK_DIVIDER;
        ms += cycles / CYCLES_A_MS;
        cycles %= CYCLES_A_MS;
    }
    return ms;
}
