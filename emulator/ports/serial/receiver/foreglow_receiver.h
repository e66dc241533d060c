/* Receiver of foreglow's serial protocol for microcontrollers: C99, no allocation.
 *
 * Set the macros below (with -D, or in a header of yours before this one) and write the three
 * functions. Call foreglow_take from the receive interrupt and foreglow_poll from the main loop.
 * foreglow's emulator/ports/serial/README.md specifies the protocol.
 * MIT licence, as foreglow.
 */
#ifndef FOREGLOW_RECEIVER_H
#define FOREGLOW_RECEIVER_H

#include <stdbool.h>
#include <stdint.h>

#ifndef FOREGLOW_CHIP
#define FOREGLOW_CHIP "WS2812B" /* its name in the display file, ASCII */
#endif
#ifndef FOREGLOW_LINES
#define FOREGLOW_LINES 1 /* at most 64 */
#endif
#ifndef FOREGLOW_LEDS
#define FOREGLOW_LEDS {60} /* LEDs of each line */
#endif
#ifndef FOREGLOW_LINE_BYTES
#define FOREGLOW_LINE_BYTES {180} /* bytes of each line in a frame */
#endif
#ifndef FOREGLOW_FRAME_BYTES
#define FOREGLOW_FRAME_BYTES 180 /* the sum of these; at most 65535 */
#endif
#ifndef FOREGLOW_MOST_DATA
#define FOREGLOW_MOST_DATA 246 /* bytes of LED data in a message, 14 to 246; fewer bytes save RAM */
#endif
#ifndef FOREGLOW_RING
#define FOREGLOW_RING 64 /* bytes between interrupt and main loop, plus one: a power of 2, 2 to 256 */
#endif
#ifndef FOREGLOW_RING_PLACE
#define FOREGLOW_RING_PLACE /* an attribute: the place of the ring, which needs no first values */
#endif
#ifndef FOREGLOW_CREDIT
/* Frames taken beyond the last acknowledged one. 1: the sender waits while you write the LEDs, so
 * you receive nothing then. 2: it does not wait; receive by DMA, or by an interrupt that stays
 * enabled, into a ring large enough for the bytes that come meanwhile. */
#define FOREGLOW_CREDIT 1
#endif
#ifndef FOREGLOW_HOLD
/* After so long without a message the LEDs go dark: tenths of a second, 0 for never. A hello with
 * another time sets it until the next hello. */
#define FOREGLOW_HOLD 100
#endif
#ifndef FOREGLOW_DARK
/* The byte at a place of a line's dark frame, for chips whose frames have other bytes than levels.
 * APA102 and similar chips: #define FOREGLOW_DARK(line, at) ((at) >= 4 && (at) % 4 == 0 ? 0xE0 : 0) */
#define FOREGLOW_DARK(line, at) 0
#endif

struct foreglow_counts {
    uint32_t latched; /* frames shown */
    uint32_t dropped; /* frames that were not whole */
    uint32_t bad;     /* messages that could not be read */
    uint32_t overrun; /* bytes lost because the ring was full */
};

/* You write this: put bytes on an LED line, in this order. It is called for each line of a whole
 * frame that has any bytes, and for each line's dark frame after silence. Return when the bytes are
 * sent: the next frame overwrites them. */
void foreglow_write_line(uint8_t line, const uint8_t *bytes, uint16_t count);

/* You write this: send bytes back over the serial port. */
void foreglow_send(const uint8_t *bytes, uint8_t count);

/* You write this: milliseconds since some moment, modulo 2^32. Called from the main loop only. */
uint32_t foreglow_ms(void);

/* Forget everything, also the counts. Call it with the receive interrupt off. Not needed after a
 * reset. */
void foreglow_start(void);

/* Take a received byte. May be called from an interrupt. False: the ring is full, the byte is lost. */
bool foreglow_take(uint8_t byte);

/* Where foreglow_take puts bytes, for an interrupt in assembly that does the same in fewer cycles.
 * Only foreglow_take writes the head and the count of lost bytes; only foreglow_poll writes the tail.
 * Head and tail are single bytes, which every processor reads and writes in one step. */
extern volatile uint8_t foreglow_ring[FOREGLOW_RING];
extern volatile uint8_t foreglow_ring_head, foreglow_ring_tail;
extern volatile uint32_t foreglow_overrun;

/* Handle the received bytes; call it from the main loop only. False: there were none. */
bool foreglow_poll(void);

/* The counts up to this call. Call it from the main loop only, and again for new figures. */
const struct foreglow_counts *foreglow_status(void);

#endif
