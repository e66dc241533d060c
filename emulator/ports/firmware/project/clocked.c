/* Sends bytes to a line of chips with a clock: highest bit first, read as the clock rises. */
#include "lines.h"

#ifdef WALL_CLOCK_HZ

#include <util/delay_basic.h>

#ifdef WALL_SPI_LINE

/* The ATmega's own SPI port, mode 0. Its pin SS must be an output: a low input ends master mode. */
void spi_start(void)
{
    PIN_DDR(WALL_SPI_SS) |= PIN_MASK(WALL_SPI_SS);
    SPCR = 1 << SPE | 1 << MSTR | (WALL_SPI_RATE & 3);
    SPSR = WALL_SPI_RATE >> 2; /* SPI2X */
}

void spi_write(const uint8_t *bytes, uint16_t count)
{
    while (count--) {
        SPDR = *bytes++;
        while (!(SPSR & 1 << SPIF))
            ;
    }
}

#endif

/* Any two pins. Each half of a bit takes CLOCK_LOOPS times 3 cycles, plus the other instructions. */
#define CLOCK_LOOPS ((F_CPU / 6 + WALL_CLOCK_HZ - 1) / WALL_CLOCK_HZ)

static void half_a_bit(void)
{
#if CLOCK_LOOPS > 65535
#error "Such a slow clock needs another routine."
#elif CLOCK_LOOPS > 255
    _delay_loop_2((CLOCK_LOOPS * 3 + 3) / 4); /* of 4 cycles */
#else
    _delay_loop_1(CLOCK_LOOPS);
#endif
}

void pins_write(const struct line *line, const uint8_t *bytes, uint16_t count)
{
    while (count--) {
        uint8_t byte = *bytes++;
        uint8_t bit;
        for (bit = 0; bit < 8; bit++) {
            if (byte & 0x80)
                *line->data.port |= line->data.mask;
            else
                *line->data.port &= (uint8_t)~line->data.mask;
            half_a_bit();
            *line->clock.port |= line->clock.mask;
            half_a_bit();
            *line->clock.port &= (uint8_t)~line->clock.mask;
            byte = (uint8_t)(byte << 1);
        }
    }
}

#endif
