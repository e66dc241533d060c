/* Receiver of foreglow's serial protocol: see foreglow_receiver.h.
 *
 * interrupt -> ring -> COBS, one byte at a time -> message -> frame -> foreglow_write_line
 *
 * The bytes of a frame are one after the other in `frame`, as they must come: line after line,
 * each byte once. Anything else spoils the frame, and it is not shown.
 */
#include "foreglow_receiver.h"

#include <string.h>

#define VERSION 1
#define HEAD 6 /* of a data message: type, frame, line, offset */
#define CRC 2
#define MOST_MESSAGE (HEAD + FOREGLOW_MOST_DATA + CRC)
#define CHIP_BYTES (sizeof FOREGLOW_CHIP - 1)
#define DESCRIPTION_BYTES (5 + 2 * FOREGLOW_LINES + CHIP_BYTES)
#define STATUS_BYTES 13
#define MOST_ANSWER (DESCRIPTION_BYTES > STATUS_BYTES ? DESCRIPTION_BYTES : STATUS_BYTES)

enum { HELLO = 0x01, DATA = 0x02, LATCH = 0x03, ASK = 0x04 };
enum { DESCRIPTION = 0x81, ACK = 0x82, STATUS = 0x83 };

/* An array of negative size stops the compiler if a macro is wrong. */
typedef char ring_is_a_power_of_2[
    FOREGLOW_RING >= 2 && FOREGLOW_RING <= 256 && !(FOREGLOW_RING & (FOREGLOW_RING - 1)) ? 1 : -1];
typedef char data_fits_in_a_message[
    FOREGLOW_MOST_DATA >= 14 && FOREGLOW_MOST_DATA <= 246 ? 1 : -1];
typedef char lines_fit_in_a_message[
    FOREGLOW_LINES >= 1 && FOREGLOW_LINES <= 64 && 1 + DESCRIPTION_BYTES + CRC + 1 <= 255 ? 1 : -1];
typedef char hold_has_16_bits[FOREGLOW_HOLD >= 0 && FOREGLOW_HOLD <= 65535 ? 1 : -1];
typedef char frame_has_16_bits[FOREGLOW_FRAME_BYTES <= 65535 ? 1 : -1];

static const uint16_t leds[FOREGLOW_LINES] = FOREGLOW_LEDS;
static const uint16_t room[FOREGLOW_LINES] = FOREGLOW_LINE_BYTES;

volatile uint8_t foreglow_ring[FOREGLOW_RING] FOREGLOW_RING_PLACE;
volatile uint8_t foreglow_ring_head, foreglow_ring_tail;
volatile uint32_t foreglow_overrun;

static struct {
    uint8_t bytes[MOST_MESSAGE];
    uint8_t count;
    uint8_t left;     /* bytes until the next code byte */
    bool zero_due;    /* a 0 comes before the next code byte's block */
    bool too_long;
} message;

static uint8_t frame[FOREGLOW_FRAME_BYTES];
static struct {
    uint16_t number;
    uint16_t count;
    uint8_t line;
    bool open;
    bool spoiled;
    uint16_t line_count[FOREGLOW_LINES];
} now;

static struct {
    uint16_t number;
    bool known;
    bool dropped;
} last;

static struct foreglow_counts counts;

static struct {
    uint32_t most_ms;  /* of silence, after which the LEDs go dark; 0: never */
    uint32_t since_ms; /* when the last valid message came */
    bool lit;          /* the LEDs show a frame of the sender */
} silence = {100UL * FOREGLOW_HOLD, 0, false};

/* CRC-16/IBM-3740 over bytes: polynomial 0x1021, start 0xFFFF, highest bit first. Its two halves
 * are separate, which is twice as fast on a processor of 8 bits. */
static uint16_t crc16(const uint8_t *bytes, uint16_t count)
{
    const uint8_t *end = bytes + count;
    uint8_t high = 0xFF, low = 0xFF;
    while (bytes != end) {
        uint8_t in = (uint8_t)(high ^ *bytes++);
        uint8_t up;
        in ^= in >> 4;
        up = (uint8_t)(in << 4);
        high = (uint8_t)(low ^ up ^ in >> 3);
        low = (uint8_t)(in ^ (uint8_t)(up << 1));
    }
    return (uint16_t)((uint16_t)high << 8 | low);
}

static uint16_t get16(const uint8_t *bytes)
{
    return (uint16_t)(bytes[0] | (uint16_t)bytes[1] << 8);
}

static uint8_t *put16(uint8_t *to, uint16_t value)
{
    *to++ = (uint8_t)value;
    *to++ = (uint8_t)(value >> 8);
    return to;
}

