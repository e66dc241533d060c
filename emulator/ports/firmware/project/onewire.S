/* Sends bytes to a line of one-wire chips, every edge on its cycle.
 *
 *     void onewire_write(volatile uint8_t *port, uint8_t pin, const uint8_t *bytes, uint16_t count)
 *
 * port: the PORT register; pin: its bit as a mask; count: at least 1. Interrupts are off meanwhile.
 *
 * A bit begins with a rise. ONEWIRE_HIGH_0 cycles later a 0 falls, after ONEWIRE_HIGH_1 a 1, and
 * after ONEWIRE_BIT comes the next rise. `st` takes 2 cycles and makes all three edges, so what
 * counts is the distance from one `st` to the next. The second one writes the level of the bit.
 */
#include "wall.h"

#ifdef ONEWIRE_BIT

#if ONEWIRE_HIGH_0 < 5 || ONEWIRE_HIGH_1 - ONEWIRE_HIGH_0 < 6 || ONEWIRE_BIT - ONEWIRE_HIGH_1 < 5
#error "The loop needs 5 cycles for a 0, 6 more for a 1, and 5 from there to the next bit."
#endif

#define SREG_IO 0x3F
#define count r24 /* and r25: sbiw takes this pair */
#define high r20
#define low r21
#define level r19
#define byte r22
#define flags r18

.macro idle cycles
    .rept \cycles
    nop
    .endr
.endm

.macro rise /* and 3 cycles for the level that the second edge will write */
    st Z, high
    mov level, low
    sbrc byte, 7
    mov level, high
    idle ONEWIRE_HIGH_0 - 5
    st Z, level
.endm

.global onewire_write
.section .text.onewire_write, "ax", @progbits
onewire_write:
    movw ZL, r24  /* port */
    movw XL, r20  /* bytes */
    movw count, r18
    in flags, SREG_IO
    cli
    ld low, Z
    mov high, low
    or high, byte /* the register of the byte has the mask at first */
    com byte
    and low, byte
    ld byte, X+
1:
    .rept 7
    rise
    lsl byte
    idle ONEWIRE_HIGH_1 - ONEWIRE_HIGH_0 - 3
    st Z, low
    idle ONEWIRE_BIT - ONEWIRE_HIGH_1 - 2
    .endr
    rise
    ld byte, X+ /* after the last byte it reads one more and ignores it */
    sbiw count, 1
    idle ONEWIRE_HIGH_1 - ONEWIRE_HIGH_0 - 6
    st Z, low
    idle ONEWIRE_BIT - ONEWIRE_HIGH_1 - 5
    breq 2f
    rjmp 1b /* too far for brne */
2:
    out SREG_IO, flags
    ret

#endif
