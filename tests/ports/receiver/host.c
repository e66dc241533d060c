/* The reference receiver as a program: bytes on standard input, answers on standard output, what
 * it writes to the LED lines and at last its counts on standard error. With an argument, bytes
 * come in bursts, faster than the main loop asks for them. */
#define _POSIX_C_SOURCE 200809L
#include "foreglow_receiver.h"

#include <stdio.h>
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

int main(int arguments, char **argument)
{
    static uint8_t bytes[1000];
    bool bursts = arguments > 1;
    ssize_t count, i;
    (void)argument;
    foreglow_start();
    while ((count = read(0, bytes, bursts ? 100 : sizeof bytes)) > 0) {
        for (i = 0; i < count; i++) {
            foreglow_take(bytes[i]);
            if (!bursts)
                foreglow_poll();
        }
        foreglow_poll();
    }
    fprintf(stderr, "counts %lu %lu %lu %lu\n", (unsigned long)foreglow_status()->latched,
            (unsigned long)foreglow_status()->dropped, (unsigned long)foreglow_status()->bad,
            (unsigned long)foreglow_status()->overrun);
    return 0;
}