static uint8_t *put32(uint8_t *to, uint32_t value)
{
    return put16(put16(to, (uint16_t)value), (uint16_t)(value >> 16));
}

/* Answers ----------------------------------------------------------------------------------- */

/* COBS-encode and send. `answer` has a free byte, the body up to `end`, and room for 3 bytes more. */
static void send_answer(uint8_t *answer, uint8_t *end)
{
    uint8_t *code = answer;
    uint8_t *byte;
    end = put16(end, crc16(answer + 1, (uint16_t)(end - answer - 1)));
    for (byte = answer + 1; byte < end; byte++) {
        if (*byte == 0) { /* answers have at most 254 bytes, so every block ends at a 0 */
            *code = (uint8_t)(byte - code);
            code = byte;
        }
    }
    *code = (uint8_t)(end - code);
    *end++ = 0;
    foreglow_send(answer, (uint8_t)(end - answer));
}

static void send_description(void)
{
    uint8_t answer[1 + MOST_ANSWER + CRC + 1], *to = answer + 1;
    uint8_t line;
    *to++ = DESCRIPTION;
    *to++ = VERSION;
    *to++ = FOREGLOW_CREDIT;
    *to++ = FOREGLOW_MOST_DATA;
    *to++ = FOREGLOW_LINES;
    for (line = 0; line < FOREGLOW_LINES; line++)
        to = put16(to, leds[line]);
    memcpy(to, FOREGLOW_CHIP, CHIP_BYTES);
    send_answer(answer, to + CHIP_BYTES);
}

static void send_status(void)
{
    uint8_t answer[1 + MOST_ANSWER + CRC + 1], *to = answer + 1;
    *to++ = STATUS;
    to = put32(put32(put32(to, counts.latched), counts.dropped), counts.bad);
    send_answer(answer, to);
}

static void send_ack(uint16_t number, bool dropped)
{
    uint8_t answer[1 + MOST_ANSWER + CRC + 1], *to = answer + 1;
    *to++ = ACK;
    to = put16(to, number);
    *to++ = dropped;
    *to++ = FOREGLOW_CREDIT;
    send_answer(answer, to);
}

/* Frames ------------------------------------------------------------------------------------ */

static void settle(uint16_t number, bool dropped)
{
    now.open = false;
    last.known = true;
    last.number = number;
    last.dropped = dropped;
    if (dropped)
        counts.dropped++;
    else
        counts.latched++;
}

static void drop(uint16_t number)
{
    settle(number, true);
    send_ack(number, true);
}

/* Count the frames between the last settled one and this one: nothing of them came. */
static void count_missing(uint16_t number)
{
    uint16_t missing = (uint16_t)(number - last.number - 1);
    if (last.known && missing < 0x8000)
        counts.dropped += missing;
}

static void begin(uint16_t number)
{
    memset(&now, 0, sizeof now);
    now.open = true;
    now.number = number;
}

static void take_data(uint16_t number, uint8_t line, uint16_t offset, const uint8_t *bytes,
                      uint8_t count)
{
    bool begins = line == 0 && offset == 0;
    if (now.open && now.number != number)
        drop(now.number);
    if (begins || !now.open) {
        if (!begins && last.known && number == last.number)
            return; /* a late repetition */
        if (!now.open)
            count_missing(number);
        begin(number);
        now.spoiled = !begins;
    }
    if (line < now.line || line >= FOREGLOW_LINES || offset != now.line_count[line]) {
        now.spoiled = true;
        return;
    }
    now.line = line;
    if (count > room[line] - offset || count > FOREGLOW_FRAME_BYTES - now.count) {
        now.spoiled = true;
        return;
    }
    memcpy(frame + now.count, bytes, count);
    now.count = (uint16_t)(now.count + count);
    now.line_count[line] = (uint16_t)(offset + count);
}

static void show(void)
{
    const uint8_t *bytes = frame;
    uint8_t line;
    for (line = 0; line < FOREGLOW_LINES; line++) {
        if (now.line_count[line])
            foreglow_write_line(line, bytes, now.line_count[line]);
        bytes += now.line_count[line];
    }
    silence.lit = true;
}

/* The sender is silent. The dark frame replaces an unfinished one. */
static void go_dark(void)
{
    uint16_t at;
    uint8_t line;
    now.spoiled = true;
    silence.lit = false;
    for (line = 0; line < FOREGLOW_LINES; line++) {
        for (at = 0; at < room[line]; at++)
            frame[at] = (uint8_t)FOREGLOW_DARK(line, at);
        if (room[line])
            foreglow_write_line(line, frame, room[line]);
    }
}

