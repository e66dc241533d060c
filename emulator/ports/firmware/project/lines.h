/* The LED lines and their pins. */
#ifndef LINES_H
#define LINES_H

#include "wall.h"

#include <avr/io.h>
#include <stdint.h>

/* A pin in wall.h is a letter and a number, as B, 0 for PB0. */
#define PIN_PORT_(letter, number) PORT##letter
#define PIN_DDR_(letter, number) DDR##letter
#define PIN_MASK_(letter, number) ((uint8_t)(1 << (number)))
#define PIN_PORT(pin) PIN_PORT_(pin)
#define PIN_DDR(pin) PIN_DDR_(pin)
#define PIN_MASK(pin) PIN_MASK_(pin)

struct pin {
    volatile uint8_t *port, *direction;
    uint8_t mask;
};

struct line {
    struct pin data;
#ifdef WALL_CLOCK_HZ
    struct pin clock;
#endif
};

void lines_start(void);

#ifdef WALL_CLOCK_HZ
void spi_start(void);
void spi_write(const uint8_t *bytes, uint16_t count);
void pins_write(const struct line *line, const uint8_t *bytes, uint16_t count);
#else
void onewire_write(volatile uint8_t *port, uint8_t pin, const uint8_t *bytes, uint16_t count);
#endif

#endif
