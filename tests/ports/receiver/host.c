/* The reference receiver as a program: bytes on standard input, answers on standard output, what
 * it writes to the LED lines and at last its counts on standard error. With the argument "bursts",
 * bytes come faster than the main loop asks for them; with a number, each takes so many ms. */
#define _POSIX_C_SOURCE 200809L
#include "foreglow_receiver.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

void foreglow_write_line(uint8_t line, const uint8_t *bytes, uint16_t count)
{
    fprintf(stderr, "%u ", line);
    while (count--)
        fprintf(stderr, "%02x", *bytes++);
    fputc('\n', stderr);
}

void foreglow_send(const uint8_t *bytes, uint8_t count)
{
    while (count) {
        ssize_t sent = write(1, bytes, count);
        if (sent <= 0)
            return;
        bytes += sent;
        count = (uint8_t)(count - sent);
    }
}

static uint32_t now_ms;

uint32_t foreglow_ms(void)
{
    return now_ms;
}

int main(int arguments, char **argument)
{
    static uint8_t bytes[1000];
    uint32_t byte_ms = arguments > 1 ? (uint32_t)atoi(argument[1]) : 0;
    bool bursts = arguments > 1 && !byte_ms;
    ssize_t count, i;
    now_ms = 0xFFFFFC18; /* a second before the count begins at 0 again */
    foreglow_start();
    while ((count = read(0, bytes, bursts ? 100 : sizeof bytes)) > 0) {
        for (i = 0; i < count; i++) {
            foreglow_take(bytes[i]);
            if (!bursts)
                foreglow_poll();
            now_ms += byte_ms;
        }
        foreglow_poll();
    }
    fprintf(stderr, "counts %lu %lu %lu %lu\n", (unsigned long)foreglow_status()->latched,
            (unsigned long)foreglow_status()->dropped, (unsigned long)foreglow_status()->bad,
            (unsigned long)foreglow_status()->overrun);
    return 0;
}
