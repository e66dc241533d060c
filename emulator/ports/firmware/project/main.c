/* Frames from the serial port to the LED lines. The facts of the wall are in wall.h. */
#include "clock.h"
#include "foreglow_receiver.h"
#include "lines.h"
#include "uart.h"

#include <avr/interrupt.h>

int main(void)
{
    clock_start();
    lines_start();
    uart_start();
    sei();
    for (;;) {
        foreglow_poll();
        foreglow_ms(); /* the clock must be read every few seconds */
    }
}
