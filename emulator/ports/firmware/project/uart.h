/* The serial port. */
#ifndef UART_H
#define UART_H

void uart_start(void);
void take_start(void); /* of the receive interrupt */

#endif
