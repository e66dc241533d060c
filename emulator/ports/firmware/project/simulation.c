/* What a simulator of the chip is told by the ELF file; nothing of it is loaded into a real chip.
 *
 * Where simavr's headers are not there, this is empty. */
#include "wall.h"

#if defined __has_include
#if __has_include(<avr_mcu_section.h>)

#include <avr/io.h>
#include <avr_mcu_section.h>

AVR_MCU(F_CPU, WALL_CONTROLLER);
#include "trace.h"

#endif
#endif

typedef int simulation_is_not_empty;
