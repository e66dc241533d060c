/* Data in the ELF file for a simulator of the chip; a real chip never loads it.
 *
 * Without simavr's headers, this is empty. */
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