static void take_latch(uint16_t number, uint32_t count, uint16_t crc)
{
    if (now.open && now.number != number)
        drop(now.number);
    if (!now.open) {
        if (last.known && number == last.number) {
            send_ack(number, last.dropped);
            return;
        }
        count_missing(number);
        drop(number);
    } else if (now.spoiled || now.count != count || crc16(frame, now.count) != crc) {
        drop(number);
    } else {
        show();
        settle(number, false);
        send_ack(number, false);
    }
}

static void greet(uint16_t hold)
{
    silence.most_ms = 100UL * hold;
    if (now.open)
        settle(now.number, true);
    last.known = false;
    send_description();
}

/* Messages ---------------------------------------------------------------------------------- */

static bool heard(void)
{
    silence.since_ms = foreglow_ms();
    return true;
}

/* False: the fields do not fit the type. Other types are ignored, and so are fields after those of
 * hello: a later version may add some. */
static bool take_message(const uint8_t *body, uint8_t count)
{
    switch (body[0]) {
    case HELLO:
        if (count < 2 || count == 3)
            return false;
        greet(count < 4 ? FOREGLOW_HOLD : get16(body + 2));
        return heard();
    case DATA:
        if (count < HEAD)
            return false;
        take_data(get16(body + 1), body[3], get16(body + 4), body + HEAD,
                  (uint8_t)(count - HEAD));
        return heard();
    case LATCH:
        if (count != 9)
            return false;
        take_latch(get16(body + 1), get16(body + 3) | (uint32_t)get16(body + 5) << 16,
                   get16(body + 7));
        return heard();
    case ASK:
        if (count != 1)
            return false;
        send_status();
        return heard();
    default:
        return true;
    }
}

static bool message_is_good(void)
{
    uint8_t body = (uint8_t)(message.count - CRC);
    if (message.too_long || message.left || message.count < 1 + CRC)
        return false;
    if (crc16(message.bytes, body) != get16(message.bytes + body))
        return false;
    return take_message(message.bytes, body);
}

/* Take the bytes in the ring up to `end`. All bytes come this way, so the variables that each byte
 * changes are local. */
static void take_bytes(uint8_t end)
{
    uint8_t tail = foreglow_ring_tail, left = message.left;
    bool zero_due = message.zero_due;
    uint8_t *to = message.bytes + message.count, *const full = message.bytes + MOST_MESSAGE;
    while (tail != end) {
        uint8_t byte = foreglow_ring[tail];
        tail = (uint8_t)((tail + 1) & (FOREGLOW_RING - 1));
        foreglow_ring_tail = tail; /* at once, for the interrupt */
        if (byte == 0) {
            message.count = (uint8_t)(to - message.bytes);
            message.left = left;
            if ((message.count || left || zero_due) && !message_is_good())
                counts.bad++;
            to = message.bytes;
            left = 0;
            zero_due = message.too_long = false;
            continue;
        }
        if (left) {
            left--;
        } else {
            left = (uint8_t)(byte - 1);
            byte = 0;
            if (!zero_due) {
                zero_due = left != 0xFE;
                continue;
            }
            zero_due = left != 0xFE;
        }
        if (to != full)
            *to++ = byte;
        else
            message.too_long = true;
    }
    message.count = (uint8_t)(to - message.bytes);
    message.left = left;
    message.zero_due = zero_due;
}

/* The outside ------------------------------------------------------------------------------- */

void foreglow_start(void)
{
    foreglow_ring_head = foreglow_ring_tail = 0;
    foreglow_overrun = 0;
    memset(&message, 0, sizeof message);
    memset(&now, 0, sizeof now);
    memset(&last, 0, sizeof last);
    memset(&counts, 0, sizeof counts);
    silence.most_ms = 100UL * FOREGLOW_HOLD;
    silence.since_ms = foreglow_ms();
    silence.lit = false;
}

bool foreglow_take(uint8_t byte)
{
    uint8_t next = (uint8_t)((foreglow_ring_head + 1) & (FOREGLOW_RING - 1));
    if (next == foreglow_ring_tail) {
        foreglow_overrun++;
        return false;
    }
    foreglow_ring[foreglow_ring_head] = byte;
    foreglow_ring_head = next;
    return true;
}

bool foreglow_poll(void)
{
    uint8_t end = foreglow_ring_head; /* later bytes wait, so that the main loop can continue */
    bool any = foreglow_ring_tail != end;
    if (silence.lit && silence.most_ms && foreglow_ms() - silence.since_ms >= silence.most_ms)
        go_dark();
    take_bytes(end);
    return any;
}

const struct foreglow_counts *foreglow_status(void)
{
    do { /* an interrupt may change the number while it is read: read until it stays the same */
        counts.overrun = foreglow_overrun;
    } while (counts.overrun != foreglow_overrun);
    return &counts;
}
