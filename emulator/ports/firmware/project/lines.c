/* Sends the frames to the pins, one line after the other. */
#include "lines.h"

#include "clock.h"
#include "foreglow_receiver.h"

#define PIN(letter, number) {&PORT##letter, &DDR##letter, 1 << (number)}

static const struct line lines[FOREGLOW_LINES] = WALL_PINS;

/* At least WALL_REST_US; the present tick does not count. */
#define REST_TICKS ((uint16_t)(WALL_REST_US / (1000000UL * CLOCK_DIVIDER / F_CPU) + 2))

static uint16_t rested; /* when the last line was written */

static void make_output(const struct pin *pin)
{
    *pin->port &= (uint8_t)~pin->mask;
    *pin->direction |= pin->mask;
}

void lines_start(void)
{
    uint8_t line;
    for (line = 0; line < FOREGLOW_LINES; line++) {
        make_output(&lines[line].data);
#ifdef WALL_CLOCK_HZ
        make_output(&lines[line].clock);
#endif
    }
#ifdef WALL_SPI_LINE
    spi_start();
#endif
    rested = clock_ticks();
}

void foreglow_write_line(uint8_t line, const uint8_t *bytes, uint16_t count)
{
    static uint8_t last = FOREGLOW_LINES - 1;

    /* For the chips, bytes that come too soon belong to the frame before. Lines come in order, so a
     * line that does not follow the last one begins a frame. */
    if (line <= last)
        while ((uint16_t)(clock_ticks() - rested) < REST_TICKS)
            ;
    last = line;
#ifdef WALL_CLOCK_HZ
#ifdef WALL_SPI_LINE
    if (line == WALL_SPI_LINE)
        spi_write(bytes, count);
    else
#endif
        pins_write(&lines[line], bytes, count);
#else
    onewire_write(lines[line].data.port, lines[line].data.mask, bytes, count);
#endif
    rested = clock_ticks();
}
