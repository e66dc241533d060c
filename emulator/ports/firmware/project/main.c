/* Frames from the serial port to the LED lines. What is particular to the wall stands in wall.h. */
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
        foreglow_ms(); /* the clock wants to be asked every few seconds */
    }
}
